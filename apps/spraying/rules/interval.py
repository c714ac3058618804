"""When the next spray of a crop's program is due: the window after the last one opens, closes, is missed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from apps.products.rules import Kind
from apps.spraying.rules.mix import Event

LOOK_BACK_DAYS = 60
"""A program that has rested for two months has ended: nothing is due any more (project rule)."""


class Phase(StrEnum):
    """Where today stands in the window."""

    OPEN = "open"
    CLOSING = "closing"  # its last day is today or tomorrow
    MISSED = "missed"


@dataclass(frozen=True, kw_only=True)
class SprayWindow:
    """From the first through the last day on which the next spray of the program fits."""

    last_on: date
    opens_on: date
    closes_on: date

    def phase(self, today: date) -> Phase | None:
        """``None`` before the window opens."""
        if today > self.closes_on:
            return Phase.MISSED
        if today >= max(self.opens_on, self.closes_on - timedelta(days=1)):
            return Phase.CLOSING
        return Phase.OPEN if today >= self.opens_on else None


def protects(event: Event) -> bool:
    """Whether a spray was part of the disease program: a fungicide was in the tank."""
    return any(line.label is not None and line.label.kind is Kind.FUNGICIDE for line in event.lines)


def next_window(
    events: Iterable[Event], *, site_code: str | None, today: date, from_days: int, to_days: int
) -> SprayWindow | None:
    """The window after the last fungicide spray on this crop; ``None`` if there was none, or a later one is booked.

    It opens after the farm's usual days or the longest shortest-interval of the labels used, whichever is
    later (label; project rule), and closes after the farm's longest, or on the day it opens.
    """
    program = [e for e in events if e.site_code == site_code and protects(e)]
    done = [e for e in program if e.done and e.on_date <= today]
    if site_code is None or not done:
        return None
    last = max(done, key=lambda e: e.on_date)
    if (today - last.on_date).days > LOOK_BACK_DAYS:
        return None
    if any(not e.done and e.on_date >= today for e in program):
        return None
    needed = [j.use.min_interval_days or 0 for j in last.judged]
    opens_on = last.on_date + timedelta(days=max([from_days, *needed]))
    return SprayWindow(
        last_on=last.on_date, opens_on=opens_on, closes_on=max(opens_on, last.on_date + timedelta(days=to_days))
    )
