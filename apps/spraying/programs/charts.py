"""A program over the calendar: one row a block, its windows and sprays. Facts in, plain numbers out; the page draws.

The list of windows on the same page says all of it in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from apps.spraying.programs.queries import Followed
from apps.spraying.programs.rules import State, Window

DAY, ROW, LEFT, TOP = 10, 46, 130, 34
EDGE = timedelta(days=3)


@dataclass(frozen=True, kw_only=True)
class Bar:
    """One window: where it stands, what it is, and the words for it."""

    x: int
    y: int
    width: int
    kind: str
    label: str


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One spray, at the middle of its day."""

    x: int
    y: int


@dataclass(frozen=True, kw_only=True)
class Row:
    y: int
    name: str
    bars: tuple[Bar, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, kw_only=True)
class Tick:
    x: int
    on: date


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """Everything in one frame of user units; ``today_x`` is where today begins."""

    width: int
    height: int
    left: int
    top: int
    rows: tuple[Row, ...]
    ticks: tuple[Tick, ...]
    today_x: int


def drawing(found: Sequence[Followed], today: date) -> Drawing | None:
    """Lay the windows of all blocks over one calendar; ``None`` when there is none."""
    windows = [w for f in found for w in (*f.course.behind, *f.course.planned)]
    if not windows:
        return None
    first = min([today, *(w.opens_on for w in windows)]) - EDGE
    last = max([today, *(w.closes_on for w in windows)]) + EDGE
    return Drawing(
        width=LEFT + ((last - first).days + 1) * DAY,
        height=TOP + len(found) * ROW + 8,
        left=LEFT,
        top=TOP,
        rows=tuple(_row(f, place, first) for place, f in enumerate(found)),
        ticks=tuple(_ticks(first, last)),
        today_x=_x(today, first),
    )


def _x(day: date, first: date) -> int:
    return LEFT + (day - first).days * DAY


def _row(f: Followed, place: int, first: date) -> Row:
    y = TOP + place * ROW
    windows = (*f.course.behind, *f.course.planned)
    sprays = {s.on for s in f.ground.sprays if s.on >= first}
    return Row(
        y=y,
        name=f.block.code,
        bars=tuple(_bar(w, y, first) for w in windows),
        marks=tuple(Mark(x=_x(on, first) + DAY // 2, y=y + 36) for on in sorted(sprays)),
    )


def _bar(window: Window, y: int, first: date) -> Bar:
    kind = "reckoned" if window.reckoned else window.state.value
    days = (window.closes_on - window.opens_on).days + 1
    missed = window.state is State.MISSED
    return Bar(
        x=_x(window.opens_on, first),
        y=y + 3,
        width=days * DAY,
        kind=kind,
        label=f"{window.pass_no}{' ✗' if missed else ''}",
    )


def _ticks(first: date, last: date) -> list[Tick]:
    """Every Monday, or every fourth once it gets crowded."""
    mondays = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    mondays = [day for day in mondays if day.weekday() == 0]
    step = 1 if len(mondays) <= 10 else 2 if len(mondays) <= 20 else 4
    return [Tick(x=_x(day, first), on=day) for day in mondays[::step]]
