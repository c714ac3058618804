"""What a rain gauge caught between two looks, and whether that can be."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum

from apps.weather.rules.readings import CLOCK_SLACK
from farmops.errors import BadInput, gettext_noop

MOST_INCHES = Decimal(30)
LONGEST = timedelta(days=31)


class Gauge(StrEnum):
    """What caught the rain. A forecast is no rain."""

    GAUGE = "gauge"
    STATION = "station"


GAUGE_NAMES: dict[Gauge, str] = {
    Gauge.GAUGE: gettext_noop("rain gauge"),
    Gauge.STATION: gettext_noop("weather station"),
}


def check_rainfall(*, from_at: datetime, until_at: datetime, inches: Decimal, now: datetime) -> None:
    """``BadInput`` with everything that cannot be: no time between the looks, a time to come, absurd inches."""
    errors: dict[str, str] = {}
    if until_at > now + CLOCK_SLACK:
        errors["until_at"] = gettext_noop("Must be now or earlier.")
    if until_at <= from_at:
        errors["from_at"] = gettext_noop("The gauge must have been emptied before it was read.")
    elif until_at - from_at > LONGEST:
        errors["from_at"] = gettext_noop("Must be at most 31 days before the reading.")
    if not 0 <= inches <= MOST_INCHES:
        errors["inches"] = gettext_noop("Must be between 0 and 30 inches.")
    elif inches != round(inches, 2):
        errors["inches"] = gettext_noop("At most two decimals.")
    if errors:
        raise BadInput(errors)
