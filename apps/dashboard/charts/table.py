"""A chart and the table it was drawn from: one cell holds the value for machines and the words for people."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import plotly.graph_objects as go
from django.utils.translation import get_language, gettext

from farmops import units, wording


@dataclass(frozen=True, kw_only=True)
class Cell:
    """``value`` for machines: ISO instant with offset, ISO day, plain decimal, text; ``None`` = unknown."""

    value: str | None
    text: str
    number: bool = False


@dataclass(frozen=True, kw_only=True)
class Column:
    key: str
    title: str
    number: bool = False


@dataclass(frozen=True, kw_only=True)
class Chart:
    """A question, its answer in one sentence, the drawing, and the table with the same numbers.

    ``draw`` is ``None`` when there is nothing to draw: an empty frame says nothing. The page needs only
    the table, so the figure is made when it is asked for.
    """

    name: str
    question: str
    answer: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    draw: Callable[[], go.Figure] | None
    notes: tuple[str, ...] = ()

    @property
    def figure(self) -> go.Figure | None:
        return None if self.draw is None else self.draw()

    @property
    def label(self) -> str:
        """The name of the drawing for those who do not see it."""
        return gettext("Drawing for “%(question)s” The table below it has the same numbers.") % {
            "question": self.question
        }

    def as_json(self) -> dict[str, Any]:
        """Figure and table as the API answers them."""
        keys = [c.key for c in self.columns]
        return {
            "name": self.name,
            "question": self.question,
            "answer": self.answer,
            "notes": list(self.notes),
            "columns": [{"key": c.key, "title": c.title, "number": c.number} for c in self.columns],
            "rows": [
                {key: {"value": c.value, "text": c.text} for key, c in zip(keys, row, strict=True)} for row in self.rows
            ],
            "figure": None if self.draw is None else json.loads(self.draw().to_json()),
        }


@dataclass(frozen=True, kw_only=True)
class Frame:
    """When and where: the instant the facts were read and the farm's zone."""

    now: datetime
    zone_name: str
    zone: ZoneInfo = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "zone", ZoneInfo(self.zone_name))

    def naive(self, instant: datetime) -> str:
        """Farm-local wall-clock time without offset: the only form a plotting script draws where it belongs."""
        return f"{instant.astimezone(self.zone):%Y-%m-%d %H:%M:%S}"

    def instant(self, value: datetime | None, unknown: str = "") -> Cell:
        """ISO with the farm's offset for machines, worded for people."""
        if value is None:
            return Cell(value=None, text=unknown or gettext("not known"))
        return Cell(
            value=value.astimezone(self.zone).isoformat(),
            text=wording.instant(value, self.zone_name, get_language()),
        )

    @property
    def zone_title(self) -> str:
        """What an axis of times is called."""
        return gettext("Farm time (%(zone)s)") % {"zone": self.zone_name}

    @property
    def as_of(self) -> str:
        return wording.instant(self.now, self.zone_name, get_language())


def text(value: object) -> Cell:
    return Cell(value=str(value), text=str(value))


def day(value: date) -> Cell:
    return Cell(value=value.isoformat(), text=wording.date(value, get_language()))


def number(value: Decimal | None, unit: str = "", unknown: str = "") -> Cell:
    """A decimal at four places, as the figure draws it, and with its unit in words."""
    if value is None:
        return Cell(value=None, text=unknown or gettext("not known"), number=True)
    shown = units.show(value)
    return Cell(value=shown, text=f"{shown} {unit}".strip(), number=True)


def as_drawn(value: Decimal) -> float:
    """A decimal for a figure: the very number that ``number`` prints in the table."""
    return float(units.show(value))
