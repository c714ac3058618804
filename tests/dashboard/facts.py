"""Invented facts for charts, some of them across the clock changes of America/Chicago.

In 2026 the clocks there go forward on March 8 at 2:00 AM and back on November 1 at 2:00 AM
(IANA time zone database: second Sunday of March, first Sunday of November).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from apps.dashboard.charts import Frame
from apps.dashboard.rules import ClosureFacts, Days, IntervalFacts, LimitFacts, Shade, Span, SprayMark, StockFacts

ZONE = "America/Chicago"
MOMENTS = {
    "summer": datetime(2026, 6, 3, 14, 0, tzinfo=UTC),
    "spring forward": datetime(2026, 3, 8, 6, 0, tzinfo=UTC),
    "autumn back": datetime(2026, 11, 1, 5, 30, tzinfo=UTC),
}


def frame(now: datetime) -> Frame:
    return Frame(now=now, zone_name=ZONE)


def closure(
    block: str, shade: Shade, starts_at: datetime, hours: float | None = None, *, unsure: bool = False
) -> ClosureFacts:
    ends_at = None if hours is None else starts_at + timedelta(hours=hours)
    return ClosureFacts(
        block=block,
        shade=shade,
        span=Span(starts_at=starts_at, ends_at=ends_at),
        unsure=unsure,
        products="Demo Fungicide",
        set_by="Luis Mora",
    )


def closures(now: datetime) -> list[ClosureFacts]:
    """One of each kind; the entry interval of 48 hours runs over the present."""
    return [
        closure("A1 North", Shade.ENTRY, now - timedelta(hours=30), 48),
        closure("A1 North", Shade.HARVEST, now - timedelta(hours=30), 24 * 5),
        closure("B2 South", Shade.UNDERWAY, now - timedelta(hours=1)),
        closure("C3 Hill", Shade.UNCONFIRMED, now - timedelta(hours=7), 5, unsure=True),
        closure("D4 Creek", Shade.PLANNED, now + timedelta(hours=20), 3),
        closure("E5 Yard", Shade.ENTRY, now - timedelta(hours=3), unsure=True),
        closure("F6 Lane", Shade.POSTED, now - timedelta(hours=3)),
    ]


def intervals(now: datetime) -> list[IntervalFacts]:
    today = now.date()
    marks = [SprayMark(at=now - timedelta(days=d, hours=3), ref=f"job {d}", done=True) for d in (28, 20, 8)]
    return [
        IntervalFacts(
            block="A1 North",
            sprays=tuple(marks),
            missed=(Days(first_on=today - timedelta(days=13), last_on=today - timedelta(days=10)),),
            window=Days(first_on=today - timedelta(days=1), last_on=today + timedelta(days=2)),
        ),
        IntervalFacts(
            block="B2 South",
            sprays=(*marks[:1], SprayMark(at=now + timedelta(days=1), ref="job 99", done=False)),
            missed=(),
            window=None,
        ),
    ]


def limit(block: str, ingredient: str, limit: str, used: str, booked: str) -> LimitFacts:
    return LimitFacts(
        block=block,
        ingredient=ingredient,
        limit=Decimal(limit),
        used=Decimal(used),
        booked=Decimal(booked),
        since=date(2026, 1, 1),
        until=date(2026, 12, 31),
        product="Demo Fungicide",
    )


def limits() -> list[LimitFacts]:
    return [
        limit("A1 North", "chlorothalonil", "15.75", "6.18", "1.54"),
        limit("A1 North", "copper hydroxide", "8", "0.3333333333333", "0"),
        limit("B2 South", "chlorothalonil", "15.75", "14.9", "1.54"),
    ]


def stock() -> list[StockFacts]:
    return [
        StockFacts(
            product="Demo Fungicide",
            unit="gal",
            on_hand=Decimal("2.123456789"),
            promised=Decimal("1.5"),
            drafts=Decimal("0.75"),
        ),
        StockFacts(
            product="Demo Powder", unit="lb", on_hand=Decimal("40"), promised=Decimal("12.5"), drafts=Decimal("0")
        ),
        StockFacts(product="Demo Paste", unit="lb", on_hand=Decimal("3"), promised=Decimal("0"), drafts=None),
    ]
