"""When may it start? Instants worth trying, and the first of them that is lawful on all blocks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from apps.spraying.rules.checking import check
from apps.spraying.rules.facts import CheckFacts
from farmops.errors import refusals

Mover = Callable[[datetime], CheckFacts]
"""The facts of a job on one block, started at another instant: bloom, nights, crop stage and so on of that day."""


def first_start(movers: Sequence[Mover], starts: Iterable[datetime]) -> datetime | None:
    """The first instant at which the mix may start on all the blocks: with sunsets, the first evening."""
    for start_at in starts:
        if not any(refusals(check(mover(start_at))) for mover in movers):
            return start_at
    return None


def later_starts(
    start_at: datetime, sunset_on: Callable[[date], datetime | None], days: int, zone: ZoneInfo
) -> list[datetime]:
    """The instants worth trying after a start: for ``days`` days the same clock time and, each evening, sunset."""
    local = start_at.astimezone(zone)
    found = []
    for ahead in range(days + 1):
        day = local.date() + timedelta(days=ahead)
        found += [datetime.combine(day, local.time(), zone).astimezone(UTC), sunset_on(day)]
    return sorted(t for t in found if t is not None and t > start_at)
