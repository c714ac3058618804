"""When a program begins on a block."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from apps.crops.rules.stages import reached
from apps.spraying.programs.rules.facts import Ground, Start, StartKind


def trigger_day(start: Start, ground: Ground) -> date | None:
    """The day the trigger came or is sure to come; ``None`` while nobody can know it."""
    if ground.planted_on is None:
        return None
    seen = {
        StartKind.DATE: start.on,
        StartKind.DAYS_AFTER_PLANTING: ground.planted_on,
        StartKind.FIRST_BLOOM: ground.bloom_seen_on,
        StartKind.GROWTH_STAGE: _first(on for on, stage in ground.stages if reached(stage, start.stage)),
        StartKind.THRESHOLD: _first(on for on, code in ground.reached if code == start.threshold),
    }[start.kind]
    return _after(seen, start)


def reckoned_day(start: Start, ground: Ground) -> date | None:
    """The day to lay the program over the calendar from: the trigger's, else the expected one."""
    found = trigger_day(start, ground)
    if found is not None or ground.planted_on is None:
        return found
    if start.kind is StartKind.FIRST_BLOOM and start.reckoned_on is None:
        return _after(ground.bloom_expected_on, start)
    return start.reckoned_on


def _after(day: date | None, start: Start) -> date | None:
    """A calendar day and a threshold are the day itself; the others count days from it."""
    if day is None or start.kind in (StartKind.DATE, StartKind.THRESHOLD):
        return day
    return day + timedelta(days=start.days)


def _first(days: Iterable[date]) -> date | None:
    return min(days, default=None)
