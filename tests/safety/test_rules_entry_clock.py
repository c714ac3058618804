"""When an entry interval has run: cases A1 to A15 of the project's decision table.

Times are America/Chicago; spraying 2026-06-01 08:00 to 09:30 CDT unless said otherwise. Each row
names its legal basis; "project rule" where the law is silent.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from apps.safety.rules import (
    Activity,
    Kind,
    LiftReason,
    Reason,
    entry_end,
    for_sign,
    for_start,
    for_window,
    hours_for_rainfall,
)
from tests.safety.board import BLOCK, HALF_PAST_NINE, Board, local, rei, sprayed

PICKING, ON_FOOT = Activity.PICKING_BY_HAND, Activity.SCOUTING_ON_FOOT
HAND_120 = rei(120, activities=frozenset({"picking_by_hand"}))


def _a4() -> Board:
    board = Board()
    start, end = local("06-01 08:00"), local("06-01 10:00")
    board.hang(for_window([BLOCK], starts_at=start, ends_at=end, products=["X"]), at=start - timedelta(days=1))
    underway = for_start([BLOCK], started_at=start, window_ends_at=end, products=["X"])
    board.replace(underway, LiftReason.STARTED, at=start, kinds=[Kind.PLANNED])
    return board


def _a3() -> Board:
    board = sprayed(Board(), rei(12))
    board.hang(for_sign([BLOCK], up_at=local("05-31 09:00")), at=local("06-01 07:00"), source="sign:1")
    return board


def _a7() -> Board:
    board = sprayed(Board(), rei(48, product="A"), source="job:1")
    return sprayed(board, rei(12, product="B"), end=local("06-02 18:00"), source="job:2")


def _a8() -> Board:
    board = sprayed(Board(), rei(24, product="A"), source="job:1")
    return sprayed(board, rei(24, product="B"), end=local("06-02 08:00"), source="job:2")


def one(*intervals):
    return lambda: sprayed(Board(), *intervals)


RAIN = hours_for_rainfall(Decimal(48), Decimal(72), None)
LAW = "40 CFR 170.407"
# (case, basis, board, asked at, activity, answer, opens at)
CASES = [
    ("A1", LAW, one(rei(12)), "06-01 21:29", None, "no", "06-01 21:30"),
    ("A2", "project rule (half-open)", one(rei(12)), "06-01 21:30:00", None, "yes", None),
    ("A3", LAW, _a3, "06-01 21:30", None, "no", None),
    ("A4", "40 CFR 170.405(a)(2)", _a4, "06-01 08:45", None, "no", None),
    ("A5", "40 CFR 170.305 (definition, from memory)", one(rei(12)), "06-01 20:15", None, "no", "06-01 21:30"),
    ("A6", LAW + " (longest governs)", one(rei(12, product="A"), rei(48, product="B")), "06-02 10:00", None, "no",
     "06-03 09:30"),
    ("A7", "project rule (each from its own end)", _a7, "06-03 07:00", None, "no", "06-03 09:30"),
    ("A8", LAW, _a8, "06-02 12:00", None, "no", "06-03 08:00"),
    ("A9 before", "project rule (a day is 24 h)", one(rei(3 * 24)), "06-04 09:29", None, "no", "06-04 09:30"),
    ("A9 at", "project rule (a day is 24 h)", one(rei(3 * 24)), "06-04 09:30", None, "yes", None),
    ("A10", "label; 40 CFR 156.208(b)", one(rei(None, condition=Reason.UNTIL_LEVEL)), "07-01 12:00", None, "unknown",
     None),
    ("A11 picking", "label (interval by work)", one(rei(12), HAND_120), "06-02 10:00", PICKING, "no", "06-06 09:30"),
    ("A11 on foot", "label (interval by work)", one(rei(12), HAND_120), "06-02 10:00", ON_FOOT, "yes", None),
    ("A12", "project rule (no work chosen)", one(rei(12), HAND_120), "06-02 10:00", None, "no", "06-06 09:30"),
    ("A12 other", "project rule (other work)", one(rei(12), HAND_120), "06-02 10:00", Activity.OTHER, "no",
     "06-06 09:30"),
    ("A13", "label; project rule (rainfall unset)", one(rei(RAIN)), "06-03 10:00", None, "no", "06-04 09:30"),
    ("A14", "project rule (never defaulted)", one(rei(None)), "07-01 12:00", None, "unknown", None),
    ("A15", "project rule (attested only)", one(rei(None, condition=Reason.UNTIL_DRY)), "06-01 12:00", None,
     "unknown", None),
]  # fmt: skip


@pytest.mark.parametrize(("basis", "board", "at", "activity", "answer", "opens"), [c[1:] for c in CASES],
                         ids=[c[0] for c in CASES])  # fmt: skip
def test_case(basis, board, at, activity, answer, opens):
    said = board().enter(local(at), activity)
    assert (said.answer, said.opens_at) == (answer, local(opens) if opens else None)


def test_a3_says_what_is_missing_and_opens_when_the_sign_is_down():
    """40 CFR 170.407: no entry before the signs are removed or covered, though the interval has run."""
    board = _a3()
    said = board.enter(local("06-01 21:30"))
    assert [(b.code, b.source) for b in said.because] == [("sign_up", "40 CFR 170.407")]
    board.lift(LiftReason.SIGN_DOWN, at=local("06-01 21:40"), source="sign:1")
    assert board.enter(local("06-01 21:40")).answer == "yes"
    assert board.enter(local("06-01 21:39")).answer == "no"


def test_a4_names_no_time_while_spraying_goes_on():
    said = _a4().enter(local("06-01 08:45"))
    assert [(b.code, b.until_at) for b in said.because] == [("spraying_now", None)]


def test_a6_names_the_product_that_sets_the_time():
    said = sprayed(Board(), rei(12, product="A"), rei(48, product="B")).enter(local("06-02 10:00"))
    assert [(b.product, b.until_at, b.source) for b in said.because] == [("B", local("06-03 09:30"), LAW)]


def test_a7_gives_every_reason_that_still_holds_the_latest_first():
    said = _a7().enter(local("06-03 05:59"))
    assert [(b.product, b.until_at) for b in said.because] == [
        ("A", local("06-03 09:30")),
        ("B", local("06-03 06:00")),
    ]


@pytest.mark.parametrize("at", ["06-01 10:00", "06-02 10:00", "06-30 10:00", "12-31 23:59"])
def test_a10_and_a14_no_timer_ever_opens_what_has_no_timer(at):
    """Project rule; 40 CFR 156.208(b) for levels."""
    for interval in (rei(None), rei(None, condition=Reason.UNTIL_LEVEL), rei(None, condition=Reason.UNTIL_DRY)):
        said = sprayed(Board(), interval).enter(local(at))
        assert (said.answer, said.opens_at) == ("unknown", None)


def test_a15_opens_when_a_named_person_attests_and_not_before():
    board = sprayed(Board(), rei(None, condition=Reason.UNTIL_DRY))
    board.lift(LiftReason.ATTESTED, at=local("06-01 12:30"))
    assert board.enter(local("06-01 12:29")).answer == "unknown"
    assert board.enter(local("06-01 12:30")).answer == "yes"


def test_a15_hours_beside_a_condition_bind_as_well():
    """Label text such as "4 hours and until sprays have dried": both must hold."""
    board = sprayed(Board(), rei(4, condition=Reason.UNTIL_DRY))
    assert board.enter(local("06-01 15:00")).answer == "unknown"
    condition = [c for c in board.hanging() if c.reason_code is Reason.UNTIL_DRY]
    board.take_down(condition, LiftReason.ATTESTED, at=local("06-01 12:00"))
    assert board.enter(local("06-01 13:29")).opens_at == local("06-01 13:30")
    assert board.enter(local("06-01 13:30")).answer == "yes"


@pytest.mark.parametrize(
    ("wet", "hours"), [(None, 72), (True, 72), (False, 48)], ids=["rainfall unset", "under 25 in", "25 in or more"]
)
def test_a13_rainfall_chooses_between_the_two_intervals(wet, hours):
    """Label statement for some products; unset takes the longer (project rule)."""
    assert hours_for_rainfall(Decimal(48), Decimal(72), wet) == hours
    assert hours_for_rainfall(None, Decimal(72), wet) is None
    assert hours_for_rainfall(Decimal(12), None, wet) == 12


@pytest.mark.parametrize("work", [a for a in Activity if a not in {PICKING, Activity.OTHER}])
def test_a11_only_the_named_work_is_held_longer(work):
    said = sprayed(Board(), rei(12), HAND_120).enter(local("06-02 10:00"), work)
    assert said.answer == "yes"


@pytest.mark.parametrize("code", ["detasseling", "other"])
def test_work_on_a_label_that_the_board_does_not_know_binds_everybody(code):
    """Project rule: an unknown code is doubt about whom it binds."""
    board = sprayed(Board(), rei(12), rei(120, activities=frozenset({code})))
    assert board.enter(local("06-02 10:00"), ON_FOOT).opens_at == local("06-06 09:30")


def test_seconds_are_rounded_up_to_the_minute():
    """Project rule."""
    end = HALF_PAST_NINE + timedelta(seconds=1)
    assert entry_end(end, 12) == local("06-01 21:31")
    board = sprayed(Board(), rei(12), end=end)
    assert board.enter(local("06-01 21:30:59")).answer == "no"
    assert board.enter(local("06-01 21:31:00")).answer == "yes"


@pytest.mark.parametrize("hours", [-1, Decimal("NaN"), Decimal("Infinity")])
def test_an_interval_that_is_no_number_of_hours_is_refused(hours):
    with pytest.raises(ValueError, match="interval must be a number of hours"):
        entry_end(HALF_PAST_NINE, hours)


def test_hours_may_be_fractions_and_nought_but_never_missing():
    assert entry_end(HALF_PAST_NINE, Decimal("0.5")) == local("06-01 10:00")
    assert entry_end(HALF_PAST_NINE, 0) == HALF_PAST_NINE
    assert entry_end(HALF_PAST_NINE, None) is None


def test_a_time_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="end_at has no time zone"):
        entry_end(HALF_PAST_NINE.replace(tzinfo=None), 12)
    with pytest.raises(ValueError, match="at has no time zone"):
        Board().enter(HALF_PAST_NINE.replace(tzinfo=None))
