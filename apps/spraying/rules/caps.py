"""Which ingredient limits bind a tank, and the stretch of the past that counts against a limit."""

from __future__ import annotations

import calendar
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from apps.products.rules import CapPer, IngredientCap, YearBasis
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Event, Judged, MixLine


def add_months(day: date, months: int) -> date:
    """The same day ``months`` calendar months on (or back); the last of the month where there is no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """The sprays that count together with the planned one, and the days they lie between (open = unknown)."""

    since: date
    until: date
    events: tuple[Event, ...]

    @property
    def days(self) -> dict[str, str]:
        """Its first and last day, for a sentence."""
        return {"since": str(self.since), "until": str(self.until)}


def stretches(facts: CheckFacts, events: Iterable[Event], basis: YearBasis) -> list[Stretch]:
    """Every stretch a limit may be counted over that holds the planned day; a limit must hold in each.

    ``unknown`` takes them all: any twelve months and the crop.
    """
    past = tuple(events)
    if basis is YearBasis.CALENDAR:
        year = facts.on_date.year
        return [_between(past, date(year, 1, 1), date(year, 12, 31))]
    found = [] if basis is YearBasis.CROP else _twelve_months(facts, past)
    return found if basis is YearBasis.TWELVE_MONTHS else [*found, _crop(facts, past)]


def _between(events: tuple[Event, ...], since: date, until: date) -> Stretch:
    return Stretch(since=since, until=until, events=tuple(e for e in events if since <= e.on_date <= until))


def _twelve_months(facts: CheckFacts, events: tuple[Event, ...]) -> list[Stretch]:
    """Twelve-month stretches that end on the planned day or on a later spray: no other can hold more."""
    ends = {facts.on_date, *(e.on_date for e in events if facts.on_date < e.on_date < add_months(facts.on_date, 12))}
    return [_between(events, add_months(end, -12) + timedelta(days=1), end) for end in sorted(ends)]


def _crop(facts: CheckFacts, events: tuple[Event, ...]) -> Stretch:
    """Sprays on this crop since it was planted; with no planting day, on this crop within twelve months either way."""
    since = facts.planted_on or add_months(facts.on_date, -12) + timedelta(days=1)
    until = add_months(facts.on_date, 12)
    here = tuple(e for e in events if e.site_code in (None, facts.site_code))
    return _between(here, since, until)


def strictest_caps(
    rows: Iterable[tuple[IngredientCap, MixLine]], site_code: str | None
) -> list[tuple[IngredientCap, MixLine]]:
    """Of one label's limits on an ingredient the ones for this crop, where there are any; else the general ones."""
    rows = list(rows)
    own = [row for row in rows if row[0].site_code is not None and row[0].site_code == site_code]
    return own or [row for row in rows if row[0].site_code is None]


def label_caps(judged: Judged, per: CapPer, site_code: str | None) -> list[tuple[IngredientCap, MixLine]]:
    """The limits of one label that bind on a site: an ingredient's limit for the crop stands in for its general one."""
    found: list[tuple[IngredientCap, MixLine]] = []
    for name in sorted({cap.ingredient for cap in judged.label.caps}):
        rows = ((cap, judged.line) for cap in judged.label.caps if cap.per is per and cap.ingredient == name)
        found += strictest_caps(rows, site_code)
    return found


def caps_for(facts: CheckFacts, per: CapPer) -> list[tuple[str, IngredientCap, MixLine]]:
    """For each ingredient in the tank the limits that bind, strictest first within an ingredient and basis."""
    rows = [(cap.ingredient, cap, line) for j in facts.judged for cap, line in label_caps(j, per, facts.site_code)]
    rows.sort(key=lambda row: (row[0], Fraction(row[1].pounds), row[2].name))
    seen: dict[tuple[str, YearBasis], tuple[str, IngredientCap, MixLine]] = {}
    for row in rows:
        seen.setdefault((row[0], row[1].year_basis), row)
    return list(seen.values())
