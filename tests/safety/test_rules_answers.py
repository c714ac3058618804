"""How long an answer is good, what it says about later, and that lifted or strange rows do no harm."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from apps.safety.rules import Activity, Closure, Kind, LiftReason, Reason, for_sign, for_window, may_enter, may_harvest
from tests.safety.board import BLOCK, Board, local, rei, sprayed

NOW = local("06-05 06:12")
HALF_AN_HOUR = timedelta(minutes=30)


def planned(start, end) -> Board:
    board = Board()
    window = for_window([BLOCK], starts_at=local(start), ends_at=local(end), products=["X"])
    board.hang(window, at=local("06-01 00:00"))
    return board


def test_an_empty_board_allows_for_half_an_hour():
    answer = may_enter([], at=NOW)
    assert (answer.answer, answer.keep_out, answer.because) == ("yes", False, ())
    assert (answer.as_of, answer.good_until) == (NOW, NOW + HALF_AN_HOUR)


@pytest.mark.parametrize("minutes", [1, 5, 240])
def test_the_farm_sets_how_long_an_answer_is_good(minutes):
    assert may_enter([], at=NOW, fresh_minutes=minutes).good_until == NOW + timedelta(minutes=minutes)


def test_no_answer_outlives_the_next_planned_start():
    answer = planned("06-05 06:30", "06-05 09:00").enter(NOW)
    assert (answer.answer, answer.good_until) == ("yes", local("06-05 06:30"))
    assert [(b.code, b.answer, b.times["from_at"]) for b in answer.because] == [
        ("planned_later", "yes", local("06-05 06:30"))
    ]


def test_no_answer_outlives_a_sign_that_will_go_up():
    board = Board()
    board.hang(for_sign([BLOCK], up_at=local("06-05 06:20")), at=NOW, source="sign:1")
    assert board.enter(NOW).good_until == local("06-05 06:20")
    assert board.enter(local("06-05 06:20")).answer == "no"


def test_a_keep_out_is_asked_again_when_it_ends():
    board = sprayed(Board(), rei(12), end=local("06-04 18:30"))
    answer = board.enter(NOW)
    assert (answer.answer, answer.opens_at, answer.good_until) == ("no", local("06-05 06:30"), local("06-05 06:30"))


def test_a_keep_out_far_from_its_end_is_asked_again_when_no_longer_fresh():
    answer = sprayed(Board(), rei(48), end=local("06-04 18:30")).enter(NOW)
    assert answer.good_until == NOW + HALF_AN_HOUR


def test_an_unknown_is_asked_again_when_no_longer_fresh():
    answer = sprayed(Board(), rei(None), end=local("06-04 18:30")).enter(NOW)
    assert answer.good_until == NOW + HALF_AN_HOUR


def test_no_opening_is_promised_into_the_next_planned_job():
    board = sprayed(Board(), rei(12), end=local("06-04 18:30"), source="job:1")
    window = for_window([BLOCK], starts_at=local("06-05 06:20"), ends_at=local("06-05 09:00"), products=["X"])
    board.hang(window, at=local("06-04 12:00"), source="job:2")
    answer = board.enter(NOW)
    assert (answer.answer, answer.opens_at) == ("no", None)
    assert [b.code for b in answer.because] == ["entry_interval", "planned_later"]


def test_an_answer_about_later_says_so_and_is_no_longer_good_than_any():
    board = sprayed(Board(), rei(12), end=local("06-04 18:30"))
    answer = board.enter(local("06-05 06:45"), as_of=NOW)
    assert (answer.answer, answer.good_until) == ("yes", local("06-05 06:30"))
    assert [b.code for b in answer.because] == ["looking_ahead"]
    assert board.enter(local("06-05 06:40"), as_of=NOW).because == ()


def test_what_was_lifted_later_was_hanging_then():
    board = planned("06-05 06:00", "06-05 09:00")
    board.lift(LiftReason.NOT_APPLIED, at=local("06-05 07:00"))
    assert board.enter(local("06-05 06:59")).answer == "no"
    assert board.enter(local("06-05 07:00")).answer == "yes"


def test_a_lift_that_lies_in_the_future_does_not_count_yet():
    board = planned("06-05 06:00", "06-05 09:00")
    ahead = [replace(c, lifted_at=local("06-05 08:00")) for c in board.known(NOW)]
    assert may_enter(ahead, at=NOW).answer == "no"
    assert may_enter(ahead, at=local("06-05 08:30"), as_of=NOW).answer == "no"


@pytest.mark.parametrize("activity", [None, *Activity, "no such work"])
@pytest.mark.parametrize("kind", [k for k in Kind if k not in {Kind.ENTRY, Kind.HARVEST}])
def test_all_but_an_entry_interval_bind_every_kind_of_work(kind, activity):
    """40 CFR 170.405(a)(2) during spraying; project rule for what is not known."""
    reason = {"planned": Reason.WINDOW, "underway": Reason.SPRAYING, "unconfirmed": Reason.UNSIGNED,
              "posted": Reason.SIGN, "zone_planned": Reason.ZONE, "zone": Reason.ZONE}[kind]  # fmt: skip
    narrow = Closure(
        id=1, block_id=1, kind=kind, reason_code=reason, starts_at=NOW, ends_at=None,
        activities=frozenset({Activity.IRRIGATION}),
    )  # fmt: skip
    assert may_enter([narrow], at=NOW, activity=activity).keep_out is True


@pytest.mark.parametrize("activity", ["no such work", "", Activity.OTHER, None])
def test_work_that_is_not_known_is_judged_by_the_strictest(activity):
    board = sprayed(Board(), rei(12), rei(120, activities=frozenset({"picking_by_hand"})), end=local("06-04 10:00"))
    answer = may_enter(board.known(NOW), at=NOW, activity=activity)
    assert (answer.answer, answer.opens_at) == ("no", local("06-09 10:00"))


def test_a_wait_before_harvest_says_nothing_about_entry():
    wait = Closure(
        id=1, block_id=1, kind=Kind.HARVEST, reason_code=Reason.PHI, starts_at=NOW, ends_at=NOW + timedelta(days=3)
    )
    assert may_enter([wait], at=NOW).because == ()
    assert may_harvest([wait], at=NOW).opens_at == NOW + timedelta(days=3)


def test_every_reason_names_who_set_it_and_whom_to_call():
    because = sprayed(Board(), rei(48), end=local("06-04 18:30")).enter(NOW).because[0]
    assert (because.set_by, because.contact, because.product) == ("Luis Mora", "555-0100", "Demo Cover 40")
    assert because.template.format(product=because.product, until_at="Sat, Jun 6, 6:30 PM CDT") == (
        "Sprayed with Demo Cover 40. Its restricted-entry interval runs. Do not enter before Sat, Jun 6, 6:30 PM CDT."
    )
