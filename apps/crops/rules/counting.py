"""Scouting counts against a threshold. Too small a sample is "insufficient", never "clean"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from farmops.errors import BadInput, Finding, Severity, gettext_noop
from farmops.units import CONTEXT, show

MOST_PLACES = 40
MOST_AT_ONE_PLACE = 10_000


class Measure(StrEnum):
    """What is compared with the threshold."""

    FOUND = "found"  # units on which it was found, in all
    SHARE = "share"  # percent of the units on which it was found
    PER_UNIT = "per_unit"  # how many on one unit, on average
    PER_TRAP_WEEK = "per_trap_week"
    PER_TRAP_NIGHT = "per_trap_night"


class Unit(StrEnum):
    """What is looked at."""

    LEAF = "leaf"
    PLANT = "plant"
    CROWN = "crown"
    TASSEL = "tassel"
    TRAP = "trap"


class Surety(StrEnum):
    """Where a threshold comes from."""

    PUBLISHED = "published"
    FROM_MEMORY = "from_memory"
    OWN = "own"


MEASURE_NAMES: dict[Measure, str] = {
    Measure.FOUND: gettext_noop("how many have it, in all"),
    Measure.SHARE: gettext_noop("percent that have it"),
    Measure.PER_UNIT: gettext_noop("how many on each, on average"),
    Measure.PER_TRAP_WEEK: gettext_noop("caught in a trap in a week"),
    Measure.PER_TRAP_NIGHT: gettext_noop("caught in a trap in a night"),
}
UNIT_NAMES: dict[Unit, str] = {
    Unit.LEAF: gettext_noop("leaves"),
    Unit.PLANT: gettext_noop("plants"),
    Unit.CROWN: gettext_noop("crowns"),
    Unit.TASSEL: gettext_noop("tassels"),
    Unit.TRAP: gettext_noop("traps"),
}
SURETY_NAMES: dict[Surety, str] = {
    Surety.PUBLISHED: gettext_noop("published"),
    Surety.FROM_MEMORY: gettext_noop("from memory, look it up before you rely on it"),
    Surety.OWN: gettext_noop("the farm's own"),
}
OF_WHOLE_UNITS = frozenset({Measure.FOUND, Measure.SHARE})
TRAPS = frozenset({Measure.PER_TRAP_WEEK, Measure.PER_TRAP_NIGHT})


class Verdict(StrEnum):
    """What a count says."""

    REACHED = "reached"
    BELOW = "below"
    CLEAN = "clean"
    INSUFFICIENT = "insufficient"


VERDICT_NAMES: dict[Verdict, str] = {
    Verdict.REACHED: gettext_noop("Threshold reached"),
    Verdict.BELOW: gettext_noop("Below the threshold"),
    Verdict.CLEAN: gettext_noop("None found in a full sample"),
    Verdict.INSUFFICIENT: gettext_noop("Sample too small to say"),
}


@dataclass(frozen=True, kw_only=True)
class Threshold:
    """When to act on a pest: advice, never a limit; it starts proposals and blocks nothing.

    ``crops`` empty = any crop. ``sample_min`` units at ``places_min`` places make a sample; ``places`` × ``per_place``
    is the walk that is proposed. ``hold_days``: days after emergence in which a systemic seed treatment still covers
    the crop and the alert waits (``None`` = none).
    """

    code: str
    name: str
    pest: str
    measure: Measure
    unit: Unit
    treat_at: Decimal
    sample_min: int
    places_min: int = 1
    places: int
    per_place: int
    crops: tuple[str, ...] = ()
    when: str = ""
    walk: str = ""
    source: str
    surety: Surety = Surety.PUBLISHED
    hold_days: int | None = None

    def fits(self, site_code: str | None) -> bool:
        """Whether it speaks about a crop."""
        return not self.crops or site_code in self.crops


@dataclass(frozen=True, kw_only=True)
class Place:
    """One stop of the walk: units looked at, and what was found on them."""

    examined: int
    found: int


@dataclass(frozen=True, kw_only=True)
class CountAnswer:
    """The verdict, the number it rests on, and how many units are still to be looked at for a sample."""

    verdict: Verdict
    examined: int
    found: int
    value: Fraction | None
    missing_units: int
    missing_places: int
    because: Finding


def check_places(threshold: Threshold, places: Sequence[Place], nights: int | None) -> None:
    """``BadInput`` at the place that cannot be: nothing looked at, or found on more units than were looked at."""
    errors: dict[str, str] = {}
    if not 1 <= len(places) <= MOST_PLACES:
        errors["places"] = gettext_noop("Enter 1 to 40 places.")
    for number, place in enumerate(places):
        if not 1 <= place.examined <= MOST_AT_ONE_PLACE:
            errors[f"places.{number}.examined"] = gettext_noop("Must be between 1 and 10,000.")
        elif not 0 <= place.found <= MOST_AT_ONE_PLACE:
            errors[f"places.{number}.found"] = gettext_noop("Must be between 0 and 10,000.")
        elif threshold.measure in OF_WHOLE_UNITS and place.found > place.examined:
            errors[f"places.{number}.found"] = gettext_noop("Cannot be found on more than were looked at.")
    if threshold.measure in TRAPS and (nights is None or not 1 <= nights <= 60):
        errors["nights"] = gettext_noop("Enter for how many nights the traps hung, 1 to 60.")
    if errors:
        raise BadInput(errors)


def judge_count(threshold: Threshold, places: Sequence[Place], nights: int | None = None) -> CountAnswer:
    """What a count says.

    Where finding so many units is the threshold (one mildewed leaf), looking may stop at the find: more looking cannot
    undo it. An average or a share from a small sample says nothing, whichever side of the threshold it lies on.
    """
    examined, found = sum(p.examined for p in places), sum(p.found for p in places)
    missing_units = max(0, threshold.sample_min - examined)
    missing_places = max(0, threshold.places_min - len(places))
    value = _value(threshold, examined, found, nights)
    over = value is not None and value >= Fraction(threshold.treat_at)
    if over and (threshold.measure is Measure.FOUND or not (missing_units or missing_places)):
        verdict = Verdict.REACHED
    elif missing_units or missing_places or value is None:
        verdict = Verdict.INSUFFICIENT
    else:
        verdict = Verdict.BELOW if found else Verdict.CLEAN
    return CountAnswer(
        verdict=verdict,
        examined=examined,
        found=found,
        value=value,
        missing_units=missing_units,
        missing_places=missing_places,
        because=_because(threshold, verdict, examined, found, value),
    )


def _value(threshold: Threshold, examined: int, found: int, nights: int | None) -> Fraction | None:
    if threshold.measure is Measure.FOUND:
        return Fraction(found)
    if not examined:
        return None
    each = Fraction(found, examined)
    if threshold.measure is Measure.SHARE:
        return each * 100
    if threshold.measure is Measure.PER_UNIT:
        return each
    if not nights:
        return None
    per_night = each / nights
    return per_night * 7 if threshold.measure is Measure.PER_TRAP_WEEK else per_night


def plain(value: Fraction) -> str:
    """A value for reading, at most two decimals."""
    return show(CONTEXT.divide(Decimal(value.numerator), Decimal(value.denominator)), 2)


_MEASURED = {
    Measure.FOUND: gettext_noop("{pest}: found on {found} of {examined} looked at; act from {limit} on."),
    Measure.SHARE: gettext_noop("{pest}: on {value} % of {examined} looked at; act from {limit} % on."),
    Measure.PER_UNIT: gettext_noop("{pest}: {value} on each of {examined} looked at, on average; act from {limit} on."),
    Measure.PER_TRAP_WEEK: gettext_noop("{pest}: {value} in a trap in a week; act from {limit} on."),
    Measure.PER_TRAP_NIGHT: gettext_noop("{pest}: {value} in a trap in a night; act from {limit} on."),
}
_CLEAN = gettext_noop("{pest}: none found on {examined} looked at.")
_TOO_FEW = gettext_noop(
    "{pest}: {found} found on {examined} looked at so far. A sample is {sample} or more, at {places} places or more: "
    "this is not enough to say."
)


def _because(threshold: Threshold, verdict: Verdict, examined: int, found: int, value: Fraction | None) -> Finding:
    template = {Verdict.CLEAN: _CLEAN, Verdict.INSUFFICIENT: _TOO_FEW}.get(verdict, _MEASURED[threshold.measure])
    numbers = {
        "pest": threshold.name,
        "value": plain(value) if value is not None else "?",
        "examined": str(examined),
        "found": str(found),
        "limit": plain(Fraction(threshold.treat_at)),
        "sample": str(threshold.sample_min),
        "places": str(threshold.places_min),
    }
    return Finding(
        code=f"count_{verdict.value}",
        severity=Severity.NOTE,
        template=template,
        numbers=numbers,
        source=threshold.source,
    )
