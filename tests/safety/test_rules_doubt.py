"""Unknown, partial, stopped and corrected jobs: cases B1 to B23 that the board decides, and F14.

Times are America/Chicago, 2026. Basis: "project rule" unless a source is named. B6 (the unsprayed part
of a mapped block) is not judged finer than the block: the whole block stays closed, which is B7's answer.
B12, B17 to B19 are about logs and notices, not about the board's answer.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from apps.safety.rules import (
    Answer,
    Kind,
    LiftReason,
    NewClosure,
    Reason,
    check_hang,
    end_after_correction,
    end_of_claims,
    entry_end,
    for_finish,
    for_signature,
    for_start,
    for_window,
    hours_after_correction,
    may_enter,
    once_stale,
)
from farmops.errors import Refused
from tests.safety.board import BLOCK, HALF_PAST_NINE, Board, local, rei, sprayed

START, WINDOW_END = local("06-01 08:00"), local("06-01 10:00")


def assigned(start=START, end=WINDOW_END) -> Board:
    board = Board()
    board.hang(for_window([BLOCK], starts_at=start, ends_at=end, products=["X"]), at=start - timedelta(days=1))
    return board


def begun(start=START, end=WINDOW_END) -> Board:
    board = assigned(start, end)
    underway = for_start([BLOCK], started_at=start, window_ends_at=end, products=["X"])
    board.replace(underway, LiftReason.STARTED, at=start, kinds=[Kind.PLANNED])
    return board


def finished(board: Board, ended, *intervals, start=START, at=None) -> Board:
    finish = for_finish([BLOCK], started_at=start, ended_at=ended, intervals=intervals)
    board.replace(finish, LiftReason.FINISHED, at=at or ended, kinds=[Kind.UNDERWAY])
    return board


def signed(board: Board, ended, *intervals, start=START, at=None, reason=LiftReason.SIGNED) -> Board:
    final = for_signature(BLOCK, started_at=start, ended_at=ended, intervals=intervals, waits=None, zone="UTC")
    board.replace(final, reason, at=at or ended, kinds=[Kind.UNCONFIRMED, Kind.ENTRY, Kind.HARVEST])
    return board


def said(answer: Answer) -> tuple:
    return answer.answer, answer.opens_at, answer.because[0].code if answer.because else None


def test_before_its_window_a_planned_job_restricts_nothing_but_is_announced():
    answer = assigned().enter(local("06-01 07:59"))
    assert said(answer) == ("yes", None, "planned_later")
    assert answer.good_until == START


def test_in_its_window_a_planned_job_closes_the_block():
    assert said(assigned().enter(START)) == ("no", None, "planned_now")


def test_b1_after_the_window_without_report_it_may_have_been_sprayed():
    assert said(assigned().enter(local("06-01 10:00"))) == ("unknown", None, "planned_unreported")
    assert said(assigned().enter(local("06-01 15:00"))) == ("unknown", None, "planned_unreported")


@pytest.mark.parametrize(
    ("at", "expected"),
    [("06-02 09:59", ("no", None, "spraying_now")), ("06-02 10:00", ("unknown", None, "no_finish_time")),
     ("06-03 12:00", ("unknown", None, "no_finish_time"))],
    ids=["24 h past the window, less a minute", "24 h past the window", "B2"],
)  # fmt: skip
def test_b2_a_start_without_an_end(at, expected):
    assert said(begun().enter(local(at))) == expected


def test_b3_unsigned_shows_the_provisional_time_as_not_confirmed():
    answer = finished(begun(), HALF_PAST_NINE, rei(12)).enter(local("06-01 22:00"))
    assert said(answer) == ("unknown", None, "unsigned")
    because = answer.because[0]
    assert (because.times["provisional_at"], because.confirmed) == (local("06-01 21:30"), False)


def test_b4_signed_not_applied_lifts_its_restriction():
    board = assigned()
    board.lift(LiftReason.NOT_APPLIED, at=local("06-01 11:00"))
    assert said(board.enter(local("06-01 11:00"))) == ("yes", None, None)


def test_b5_called_off_unsigned_after_the_window_stays_unknown():
    board = assigned()
    with pytest.raises(Refused, match="window has begun"):
        board.lift(LiftReason.CALLED_OFF, at=local("06-01 10:30"))
    assert said(board.enter(local("06-01 12:00"))) == ("unknown", None, "planned_unreported")


def test_called_off_before_the_window_lifts_the_plan():
    board = assigned()
    board.lift(LiftReason.CALLED_OFF, at=local("06-01 07:00"))
    assert said(board.enter(local("06-01 09:00"))) == ("yes", None, None)


@pytest.mark.parametrize(("at", "expected"), [("06-01 12:00", "no"), ("06-01 21:30", "yes")])
def test_b7_part_of_a_block_sprayed_and_not_mapped_closes_all_of_it(at, expected):
    assert sprayed(Board(), rei(12)).enter(local(at)).answer == expected


@pytest.mark.parametrize(("case", "at", "expected"), [
    ("B8", "06-02 08:39", ("no", local("06-02 08:40"))),
    ("B8", "06-02 08:40", ("yes", None)),
    ("B9", "06-01 09:00", ("no", local("06-02 08:40"))),
])  # fmt: skip
def test_b8_b9_stopped_early_counts_from_when_spraying_ended(case, at, expected):
    """40 CFR 170.407 for B8; B9 project rule."""
    answer = sprayed(Board(), rei(24), start=START, end=local("06-01 08:40")).enter(local(at))
    assert (answer.answer, answer.opens_at) == expected


def test_b10_a_pause_is_not_an_end():
    """40 CFR 170.407 and project rule: closed until the last end has its interval."""
    board = begun()
    assert said(board.enter(local("06-01 12:00"))) == ("no", None, "spraying_now")
    ended = local("06-01 16:10")
    signed(finished(board, ended, rei(24)), ended, rei(24))
    assert said(board.enter(local("06-01 16:10"))) == ("no", local("06-02 16:10"), "entry_interval")
    assert said(board.enter(local("06-02 16:10"))) == ("yes", None, None)


def test_b11_paused_and_never_closed_stays_unknown_until_the_signed_stop():
    board = begun()
    assert said(board.enter(local("06-03 12:00"))) == ("unknown", None, "no_finish_time")
    at, last = local("06-03 13:00"), local("06-01 08:40")
    signed(finished(board, last, rei(24), at=at), last, rei(24), at=at)
    assert said(board.enter(at)) == ("yes", None, None)


def test_b13_one_job_over_two_days_is_one_application():
    start, end = local("06-01 08:00"), local("06-02 12:00")
    board = begun(start, end)
    assert said(board.enter(local("06-02 06:30"))) == ("no", None, "spraying_now")
    signed(finished(board, end, rei(12)), end, rei(12))
    assert board.enter(local("06-02 13:00")).opens_at == local("06-03 00:00")


def test_b14_two_blocks_each_count_from_their_own_end():
    """Project rule; 40 CFR 170.407."""
    first = sprayed(Board(), rei(12), end=local("06-01 18:00"), block=1)
    second = assigned(local("06-02 08:00"), local("06-02 12:00"))
    assert first.enter(local("06-02 05:59")).answer == "no"
    assert first.enter(local("06-02 06:30")).answer == "yes"
    assert second.enter(local("06-02 06:30")).good_until == local("06-02 07:00")


def test_b15_a_later_end_counts_at_once_before_it_is_signed_again():
    board = sprayed(Board(), rei(24))
    corrected = end_after_correction(standing_at=HALF_PAST_NINE, corrected_at=local("06-01 11:15"), signed_again=False)
    found_at = local("06-02 09:00")
    signed(board, corrected, rei(24), at=found_at, reason=LiftReason.LENGTHENED)
    assert said(board.enter(local("06-02 10:00"))) == ("no", local("06-02 11:15"), "entry_interval")
    assert [c.ends_at for c in board.known(found_at)][-2:] == [local("06-02 09:30"), local("06-02 11:15")]


def test_b16_an_earlier_end_counts_only_when_signed_again():
    asked = {"standing_at": HALF_PAST_NINE, "corrected_at": local("06-01 08:30")}
    assert end_after_correction(**asked, signed_again=False) == HALF_PAST_NINE
    assert end_after_correction(**asked, signed_again=True) == local("06-01 08:30")
    board = sprayed(Board(), rei(24))
    assert said(board.enter(local("06-02 09:00"))) == ("no", local("06-02 09:30"), "entry_interval")
    with pytest.raises(Refused, match="at least as long"):
        signed(board, local("06-01 08:30"), rei(24), at=local("06-02 08:45"), reason=LiftReason.LENGTHENED)
    signed(board, local("06-01 08:30"), rei(24), at=local("06-02 08:50"), reason=LiftReason.RESIGNED)
    assert said(board.enter(local("06-02 09:00"))) == ("yes", None, None)


@pytest.mark.parametrize(
    ("new", "code"),
    [
        (NewClosure(block_id=1, kind=Kind.ENTRY, reason_code=Reason.REI, starts_at=START,
                    ends_at=START - timedelta(minutes=1)), "ends_before_start"),
        (NewClosure(block_id=1, kind=Kind.ENTRY, reason_code=Reason.REI, starts_at=START + timedelta(minutes=3),
                    ends_at=START + timedelta(hours=12)), "starts_in_future"),
        (NewClosure(block_id=1, kind=Kind.UNDERWAY, reason_code=Reason.SPRAYING,
                    starts_at=START + timedelta(minutes=3)), "starts_in_future"),
        (NewClosure(block_id=1, kind=Kind.PLANNED, reason_code=Reason.WINDOW, starts_at=START), "window_open_ended"),
        (NewClosure(block_id=1, kind=Kind.UNDERWAY, reason_code=Reason.SPRAYING, starts_at=START,
                    ends_at=WINDOW_END), "end_not_allowed"),
        (NewClosure(block_id=1, kind=Kind.ENTRY, reason_code=Reason.UNTIL_DRY, starts_at=START,
                    ends_at=WINDOW_END), "end_not_allowed"),
        (NewClosure(block_id=1, kind=Kind.POSTED, reason_code=Reason.SIGN, starts_at=START,
                    ends_at=WINDOW_END), "end_not_allowed"),
    ],
    ids=["end before start", "entry from the future", "start in the future", "endless window", "underway with an end",
         "condition with a timer", "sign with a timer"],
)  # fmt: skip
def test_b20_times_that_cannot_be_are_refused(new, code):
    assert [f.code for f in check_hang(new, now=START)] == [code]


def test_b20_if_such_a_row_stands_all_the_same_the_block_is_unknown():
    board = sprayed(Board(), rei(12))
    (entry,) = board.hanging()
    assert may_enter([entry], at=entry.starts_at - timedelta(hours=1)).because[0].code == "contradiction"


def test_a_clock_a_minute_ahead_closes_now_and_not_in_a_minute():
    board = Board()
    ahead = for_start([BLOCK], started_at=START + timedelta(minutes=1), window_ends_at=WINDOW_END, products=["X"])
    board.hang(ahead, at=START)
    assert said(board.enter(START)) == ("no", None, "spraying_now")


def test_b21_an_old_yes_is_no_longer_a_yes():
    board = sprayed(Board(), rei(12))
    fresh = board.enter(local("06-02 06:00"))
    assert (fresh.answer, fresh.good_until) == ("yes", local("06-02 06:30"))
    assert once_stale(fresh, now=local("06-02 06:29")) == fresh
    old = once_stale(fresh, now=local("06-02 06:30"))
    assert said(old) == ("unknown", None, "stale")
    assert old.because[0].times == {"as_of": local("06-02 06:00")}
    assert said(once_stale(fresh, now=local("06-03 02:00"))) == ("unknown", None, "stale")


def test_b21_an_old_keep_out_stays_a_keep_out_even_past_its_end():
    closed = sprayed(Board(), rei(12)).enter(local("06-01 21:00"))
    assert once_stale(closed, now=local("06-03 12:00")) == closed
    assert closed.answer == "no"


def test_b22_split_or_merged_ground_keeps_every_closure():
    """Handing over all closures of the former blocks gives the strictest of them."""
    north = sprayed(Board(), rei(12), block=1)
    south = sprayed(Board(), rei(48), block=2)
    at = local("06-02 10:00")
    assert may_enter(north.known(at), at=at).answer == "yes"
    assert may_enter(north.known(at) + south.known(at), at=at).opens_at == local("06-03 09:30")


def test_b23_a_longer_interval_counts_at_once():
    board = sprayed(Board(), rei(12))
    hours = hours_after_correction(standing_hours=Decimal(12), corrected_hours=Decimal(48), signed_again=False)
    signed(board, HALF_PAST_NINE, rei(hours), at=local("06-01 12:00"), reason=LiftReason.LENGTHENED)
    assert board.enter(local("06-02 10:00")).opens_at == local("06-03 09:30")


@pytest.mark.parametrize(
    ("standing", "corrected", "again", "expected"),
    [(48, 12, False, 48), (48, 12, True, 12), (12, None, False, None), (None, 12, False, None), (None, 12, True, 12)],
    ids=["shorter, unsigned", "shorter, signed", "becomes unknown", "was unknown", "was unknown, signed"],
)
def test_b23_a_shorter_or_first_interval_waits_for_the_signature(standing, corrected, again, expected):
    decimals = [None if h is None else Decimal(h) for h in (standing, corrected)]
    found = hours_after_correction(standing_hours=decimals[0], corrected_hours=decimals[1], signed_again=again)
    assert found == expected


def test_f14_two_claimed_ends_use_the_later_and_stay_unknown_until_resolved():
    ends = [HALF_PAST_NINE, local("06-01 10:10")]
    assert end_of_claims(ends) == local("06-01 10:10")
    board = begun()
    disputed = for_finish([BLOCK], started_at=START, ended_at=end_of_claims(ends), intervals=[rei(12)], disputed=True)
    board.replace(disputed, LiftReason.FINISHED, at=local("06-01 10:15"), kinds=[Kind.UNDERWAY])
    answer = board.enter(local("06-02 12:00"))
    assert said(answer) == ("unknown", None, "two_ends")
    assert answer.because[0].times == {"provisional_at": local("06-01 22:10")}


def test_unknown_outweighs_no_and_both_are_told():
    board = sprayed(Board(), rei(48), source="job:1")
    sprayed(board, rei(None), end=local("06-01 12:00"), source="job:2")
    answer = board.enter(local("06-01 13:00"))
    assert (answer.answer, answer.opens_at) == ("unknown", None)
    assert [b.code for b in answer.because] == ["rei_missing", "entry_interval"]


def test_an_interval_row_without_a_number_gives_no_end():
    assert entry_end(HALF_PAST_NINE, None) is None
    (made,) = for_signature(BLOCK, started_at=START, ended_at=HALF_PAST_NINE, intervals=[], waits=None, zone="UTC")
    assert (made.reason_code, made.ends_at) == (Reason.REI_MISSING, None)
