"""What a weather reading may be, and whether it is fresh."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum

from farmops.errors import BadInput, gettext_noop


class Source(StrEnum):
    """Where the numbers come from."""

    HANDHELD = "handheld"  # measured in the field
    STATION = "station"
    FORECAST = "forecast"


# Where the wind comes from, clockwise from north.
COMPASS = (
    "n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw",
)  # fmt: skip
MAX_WIND_MPH, MIN_F, MAX_F = Decimal(150), Decimal(-40), Decimal(140)
CLOCK_SLACK = timedelta(minutes=2)  # two clocks are never quite alike


@dataclass(frozen=True, kw_only=True)
class ReadingFacts:
    """One reading. ``wind_from`` is a point of the compass, empty when calm or not noted."""

    taken_at: datetime
    wind_mph: Decimal
    gust_mph: Decimal | None
    wind_from: str
    temperature_f: Decimal | None
    humidity_percent: Decimal | None
    source: Source


def check_reading(reading: ReadingFacts, now: datetime) -> None:
    """``BadInput`` with every value that cannot be: absurd numbers, gusts under the wind, a time to come."""
    errors: dict[str, str] = {}
    if not 0 <= reading.wind_mph <= MAX_WIND_MPH:
        errors["wind_mph"] = gettext_noop("Must be between 0 and 150 mph.")
    if reading.gust_mph is not None and not reading.wind_mph <= reading.gust_mph <= MAX_WIND_MPH:
        errors["gust_mph"] = gettext_noop("Gusts must be at least the wind, and at most 150 mph.")
    if reading.wind_from and reading.wind_from not in COMPASS:
        errors["wind_from"] = gettext_noop("Must be a point of the compass, such as nw.")
    if reading.temperature_f is not None and not MIN_F <= reading.temperature_f <= MAX_F:
        errors["temperature_f"] = gettext_noop("Must be between -40 and 140 °F.")
    if reading.humidity_percent is not None and not 0 < reading.humidity_percent <= 100:
        errors["humidity_percent"] = gettext_noop("Must be more than 0 and at most 100 %.")
    if reading.source is not Source.FORECAST and reading.taken_at > now + CLOCK_SLACK:
        errors["taken_at"] = gettext_noop("Must be now or earlier.")
    if errors:
        raise BadInput(errors)
