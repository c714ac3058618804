"""Short words for programs, blocks and what happened on them; the program of these stories is invented.

Seven to ten days, three mixes, from 1 July to 15 September, harvest from 25 September.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from apps.spraying.programs.rules import Choice, Decision, Ground, Pass, Program, Rain, Spray, Start, StartKind, Tank

JULY_1 = date(2026, 7, 1)
MIXES = (frozenset({1}), frozenset({1, 2}), frozenset({1, 3}))


def day(month: int, of_month: int) -> date:
    return date(2026, month, of_month)


def at(on: date, hour: int = 12) -> datetime:
    return datetime(on.year, on.month, on.day, hour, tzinfo=UTC)


def program(**changes: Any) -> Program:
    values: dict[str, Any] = {
        "site_code": "winter_squash",
        "targets": frozenset({"powdery_mildew"}),
        "start": Start(kind=StartKind.DATE, on=JULY_1),
        "from_days": 7,
        "to_days": 10,
        "last_on": date(2026, 9, 15),
        "passes": tuple(Pass(products=m, phi_days=3, tank=tank(m, 7)) for m in MIXES),
        "stop_days": None,
    }
    return Program(**(values | changes))


def ground(**changes: Any) -> Ground:
    values: dict[str, Any] = {
        "planted_on": date(2026, 6, 1),
        "harvest_from": date(2026, 9, 25),
        "harvest_to": date(2026, 10, 20),
    }
    return Ground(**(values | changes))


def tank(products: frozenset[int], wait: int) -> Tank:
    """A tank whose labels all ask for ``wait`` days before the same product comes again."""
    names = [f"product {p}" for p in sorted(products)]
    return Tank(holds=frozenset(names), waits=dict.fromkeys(names, wait))


def spray(on: date, *, mix: int = 1, hour: int = 14, wait: int = 0, **changes: Any) -> Spray:
    values: dict[str, Any] = {
        "on": on,
        "ended_at": at(on, hour),
        "products": MIXES[mix - 1],
        "protectant": True,
        "tank": tank(MIXES[mix - 1], wait),
    }
    return Spray(**(values | changes))


def decide(choice: Choice, on: date, hour: int = 15) -> Decision:
    return Decision(choice=choice, on=on, at=at(on, hour), by="Ines Prado", reason="looked at it")


def rain(from_at: datetime, hours: int, inches: str, *, known: datetime | None = None, own: bool = False) -> Rain:
    until_at = from_at + timedelta(hours=hours)
    return Rain(from_at=from_at, until_at=until_at, inches=Decimal(inches), recorded_at=known or until_at, own=own)


def said(course: Any) -> list[str]:
    """The windows behind and the next one, one word and two days each."""
    rows = [*course.behind, *([course.next] if course.next else [])]
    return [f"{w.state} {w.pass_no} {w.opens_on:%b %d}-{w.closes_on:%b %d}" for w in rows]
