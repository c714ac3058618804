"""Elapsed hours over clock changes: cases C1 to C9. Expected instants from the IANA time zone database."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from apps.safety.rules import entry_end, later_reading, unknown_answer
from farmops import clock, wording
from farmops.errors import BadInput
from tests.safety.board import Board, rei, sprayed

LA = "America/Los_Angeles"


def at(text: str) -> datetime:
    """An instant written with its own offset."""
    return datetime.fromisoformat(text)


CASES = [
    ("C1", "2026-03-07T20:00-08:00", 12, "2026-03-08T09:00-07:00", LA, "Sun, Mar 8, 9:00 AM PDT"),
    ("C2", "2026-10-31T20:00-07:00", 12, "2026-11-01T07:00-08:00", LA, "Sun, Nov 1, 7:00 AM PST"),
    ("C5", "2026-03-07T20:00-07:00", 12, "2026-03-08T08:00-07:00", "America/Phoenix", "Sun, Mar 8, 8:00 AM MST"),
    ("C6", "2026-03-07T06:00-08:00", 72, "2026-03-10T07:00-07:00", LA, "Tue, Mar 10, 7:00 AM PDT"),
    ("C7", "2026-03-08T00:30-08:00", 4, "2026-03-08T05:30-07:00", LA, "Sun, Mar 8, 5:30 AM PDT"),
]


@pytest.mark.parametrize(
    ("ended", "hours", "opens", "zone", "words"), [c[1:] for c in CASES], ids=[c[0] for c in CASES]
)
def test_elapsed_hours(ended, hours, opens, zone, words):
    found = entry_end(at(ended), hours)
    assert found == at(opens)
    assert found.tzinfo is UTC
    assert wording.instant(found, zone, "en") == words


@pytest.mark.parametrize(
    ("ended", "hours", "opens", "zone", "words"), [c[1:] for c in CASES], ids=[c[0] for c in CASES]
)
def test_the_board_opens_at_that_minute_and_not_before(ended, hours, opens, zone, words):
    board = sprayed(Board(), rei(hours), end=at(ended).astimezone(UTC))
    opening = at(opens).astimezone(UTC)
    assert board.enter(opening - timedelta(minutes=1)).opens_at == opening
    assert board.enter(opening).answer == "yes"


@pytest.mark.parametrize(
    ("case", "ended", "asked", "expected"),
    [
        ("C1", "2026-03-07T20:00-08:00", "2026-03-08T08:30-07:00", "no"),
        ("C2", "2026-10-31T20:00-07:00", "2026-11-01T07:30-08:00", "yes"),
    ],
)
def test_half_an_hour_either_side_of_the_naive_count(case, ended, asked, expected):
    assert sprayed(Board(), rei(12), end=at(ended)).enter(at(asked)).answer == expected


def test_a_farm_local_end_gives_the_same_instant_as_utc():
    """Same-zone arithmetic is wall-clock in Python; an end handed over in local time must not be added to."""
    local_end = at("2026-03-07T20:00-08:00").astimezone(ZoneInfo(LA))
    assert entry_end(local_end, 12) == at("2026-03-08T09:00-07:00")


def test_c3_an_hour_that_happens_twice_counts_from_the_second():
    twice = datetime(2026, 11, 1, 1, 30)
    with pytest.raises(BadInput):
        clock.to_utc(twice, LA, field="ended_at")
    second = later_reading(twice, LA)
    assert second == at("2026-11-01T01:30-08:00")
    assert entry_end(second, 4) == at("2026-11-01T05:30-08:00")
    assert entry_end(clock.to_utc(twice, LA, field="t", fold=0), 4) == at("2026-11-01T04:30-08:00")


def test_c4_an_hour_that_does_not_happen_is_refused():
    with pytest.raises(BadInput) as caught:
        clock.to_utc(datetime(2026, 3, 8, 2, 30), LA, field="ended_at")
    assert list(caught.value.errors) == ["ended_at"]


def test_c8_the_answer_rests_on_instants_wherever_it_is_read():
    board = sprayed(Board(), rei(12), end=at("2026-03-07T20:00-08:00"))
    in_la = at("2026-03-08T08:59-07:00").astimezone(ZoneInfo(LA))
    in_new_york = in_la.astimezone(ZoneInfo("America/New_York"))
    assert board.enter(in_la).opens_at == board.enter(in_new_york).opens_at == at("2026-03-08T09:00-07:00")
    assert wording.instant(board.enter(in_new_york).opens_at, LA, "es") == "domingo 8 de marzo, 9:00 a.m. PDT"


def test_c9_a_farm_without_a_zone_is_unknown():
    """Project rule. The door asks for the zone before the board; this is what it answers then."""
    moment = at("2026-06-01T12:00-05:00")
    answer = unknown_answer(at=moment, as_of=moment, code="no_zone", template="No zone.")
    assert (answer.answer, answer.keep_out, answer.opens_at) == ("unknown", True, None)
