"""What the home pages and charts are drawn from, and the few decisions they make. Plain Python.

All instants are aware; a span whose ``ends_at`` is ``None`` has no known end, never a length of zero.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import Any, TypeVar

MOST_DRAWN = 8
"""Rows a chart can show and still be read; the table shows all (project rule)."""

MOST_NEEDS = 7
"""Items in the list of what needs somebody; more is not read (project rule)."""

PERCENT_PLACES = Decimal("0.1")

Row = TypeVar("Row", bound=Any)


@dataclass(frozen=True, kw_only=True)
class Span:
    """From one instant to another; ``ends_at`` ``None`` = nobody knows."""

    starts_at: datetime
    ends_at: datetime | None


@dataclass(frozen=True, kw_only=True)
class Days:
    """From the first through the last day, both counted, in farm days."""

    first_on: date
    last_on: date


@dataclass(frozen=True, kw_only=True)
class SprayMark:
    """One spray on a block, done or booked."""

    at: datetime
    ref: str
    done: bool


@dataclass(frozen=True, kw_only=True)
class IntervalFacts:
    """One block's sprays, the windows nobody sprayed in, and the next window (``None`` = none is counted)."""

    block: str
    sprays: tuple[SprayMark, ...]
    missed: tuple[Days, ...]
    window: Days | None


class Shade(StrEnum):
    """Why ground is closed, as the closures chart tells them apart."""

    PLANNED = "planned"
    UNDERWAY = "underway"
    UNCONFIRMED = "unconfirmed"
    ENTRY = "entry"
    HARVEST = "harvest"
    POSTED = "posted"


@dataclass(frozen=True, kw_only=True)
class ClosureFacts:
    """One closure on the board. ``unsure`` = it says unknown now, whatever times it carries."""

    block: str
    shade: Shade
    span: Span
    unsure: bool
    products: str
    set_by: str

    @property
    def drawn(self) -> Span:
        """What is drawn: open when nobody vouches for the end."""
        return Span(starts_at=self.span.starts_at, ends_at=None if self.unsure else self.span.ends_at)


@dataclass(frozen=True, kw_only=True)
class LimitFacts:
    """Pounds of one ingredient per acre of one block against the tightest label limit.

    ``used`` is on the ground or may be, ``booked`` is planned in jobs that are assigned. ``unread`` names
    products sprayed on the block that could not be counted, so that the true amount may be higher.
    """

    block: str
    ingredient: str
    limit: Decimal
    used: Decimal
    booked: Decimal
    since: date
    until: date
    product: str
    unread: str = ""

    @property
    def left(self) -> Decimal:
        """What may still be applied; below zero when the limit is passed."""
        return self.limit - self.used - self.booked

    def percent(self, amount: Decimal) -> Decimal:
        """``amount`` as a share of the limit in percent, one decimal."""
        return (amount * 100 / self.limit).quantize(PERCENT_PLACES, rounding=ROUND_HALF_UP)


@dataclass(frozen=True, kw_only=True)
class StockFacts:
    """One product: on hand against what jobs need, all in ``unit`` (gal or lb).

    ``promised`` is reserved for assigned jobs, ``drafts`` is what jobs not yet assigned would need;
    ``None`` when that cannot be counted in the shed's unit.
    """

    product: str
    unit: str
    on_hand: Decimal
    promised: Decimal
    drafts: Decimal | None

    @property
    def need(self) -> Decimal | None:
        return None if self.drafts is None else self.promised + self.drafts

    @property
    def missing(self) -> Decimal | None:
        """How much is missing, zero when it suffices; ``None`` when that cannot be said."""
        return None if self.need is None else max(self.need - self.on_hand, Decimal(0))


class Urgency(StrEnum):
    """How soon a person must act. The words are verbs of the farm, never label signal words."""

    NOW = "now"
    TODAY = "today"
    SOON = "soon"


_ORDER = {Urgency.NOW: 0, Urgency.TODAY: 1, Urgency.SOON: 2}


@dataclass(frozen=True, kw_only=True)
class Need:
    """One thing that waits for a manager: a whole sentence and where to act on it."""

    urgency: Urgency
    template: str
    numbers: dict[str, str]
    path: str
    act: str


def most_urgent(needs: Iterable[Need]) -> tuple[list[Need], int]:
    """The needs to show, most urgent first (stable within), and how many more there are."""
    ordered = sorted(needs, key=lambda n: _ORDER[n.urgency])
    return ordered[:MOST_NEEDS], max(0, len(ordered) - MOST_NEEDS)


def drawn(rows: Sequence[Row]) -> Sequence[Row]:
    """The rows that are drawn; all of them stand in the table."""
    return rows[:MOST_DRAWN]


def closures_in_order(rows: Iterable[ClosureFacts]) -> list[ClosureFacts]:
    """By block: what nobody can say first, then no known end, then what opens first."""

    def weight(row: ClosureFacts) -> tuple[int, float]:
        if row.unsure:
            return (0, 0.0)
        return (1, 0.0) if row.span.ends_at is None else (2, row.span.ends_at.timestamp())

    found = sorted(rows, key=lambda r: (*weight(r), r.block))
    first = {row.block: place for place, row in reversed(list(enumerate(found)))}
    return sorted(found, key=lambda r: (first[r.block], r.span.starts_at))


def fullest_first(rows: Iterable[LimitFacts]) -> list[LimitFacts]:
    """The limits with the least left, as a share, on top."""
    return sorted(rows, key=lambda r: (r.left / r.limit, r.block, r.ingredient))


def shortest_first(rows: Iterable[StockFacts]) -> list[StockFacts]:
    """What cannot be counted, then what is missing most as a share of the need, then what is left most tightly."""

    def cover(row: StockFacts) -> tuple[int, Decimal]:
        if row.need is None:
            return (0, Decimal(0))
        return (2, Decimal(0)) if row.need == 0 else (1, row.on_hand / row.need)

    return sorted(rows, key=lambda r: (*cover(r), r.product))


def intervals_in_order(rows: Iterable[IntervalFacts]) -> list[IntervalFacts]:
    """The window that closes first on top; blocks without one last."""
    return sorted(rows, key=lambda r: (r.window.last_on if r.window else date.max, r.block))
