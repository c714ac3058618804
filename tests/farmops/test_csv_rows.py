"""Files that spreadsheets open as they were meant."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farmops.csv_rows import BOM, FORMULA, cell, download, lines, times


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ("plain", "plain"),
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t=1"),
        ("\r=1", "'\r=1"),
        ("  =1", "'  =1"),
        ("＝1", "'＝1"),
        ("a=1", "a=1"),
        (Decimal("-2.50"), "-2.5"),
        (Decimal("0.000"), "0"),
        (Decimal("1E+3"), "1000"),
        (-3, "-3"),
        (None, ""),
        ("", ""),
    ],
)
def test_a_cell_never_acts_as_a_formula_and_numbers_stay_numbers(value, written):
    """The first characters are those OWASP names in “CSV Injection”."""
    assert cell(value) == written


@given(st.lists(st.lists(st.text(max_size=12), min_size=2, max_size=2), max_size=5))
def test_whatever_was_typed_comes_back_but_for_the_apostrophe(rows):
    text = "".join(lines(["a", "b"], rows))
    assert text.startswith(BOM)
    read = list(csv.reader(io.StringIO(text.removeprefix(BOM), newline="")))
    assert read == [["a", "b"], *([cell(v) for v in row] for row in rows)]
    for row in read[1:]:
        assert [v for v in row if v.lstrip(" ").startswith(FORMULA)] == []


def test_it_is_made_line_by_line():
    """The second row is not asked for before the first is written."""
    asked = []

    def rows():
        for number in range(3):
            asked.append(number)
            yield [number]

    made = lines(["n"], rows())
    next(made)
    assert asked == []
    next(made)
    assert asked == [0]


@pytest.mark.parametrize(
    ("at", "iso", "local"),
    [
        (datetime(2026, 7, 6, 14, 40, tzinfo=UTC), "2026-07-06T09:40:00-05:00", "2026-07-06 09:40"),
        (datetime(2026, 11, 1, 6, 30, tzinfo=UTC), "2026-11-01T01:30:00-05:00", "2026-11-01 01:30"),
        (datetime(2026, 11, 1, 7, 30, tzinfo=UTC), "2026-11-01T01:30:00-06:00", "2026-11-01 01:30"),
    ],
    ids=["summer", "before the autumn change", "after it"],
)
def test_an_instant_stands_with_offset_and_as_the_farms_clock_shows_it(at, iso, local):
    """America/Chicago leaves daylight time on November 1, 2026 (IANA time zone database)."""
    assert times(at, "America/Chicago") == (iso, local)
    assert times(None, "America/Chicago") == ("", "")


def test_a_download_says_from_when_it_is():
    at = datetime(2026, 7, 6, 14, 40, 5, tzinfo=UTC)
    answer = download("things-farm", ["a"], [["x"]], as_of=at)
    assert b"".join(answer.streaming_content).decode() == BOM + "a,as_of\r\nx,2026-07-06T14:40:05+00:00\r\n"
    assert answer["Content-Disposition"] == 'attachment; filename="things-farm-20260706T144005Z.csv"'
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer["Cache-Control"] == "no-store"
