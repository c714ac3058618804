"""CSV that any spreadsheet opens as it was meant: UTF-8 with its mark, no cell that acts as a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from decimal import Decimal

from django.http import StreamingHttpResponse

from farmops.clock import to_local

BOM = "\ufeff"
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""First characters that make a spreadsheet calculate (OWASP, CSV Injection)."""

Value = str | int | Decimal | None


def cell(value: Value) -> str:
    """Numbers plain, with a decimal point and no exponent; text that looks like a formula gets an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, Decimal):
        return f"{value.normalize():f}" if value else "0"
    text = str(value)
    if isinstance(value, str) and text.lstrip(" ").startswith(FORMULA):
        return "'" + text
    return text


def lines(header: Sequence[str], rows: Iterable[Sequence[Value]]) -> Iterator[str]:
    """The file line by line, so that a long one never stands in memory."""
    held = io.StringIO()
    writer = csv.writer(held)

    def line(values: Sequence[str]) -> str:
        held.seek(0)
        held.truncate()
        writer.writerow(values)
        return held.getvalue()

    yield BOM + line([cell(name) for name in header])
    for row in rows:
        yield line([cell(value) for value in row])


def times(instant: datetime | None, zone_name: str) -> tuple[str, str]:
    """An instant twice: ISO with the farm's offset, and farm-local words. Empty when there is none."""
    if instant is None:
        return "", ""
    local = to_local(instant, zone_name)
    return local.isoformat(timespec="seconds"), f"{local:%Y-%m-%d %H:%M}"


def download(
    name: str, header: Sequence[str], rows: Iterable[Sequence[Value]], *, as_of: datetime
) -> StreamingHttpResponse:
    """A download whose name and last column say from when the data is."""
    stamp = as_of.astimezone(UTC).isoformat(timespec="seconds")
    stamped = ([*row, stamp] for row in rows)
    response = StreamingHttpResponse(
        (text.encode() for text in lines([*header, "as_of"], stamped)), content_type="text/csv; charset=utf-8"
    )
    day = as_of.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    response["Content-Disposition"] = f'attachment; filename="{name}-{day}.csv"'
    response["Cache-Control"] = "no-store"
    return response
