"""The farm's own numbers: where the check asks earlier than label and law do. None of them can loosen either.

A farm may move a number only to the stricter side of the shipped one, so an edit asks earlier and never later.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from apps.spraying.rules.policies import FarmPolicy
from apps.weather.rules.air import CALM_SOURCE
from farmops.errors import BadInput, Said, Severity, gettext_noop, one_of
from farmops.units import show


@dataclass(frozen=True)
class HouseLimit:
    """One number: ``shipped`` holds until the farm sets its own, anywhere from there through ``strictest``."""

    name: str
    words: str
    unit: str
    strictest: Decimal
    places: int
    source: str

    @property
    def shipped(self) -> Decimal:
        value = getattr(SHIPPED, PERCENT.get(self.name, self.name))
        return Decimal(int(value * 100)) if self.name in PERCENT else Decimal(value)

    @property
    def least(self) -> Decimal:
        return min(self.shipped, self.strictest)

    @property
    def most(self) -> Decimal:
        return max(self.shipped, self.strictest)


SHIPPED = FarmPolicy()
PERCENT = {"season_near_percent": "season_near", "gpa_tolerance_percent": "gpa_tolerance"}
DRIFT = "precautions against cotton spray drift (secondary copy): aim for 3 to 10 mph, never above 15 mph"
RATE_OFF = "Ohio State, reported 17 Apr 2012: within 5 % of the rate that is meant"
NO_SOURCE = "common practice, no source"

LIMITS = (
    HouseLimit("calm_wind_mph", gettext_noop("Ask when the wind is below"), "mph", Decimal(8), 1, CALM_SOURCE),
    HouseLimit(
        "wind_max_mph",
        gettext_noop("Ask when the wind is above, where the label has no limit"),
        "mph", Decimal(8), 1, DRIFT,
    ),
    HouseLimit(
        "season_near_percent",
        gettext_noop("Ask when this share of a season limit is reached"),
        "%", Decimal(50), 0, NO_SOURCE,
    ),
    HouseLimit(
        "gpa_tolerance_percent",
        gettext_noop("Ask when the planned volume is this far off the measured one"),
        "%", Decimal(1), 1, RATE_OFF,
    ),
    HouseLimit(
        "reading_good_minutes",
        gettext_noop("A weather reading counts for a start within"),
        "min", Decimal(5), 0, NO_SOURCE,
    ),
    HouseLimit(
        "bee_drift_ft",
        gettext_noop("Ask when a neighboring block in bloom is within"),
        "ft", Decimal(5280), 0, NO_SOURCE,
    ),
    HouseLimit(
        "hive_notice_ft",
        gettext_noop("Name hives within"),
        "ft", Decimal(21120), 0, NO_SOURCE,
    ),
)  # fmt: skip
BY_NAME = {limit.name: limit for limit in LIMITS}
CERTIFICATE = "general_use_certificate"
"""What a missing certificate means for general-use products; federal law asks for none (40 CFR 171): ``note``."""


def read_limits(typed: Mapping[str, object]) -> dict[str, object]:
    """What was typed for each number -> what is kept; empty or null = back to the shipped one.

    ``BadInput`` names every field that lies outside of what only asks earlier, with the bounds.
    """
    errors: dict[str, str] = {}
    kept: dict[str, object] = {}
    for name, value in typed.items():
        if name == CERTIFICATE:
            kept[name] = _severity(value, errors)
        else:
            kept[name] = _number(BY_NAME[name], value, errors)
    if errors:
        raise BadInput(errors)
    return kept


def _number(limit: HouseLimit, value: object, errors: dict[str, str]) -> Decimal | None:
    text = "" if value is None else str(value).strip()
    if not text:
        return None
    try:
        number = Decimal(text)
    except InvalidOperation:
        number = Decimal("NaN")
    step = Decimal(1).scaleb(-limit.places)
    if number.is_finite() and limit.least <= number <= limit.most and number % step == 0:
        return None if number == limit.shipped else number
    errors[limit.name] = Said(
        gettext_noop(
            "Use {least} to {most}, with at most {places} decimals, or leave it empty: the farm may only ask earlier "
            "than the shipped number does."
        ),
        least=show(limit.least),
        most=f"{show(limit.most)} {limit.unit}",
        places=limit.places,
    )
    return None


def _severity(value: object, errors: dict[str, str]) -> str:
    text = str(value or "").strip()
    if text in ("", Severity.NOTE.value):
        return ""
    if text in set(Severity):
        return text
    errors[CERTIFICATE] = one_of(Severity)
    return ""


def with_limits(shipped: FarmPolicy, kept: Mapping[str, Decimal | int | str | None]) -> FarmPolicy:
    """The policy with the farm's own numbers in the places of the shipped ones; ``None`` or empty = shipped."""
    own: dict[str, object] = {}
    for name, value in kept.items():
        if value is None or value == "":
            continue
        if name == CERTIFICATE:
            own[name] = Severity(str(value))
        elif name in PERCENT:
            own[PERCENT[name]] = Fraction(Decimal(str(value))) / 100
        else:
            own[name] = int(value) if name == "reading_good_minutes" else Decimal(str(value))
    return replace(shipped, **own, own_limits=frozenset(own)) if own else shipped  # type: ignore[arg-type]
