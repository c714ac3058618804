"""A stretch of farm days, as it is asked for in an address."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from farmops import clock
from farmops.errors import BadInput, gettext_noop


@dataclass(frozen=True, kw_only=True)
class Period:
    """From the first through the last day, both counted; ``None`` = open."""

    first_on: date | None = None
    last_on: date | None = None

    def within(self, rows: Any, column: str, zone_name: str) -> Any:
        """The rows whose instant ``column`` falls on these days of the farm."""
        zone = clock.zone(zone_name)
        if self.first_on is not None:
            rows = rows.filter(**{f"{column}__gte": datetime.combine(self.first_on, time(), zone)})
        if self.last_on is not None:
            after = datetime.combine(self.last_on + timedelta(days=1), time(), zone)
            rows = rows.filter(**{f"{column}__lt": after})
        return rows


def read_period(asked: Mapping[str, str]) -> Period:
    """``from`` and ``to`` as ISO days; ``BadInput`` names the one that is none."""
    faults: dict[str, str] = {}
    found: dict[str, date | None] = {}
    for name in ("from", "to"):
        try:
            found[name] = _day(asked.get(name, ""))
        except ValueError:
            faults[name] = gettext_noop("Must be a day like 2026-06-03.")
    if not faults and found["from"] and found["to"] and found["to"] < found["from"]:
        faults["to"] = gettext_noop("Must not be before the first day.")
    if faults:
        raise BadInput(faults)
    return Period(first_on=found["from"], last_on=found["to"])


def _day(text: str) -> date | None:
    """``date.max`` has no day after it, so the last year that can be asked for is 9998."""
    if not text.strip():
        return None
    day = date.fromisoformat(text.strip())
    if day.year > 9998:
        raise ValueError(text)
    return day
