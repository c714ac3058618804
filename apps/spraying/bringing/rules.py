"""Reading a file of earlier applications: every row answered, with what is wrong at which column. Plain Python."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal

from farmops.errors import BadInput, gettext_noop
from farmops.units import MASS_UNITS, PRODUCT_UNITS, VOLUME_UNITS, Dimension, number, unit_written

NEEDED = ("date", "block", "product", "amount", "unit", "acres")
OPTIONAL = ("start", "end", "crop", "spray_gpa", "applicator", "certificate", "targets", "note")
MOST_ROWS = 5000
MOST_CHARACTERS = 1_000_000
EARLIEST = date(1990, 1, 1)
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
_CLOCK = re.compile(r"(?:(\d{4}-\d{2}-\d{2})[ T])?(\d{1,2}):(\d{2})")
_LENGTHS = {"applicator": 120, "certificate": 60, "note": 300}


@dataclass(frozen=True, kw_only=True)
class Fault:
    """What is wrong with one cell: the column, an English sentence with slots, and what fills them."""

    column: str
    template: str
    numbers: Mapping[str, str] = field(default_factory=dict)


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


def decoded(data: bytes) -> str:
    """The text of a file, its byte-order mark taken off; ``BadInput`` when it is not UTF-8."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput({"file": gettext_noop("Save the file as CSV in UTF-8.")}) from None


def read(text: str) -> list[Answer]:
    """Every row of the file, answered. ``BadInput`` on ``file`` for what is no such file at all.

    Commas, semicolons or tabs part the columns; the first line names them, in any order and case. Empty lines
    are passed over. Row numbers are those a spreadsheet shows.
    """
    text = text.removeprefix("\ufeff")
    if len(text) > MOST_CHARACTERS:
        raise BadInput({"file": gettext_noop("The file is too long: cut it into several.")})
    rows = list(_rows(text))
    if not rows:
        raise BadInput({"file": gettext_noop("The file is empty.")})
    names = _header(rows[0][1])
    answers = [_answer(number, names, cells) for number, cells in rows[1:]]
    if not answers:
        raise BadInput({"file": gettext_noop("The file names its columns and holds no rows.")})
    if len(answers) > MOST_ROWS:
        raise BadInput({"file": gettext_noop("The file holds too many rows: cut it into several.")})
    return answers


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for place, cells in enumerate(reader, start=1):
            if any(c.strip() for c in cells):
                yield place, [c.strip() for c in cells]
    except csv.Error:
        raise BadInput({"file": gettext_noop("This cannot be read as a CSV file.")}) from None


def _header(cells: Sequence[str]) -> list[str]:
    names = [" ".join(c.lower().replace("_", " ").split()).replace(" ", "_") for c in cells]
    faults = []
    for name in NEEDED:
        if name not in names:
            faults.append(f"There is no column “{name}”.")
    for name in dict.fromkeys(names):
        if name and name not in (*NEEDED, *OPTIONAL):
            faults.append(f"The column “{name}” is not known. Leave it out, or rename it.")
        if name and names.count(name) > 1:
            faults.append(f"There are two columns “{name}”.")
    if faults:
        raise BadInput({"file": faults})
    return names


class _Row:
    """One row's cells, with the faults gathered column by column."""

    def __init__(self, cells: Mapping[str, str]) -> None:
        self.cells, self.faults = cells, [Fault(column="", template=t) for t in ()]

    def fault(self, column: str, template: str, **numbers: str) -> None:
        self.faults.append(Fault(column=column, template=template, numbers=numbers))

    def text(self, column: str) -> str:
        return self.cells.get(column, "")

    def needed(self, column: str) -> str:
        found = self.text(column)
        if not found:
            self.fault(column, gettext_noop("Fill this in."))
        return found

    def amount(self, column: str, *, most: int, places: int, needed: bool = True) -> Decimal | None:
        typed = self.needed(column) if needed else self.text(column)
        if not typed:
            return None
        try:
            found = number(typed, field=column, maximum=most)
        except BadInput as bad:
            self.faults += [Fault(column=column, template=s) for said in bad.errors.values() for s in said]
            return None
        if found <= 0:
            self.fault(column, gettext_noop("Must be above 0."))
            return None
        return found.quantize(Decimal(1).scaleb(-places))

    def day(self) -> date | None:
        typed = self.needed("date")
        if not typed:
            return None
        try:
            found = date.fromisoformat(typed) if _ISO.fullmatch(typed) else None
        except ValueError:
            self.fault("date", gettext_noop("There is no such day: {typed}."), typed=typed)
            return None
        if found is None:
            said = gettext_noop("Write the day as 2026-06-03: “{typed}” can be read in more than one way.")
            self.fault("date", said, typed=typed)
        elif found < EARLIEST:
            self.fault("date", gettext_noop("That is before 1990: check the year."))
            return None
        return found

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


def _answer(place: int, names: Sequence[str], values: Sequence[str]) -> Answer:
    cells = {name: value for name, value in zip(names, values, strict=False) if name}
    row = _Row(cells)
    if len(values) > len(names):
        row.fault("", gettext_noop("The row has more cells than the first line has names. Put quotes round commas."))
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
    for name, most in _LENGTHS.items():
        if len(row.text(name)) > most:
            row.fault(name, gettext_noop("Use {most} characters at most."), most=str(most))
    if row.faults or day is None:
        return Answer(row=place, cells=cells, faults=tuple(row.faults))
    return Answer(row=place, cells=cells, typed=Typed(row=place, day=day, start=start, end=end, **typed))  # type: ignore[arg-type]


def _check_times(row: _Row, start: datetime | None, end: datetime | None) -> None:
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
