"""Reading a file of earlier applications: every row answered, with what is wrong at which column. Plain Python."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal

from farmops.csv_read import Fault, Row, rows_of
from farmops.errors import BadInput, gettext_noop
from farmops.units import MASS_UNITS, PRODUCT_UNITS, VOLUME_UNITS, Dimension, unit_written

NEEDED = ("date", "block", "product", "amount", "unit", "acres")
OPTIONAL = ("start", "end", "crop", "spray_gpa", "applicator", "certificate", "targets", "note")
_CLOCK = re.compile(r"(?:(\d{4}-\d{2}-\d{2})[ T])?(\d{1,2}):(\d{2})")
_LENGTHS = {"applicator": 120, "certificate": 60, "note": 300}


@dataclass(frozen=True, kw_only=True)
class Typed:
    """One row as it was read, before anything is looked up. Times are farm-local; ``None`` = not given."""

    row: int
    day: date
    start: datetime | None
    end: datetime | None
    block: str
    product: str
    amount: Decimal
    unit: str
    acres: Decimal
    crop: str = ""
    spray_gpa: Decimal | None = None
    applicator: str = ""
    certificate: str = ""
    targets: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Answer:
    """The answer to one row: as typed, or its faults."""

    row: int
    cells: Mapping[str, str]
    typed: Typed | None = None
    faults: tuple[Fault, ...] = ()


def read(text: str) -> list[Answer]:
    """Every row of the file, answered. ``BadInput`` on ``file`` for what is no such file at all."""
    return [_answer(place, cells, too_many) for place, cells, too_many in rows_of(text, NEEDED, OPTIONAL)]


class _Spray(Row):
    """The cells of an application."""

    def at(self, column: str, day: date | None) -> datetime | None:
        typed = self.text(column)
        if not typed or day is None:
            return None
        found = _CLOCK.fullmatch(typed)
        try:
            if found:
                on = date.fromisoformat(found[1]) if found[1] else day
                return datetime.combine(on, time(int(found[2]), int(found[3])))
        except ValueError:
            pass
        said = gettext_noop("Write the time as 14:30, or with its day as 2026-06-03 14:30.")
        self.fault(column, said)
        return None

    def unit(self) -> str:
        typed = self.needed("unit")
        if not typed:
            return ""
        try:
            return unit_written(typed, PRODUCT_UNITS, field="unit")
        except BadInput as bad:
            self.faults += [Fault(column="unit", template=s) for said in bad.errors.values() for s in said]
            return ""


def _answer(place: int, cells: Mapping[str, str], too_many: bool) -> Answer:
    row = _Spray(cells, too_many=too_many)
    day = row.day()
    start, end = row.at("start", day), row.at("end", day)
    _check_times(row, start, end)
    typed = {
        "block": row.needed("block"),
        "product": row.needed("product"),
        "amount": row.amount("amount", most=1_000_000, places=4),
        "unit": row.unit(),
        "acres": row.amount("acres", most=100_000, places=4),
        "spray_gpa": row.amount("spray_gpa", most=1000, places=3, needed=False),
        "crop": row.text("crop"),
        "targets": tuple(t for t in (_code(t) for t in row.text("targets").split("/")) if t),
        **{name: row.text(name) for name in _LENGTHS},
    }
    row.short(_LENGTHS)
    if row.faults or day is None:
        return Answer(row=place, cells=cells, faults=tuple(row.faults))
    return Answer(row=place, cells=cells, typed=Typed(row=place, day=day, start=start, end=end, **typed))  # type: ignore[arg-type]


def _check_times(row: Row, start: datetime | None, end: datetime | None) -> None:
    if row.text("end") and not row.text("start"):
        row.fault("start", gettext_noop("Give the start too, or leave both empty."))
    if row.text("start") and not row.text("end"):
        row.fault("end", gettext_noop("Give the end too, or leave both empty."))
    if start and end and end <= start:
        said = gettext_noop("The end must be after the start. Past midnight write its day too: 2026-06-04 00:30.")
        row.fault("end", said)


def _code(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")[:40]


def units_like(unit: str) -> tuple[str, ...]:
    """The units of product that measure the same as ``unit``."""
    return VOLUME_UNITS if unit in VOLUME_UNITS else MASS_UNITS


def measures(unit: str) -> Dimension:
    """Volume or mass."""
    return Dimension.VOLUME if unit in VOLUME_UNITS else Dimension.MASS
