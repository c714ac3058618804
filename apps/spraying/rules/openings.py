"""When may it start? Instants worth trying, and the first of them that is lawful on all blocks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from apps.spraying.rules.checking import check
from apps.spraying.rules.facts import CheckFacts
from farmops.errors import Finding, refusals

Mover = Callable[[datetime], CheckFacts]
"""The facts of a job on one block, started at another instant: bloom, nights, crop stage and so on of that day."""


@dataclass(frozen=True, kw_only=True)
class Tried:
    """One start and what stands against it, block by block; ``facts`` are those of the first block."""

    start_at: datetime
    facts: CheckFacts
    refused: tuple[tuple[int, Finding], ...]


def tried_starts(movers: Sequence[Mover], starts: Iterable[datetime]) -> list[Tried]:
    """Each start in order with what refuses it, through the first that nothing refuses."""
    found = []
    for start_at in starts:
        blocks = [mover(start_at) for mover in movers]
        refused = tuple((place, f) for place, facts in enumerate(blocks) for f in refusals(check(facts)))
        found.append(Tried(start_at=start_at, facts=blocks[0], refused=refused))
        if not refused:
            break
    return found


def first_start(movers: Sequence[Mover], starts: Iterable[datetime]) -> datetime | None:
    """The first instant at which the mix may start on all the blocks: with sunsets, the first evening."""
    last = tried_starts(movers, starts)[-1:]
    return last[0].start_at if last and not last[0].refused else None


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
