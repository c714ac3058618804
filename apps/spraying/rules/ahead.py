"""What lies ahead of a spray on its block: the next expected picking, and the nights round about."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from apps.spraying.rules.facts import Entry, Span
from apps.weather.rules import SunKind, sun_times

DAY = timedelta(days=1)


def midnight(on: date, zone: ZoneInfo) -> datetime:
    """The first instant of a farm-local day."""
    return datetime.combine(on, time(), tzinfo=zone).astimezone(UTC)


def expected_harvest(
    harvest_from: date | None,
    harvest_to: date | None,
    *,
    entries: Iterable[Entry],
    start_at: datetime,
    zone: ZoneInfo,
) -> datetime | None:
    """When picking may first be expected from the stated harvest window; ``None`` without one or after it.

    Before the window: its first midnight. Inside it every day may be a picking day, so the next
    midnight, unless pickings are scheduled as tasks: then those say when (project rule).
    """
    if harvest_from is None:
        return None
    today = start_at.astimezone(zone).date()
    if harvest_from > today:
        return midnight(harvest_from, zone)
    over = harvest_to is not None and harvest_to < today
    scheduled = any(e.is_harvest and e.at >= start_at for e in entries)
    return None if over or scheduled else midnight(today + DAY, zone)


def nights_around(latitude: float, longitude: float, on: date, zone: ZoneInfo) -> tuple[Span, ...]:
    """The nights before, on and after a farm-local day, from sunset to sunrise; polar days have none."""
    days = [on + DAY * shift for shift in (-1, 0, 1, 2)]
    suns = [sun_times(latitude, longitude, day, zone) for day in days]
    found = []
    for day, evening, morning in zip(days[:-1], suns[:-1], suns[1:], strict=True):
        sets_at, rises_at = evening.sunset_at, morning.sunrise_at
        if evening.kind is SunKind.ALWAYS_DOWN:
            found.append(Span(midnight(day, zone), midnight(day + DAY, zone)))
        elif sets_at is not None and rises_at is not None:
            found.append(Span(sets_at, rises_at))
    return tuple(found)


def dusk_on(latitude: float, longitude: float, on: date, zone: ZoneInfo) -> datetime | None:
    """End of civil twilight in the evening of a farm-local day."""
    return sun_times(latitude, longitude, on, zone).dusk_at
