"""Reading a CSV file made in a spreadsheet: rows, columns, and what is wrong at which cell. Plain Python."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from farmops.errors import BadInput, gettext_noop
from farmops.units import number

MOST_ROWS = 5000
MOST_CHARACTERS = 1_000_000
EARLIEST = date(1990, 1, 1)
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True, kw_only=True)
class Fault:
    """What is wrong with one cell: the column, an English sentence with slots, and what fills them."""

    column: str
    template: str
    numbers: Mapping[str, str] = field(default_factory=dict)


def decoded(data: bytes) -> str:
    """The text of a file, its byte-order mark taken off; ``BadInput`` when it is not UTF-8."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput({"file": gettext_noop("Save the file as CSV in UTF-8.")}) from None


def rows_of(text: str, needed: Sequence[str], optional: Sequence[str]) -> list[tuple[int, dict[str, str], bool]]:
    """(row as a spreadsheet numbers it, cells by column, whether it has more cells than there are columns).

    Commas, semicolons or tabs part the columns; the first line names them, in any order and case. Empty lines are
    passed over. ``BadInput`` on ``file`` for what is no such file at all.
    """
    text = text.removeprefix("\ufeff")
    if len(text) > MOST_CHARACTERS:
        raise BadInput({"file": gettext_noop("The file is too long: cut it into several.")})
    if "\0" in text:  # no database column for text can hold it
        raise BadInput({"file": gettext_noop("This cannot be read as a CSV file.")})
    rows = list(_rows(text))
    if not rows:
        raise BadInput({"file": gettext_noop("The file is empty.")})
    names = _header(rows[0][1], needed, optional)
    if len(rows) == 1:
        raise BadInput({"file": gettext_noop("The file names its columns and holds no rows.")})
    if len(rows) > MOST_ROWS + 1:
        raise BadInput({"file": gettext_noop("The file holds too many rows: cut it into several.")})
    return [
        (place, {n: v for n, v in zip(names, cells, strict=False) if n}, len(cells) > len(names))
        for place, cells in rows[1:]
    ]


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


def _header(cells: Sequence[str], needed: Sequence[str], optional: Sequence[str]) -> list[str]:
    names = [" ".join(c.lower().replace("_", " ").split()).replace(" ", "_") for c in cells]
    faults = []
    for name in needed:
        if name not in names:
            faults.append(f"There is no column “{name}”.")
    for name in dict.fromkeys(names):
        if name and name not in (*needed, *optional):
            faults.append(f"The column “{name}” is not known. Leave it out, or rename it.")
        if name and names.count(name) > 1:
            faults.append(f"There are two columns “{name}”.")
    if faults:
        raise BadInput({"file": faults})
    return names


class Row:
    """One row's cells, with the faults gathered column by column."""

    def __init__(self, cells: Mapping[str, str], *, too_many: bool = False) -> None:
        self.cells = cells
        self.faults: list[Fault] = []
        if too_many:
            said = gettext_noop("The row has more cells than the first line has names. Put quotes round commas.")
            self.fault("", said)

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

    def day(self, column: str = "date") -> date | None:
        typed = self.needed(column)
        if not typed:
            return None
        try:
            found = date.fromisoformat(typed) if _ISO.fullmatch(typed) else None
        except ValueError:
            self.fault(column, gettext_noop("There is no such day: {typed}."), typed=typed)
            return None
        if found is None:
            said = gettext_noop("Write the day as 2026-06-03: “{typed}” can be read in more than one way.")
            self.fault(column, said, typed=typed)
        elif found < EARLIEST:
            self.fault(column, gettext_noop("That is before 1990: check the year."))
            return None
        return found

    def short(self, lengths: Mapping[str, int]) -> None:
        """No text longer than its column holds."""
        for name, most in lengths.items():
            if len(self.text(name)) > most:
                self.fault(name, gettext_noop("Use {most} characters at most."), most=str(most))
