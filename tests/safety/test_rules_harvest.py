"""May I harvest? Cases G1 to G9 that the board decides.

Labels do not say how to count days: both readings must hold (project rule). The wait itself is
label law (FIFRA; NPIC "Preharvest Interval").
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.safety.rules import Activity, HarvestWait, Kind, Reason, end_of_day, harvest_opens, may_harvest
from tests.safety.board import BLOCK, CHICAGO, Board, local, rei, sprayed

LA = "America/Los_Angeles"
TEN = local("06-01 10:00")


def wait(days, product="X"):
    return HarvestWait(product=product, days=days)


@pytest.mark.parametrize(
    ("ended", "days", "zone", "opens"),
    [
        (TEN, 7, CHICAGO, local("06-08 10:00")),
        (date(2026, 6, 1), 7, CHICAGO, local("06-09 00:00")),
        (local("03-01 10:00", LA), 14, LA, local("03-15 11:00", LA)),
        (local("10-25 10:00", LA), 14, LA, local("11-08 10:00", LA)),
        (TEN, 0, CHICAGO, TEN),
        (TEN, None, CHICAGO, None),
        (date(2026, 6, 1), None, CHICAGO, None),
    ],
    ids=["G1", "G2 date only", "G6 spring: elapsed is later", "G7 autumn: wall clock is later", "0 days", "G8 blank",
         "G8 blank, date only"],
)  # fmt: skip
def test_when_harvest_opens(ended, days, zone, opens):
    assert harvest_opens(ended, days, zone) == opens


def test_a_wall_clock_time_that_is_skipped_takes_the_later_reading():
    """02:30 does not exist on 2026-03-08 in Los Angeles: 03:30 PDT, which is also 24 h after 02:30 PST."""
    assert harvest_opens(local("03-07 02:30", LA), 1, LA) == local("03-08 03:30", LA)


def test_negative_days_are_refused():
    with pytest.raises(ValueError, match="cannot be negative"):
        harvest_opens(TEN, -1, CHICAGO)


def test_the_end_of_a_day_is_the_next_midnight_also_when_the_clocks_change():
    assert end_of_day(date(2026, 3, 8), LA) == local("03-09 00:00", LA)
    # Midnight itself happens twice in Havana on the first Sunday of November (IANA tz database): the second counts.
    assert end_of_day(date(2026, 10, 31), "America/Havana") == datetime(2026, 11, 1, 5, tzinfo=UTC)


@given(
    st.datetimes(datetime(2020, 1, 1), datetime(2035, 1, 1), timezones=st.just(UTC)),
    st.integers(0, 200),
    st.sampled_from([CHICAGO, LA, "America/Phoenix", "America/St_Johns", "Australia/Lord_Howe", "Europe/Dublin"]),
)
def test_never_earlier_than_either_reading(ended, days, zone):
    opens = harvest_opens(ended, days, zone)
    assert opens >= ended + timedelta(hours=24 * days)
    local_open = opens.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    local_end = ended.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    assert local_open >= local_end + timedelta(days=days)


def board_with(days, hours=12, end=TEN, **more) -> Board:
    return sprayed(Board(), rei(hours), end=end, waits=[wait(days)], **more)


@pytest.mark.parametrize(("at", "expected"), [("06-08 09:00", "no"), ("06-08 10:00", "yes")])
def test_g1(at, expected):
    assert board_with(7).harvest(local(at)).answer == expected


def test_g3_no_wait_but_the_entry_interval_still_runs():
    """40 CFR 170.407."""
    answer = board_with(0).harvest(TEN + timedelta(hours=3))
    assert (answer.answer, answer.opens_at) == ("no", local("06-01 22:00"))
    assert [b.kind for b in answer.because] == [Kind.ENTRY]


def test_g4_the_interval_for_picking_outlasts_the_wait():
    """40 CFR 170.407 and label."""
    picking = rei(120, activities=frozenset({"picking_by_hand"}))
    board = sprayed(Board(), rei(12), picking, end=TEN, waits=[wait(3)])
    answer = board.harvest(local("06-04 12:00"))
    assert (answer.answer, answer.opens_at) == ("no", local("06-06 10:00"))
    assert board.harvest(local("06-06 10:00")).answer == "yes"
    by_machine = may_harvest(board.known(local("06-04 12:00")), at=local("06-04 12:00"),
                             activity=Activity.DRIVING_CLOSED_CAB)  # fmt: skip
    assert by_machine.answer == "yes"


def test_g5_the_last_of_all_waits_counts():
    """Label: X 1 day sprayed 06-08, Y 14 days sprayed 06-01."""
    board = sprayed(Board(), rei(4), end=TEN, waits=[wait(14, "Y")], source="job:1")
    sprayed(board, rei(4), end=local("06-08 10:00"), waits=[wait(1, "X")], source="job:2")
    answer = board.harvest(local("06-09 12:00"))
    assert (answer.answer, answer.opens_at) == ("no", local("06-15 10:00"))
    assert [b.product for b in answer.because] == ["Y"]


def test_g5_in_one_mix_the_longest_wait_counts():
    board = sprayed(Board(), rei(4), end=TEN, waits=[wait(1, "X"), wait(14, "Y")])
    assert board.harvest(local("06-05 12:00")).opens_at == local("06-15 10:00")


@pytest.mark.parametrize("waits", [[wait(None)], [wait(3), wait(None, "Y")], []], ids=["blank", "one blank", "none"])
def test_g8_a_blank_wait_is_unknown_and_not_nought(waits):
    """Project rule."""
    board = sprayed(Board(), rei(4), end=TEN, waits=waits)
    answer = board.harvest(local("12-01 12:00"))
    assert (answer.answer, [b.code for b in answer.because]) == ("unknown", ["phi_missing"])
    assert board.enter(local("12-01 12:00")).answer == "yes"


def test_g9_a_harvest_brought_forward_meets_the_same_wait():
    assert board_with(7).harvest(local("06-05 12:00")).opens_at == local("06-08 10:00")


def test_entry_and_harvest_are_two_answers():
    board = board_with(7)
    at = local("06-03 12:00")
    assert (board.enter(at).answer, board.harvest(at).answer) == ("yes", "no")


def test_what_is_not_confirmed_for_entry_is_not_confirmed_for_harvest():
    answer = board_with(0, signed=False).harvest(local("06-09 12:00"))
    assert (answer.answer, [b.code for b in answer.because]) == ("unknown", ["unsigned"])


def test_a_cover_crop_that_nobody_harvests_hangs_no_wait():
    board = sprayed(Board(), rei(4), end=TEN, waits=None)
    assert {c.kind for c in board.hanging()} == {Kind.ENTRY}


def test_a_wait_with_a_missing_reason_never_opens_even_with_an_end():
    board = board_with(1)
    (harvest,) = [c for c in board.hanging() if c.kind is Kind.HARVEST]
    wrong = harvest.__class__(**{**vars(harvest), "reason_code": Reason.PHI_MISSING})
    assert may_harvest([wrong], at=local("07-01 12:00")).answer == "unknown"
    assert harvest.block_id == BLOCK
