"""Notice and display: cases B18, B19 and E1 to E11 of the project's decision table. E12 and E13 are about records.

Each row names its basis. Times are America/Chicago in 2026, end 06-01 09:30, as in the table.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from apps.safety.rules.notice import (
    Notice,
    NoticeFact,
    change_notice_by,
    check_display,
    check_sign_down,
    check_sign_up,
    display_due_at,
    display_until,
    keep_until,
    notice_for,
    sign_down_by,
    sign_earliest,
)
from tests.safety.board import HALF_PAST_NINE, local

LAW = "40 CFR 170.409"


def product(hours, double=False, name="A") -> NoticeFact:
    return NoticeFact(product=name, hours=None if hours is None else Decimal(hours), double=double)


NEEDS = [
    ("E1 outdoor, 48 h", LAW, [product(48)], False, Notice.EITHER),
    ("E2 outdoor, 49 h", LAW, [product(49)], False, Notice.POSTED),
    ("E3 the label says both, 12 h", "label", [product(12, True)], False, Notice.BOTH),
    ("E4 enclosed, 4 h", LAW + " (from memory)", [product(4)], True, Notice.EITHER),
    ("E4 enclosed, 12 h", LAW + " (from memory)", [product(12)], True, Notice.POSTED),
    ("E5 mix of 24 and 72 h", LAW, [product(24), product(72, name="B")], False, Notice.POSTED),
    ("E6 not known whether both", "project rule", [product(12, None)], False, Notice.BOTH),
    ("E6 interval not known", "project rule", [product(None)], False, Notice.BOTH),
    ("E6 no product", "project rule", [], False, Notice.BOTH),
    ("both in a mix with 72 h", "label", [product(12, True), product(72, name="B")], False, Notice.BOTH),
]


@pytest.mark.parametrize(("basis", "mix", "enclosed", "needs"), [c[1:] for c in NEEDS], ids=[c[0] for c in NEEDS])
def test_what_notice_a_mix_asks_for(basis, mix, enclosed, needs):
    assert notice_for(mix, enclosed=enclosed) is needs, basis


START = local("06-01 08:00")
UP = [
    ("E7 25 h ahead", LAW + "(b)", "05-31 07:00", ["sign_too_early"]),
    ("E7 24 h ahead", LAW + "(b)", "05-31 08:00", []),
    ("E7 a minute too early", LAW + "(b)", "05-31 07:59", ["sign_too_early"]),
    ("an hour ahead", LAW + "(b)", "06-01 07:00", []),
    ("after the start", "project rule (late is better than never)", "06-01 09:00", []),
    ("tomorrow", "project rule (no statement about the future)", "06-02 08:00", ["sign_in_future"]),
]


@pytest.mark.parametrize(("basis", "up", "codes"), [c[1:] for c in UP], ids=[c[0] for c in UP])
def test_e7_when_a_sign_may_go_up(basis, up, codes):
    found = check_sign_up(up_at=local(up), starts_at=START, now=local("06-01 12:00"))
    assert [f.code for f in found] == codes, basis
    assert sign_earliest(START) == local("05-31 08:00")


def test_e8_a_sign_is_down_within_three_days_after_the_interval():
    """40 CFR 170.409(b)."""
    ends = local("06-03 09:30")
    assert sign_down_by(interval_ends_at=ends, ended_at=HALF_PAST_NINE) == local("06-06 09:30")
    assert sign_down_by(interval_ends_at=None, ended_at=HALF_PAST_NINE) == local("06-04 09:30")


@pytest.mark.parametrize(("over", "codes"), [(False, ["sign_still_needed"]), (True, [])])
def test_e8_a_sign_stays_up_through_the_interval(over, codes):
    """40 CFR 170.409(b)."""
    assert [(f.code, f.source) for f in check_sign_down(open_otherwise=over)] == [
        (c, "40 CFR 170.409(b)") for c in codes
    ]


DUE = [
    ("E9 nobody goes in", None, "06-02 09:30"),
    ("E9 somebody goes in first", "06-01 22:00", "06-01 22:00"),
    ("E9 somebody goes in later", "06-02 12:00", "06-02 09:30"),
    ("somebody was to go in before the end", "06-01 09:00", "06-01 09:30"),
]


@pytest.mark.parametrize(("entry", "due"), [c[1:] for c in DUE], ids=[c[0] for c in DUE])
def test_e9_when_the_display_is_due(entry, due):
    """40 CFR 170.311(b): 24 hours after the end, and before workers enter."""
    assert display_due_at(ended_at=HALF_PAST_NINE, first_entry_at=entry and local(entry)) == local(due)


def test_e10_e11_how_long_the_display_hangs_and_is_kept():
    """40 CFR 170.311(b); that the two years start at the end of the interval: from memory."""
    ends = local("06-03 09:30")
    assert display_until(interval_ends_at=ends, ended_at=HALF_PAST_NINE) == local("07-03 09:30")
    assert keep_until(interval_ends_at=ends, ended_at=HALF_PAST_NINE) == ends.replace(year=2028)
    assert display_until(interval_ends_at=None, ended_at=HALF_PAST_NINE) == local("07-01 09:30")


def test_e10_a_leap_day_is_kept_to_the_first_of_march():
    leap = datetime(2028, 2, 29, 12, tzinfo=UTC)
    assert keep_until(interval_ends_at=leap, ended_at=leap) == datetime(2030, 3, 1, 12, tzinfo=UTC)


def test_e14_without_the_safety_data_sheet_nothing_is_displayed():
    """Project rule on 40 CFR 170.311(b)."""
    found = check_display(ended_at=HALF_PAST_NINE, without_sds=["Demo Shield"])
    assert [(f.code, f.numbers) for f in found] == [("sds_missing", {"product": "Demo Shield"})]
    assert check_display(ended_at=HALF_PAST_NINE, without_sds=[]) == []
    assert [f.code for f in check_display(ended_at=None, without_sds=[])] == ["no_end_yet"]


@pytest.mark.parametrize(
    ("case", "minutes", "due"),
    [
        ("B18", 45, None),
        ("B18 early", -45, None),
        ("one hour", 60, timedelta(hours=2)),
        ("B19", 75, timedelta(hours=2)),
    ],
)
def test_b18_b19_when_a_hired_firm_tells_of_another_end(case, minutes, due):
    """40 CFR 170.313: less than one hour needs no separate notice; else within two hours of the end."""
    ended = HALF_PAST_NINE + timedelta(minutes=minutes)
    assert change_notice_by(told_end_at=HALF_PAST_NINE, ended_at=ended) == (None if due is None else ended + due)


def test_the_day_ahead_counts_elapsed_hours_when_the_clocks_change():
    """Project rule, as for every interval: 24 hours, not yesterday's wall-clock time."""
    start = datetime(2026, 3, 8, 9, tzinfo=ZoneInfo("America/Chicago")).astimezone(UTC)
    assert sign_earliest(start).astimezone(ZoneInfo("America/Chicago")).hour == 8
