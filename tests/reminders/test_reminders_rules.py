"""What may be a notice, how loud it is, and when a failed e-mail is tried again."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from apps.reminders import rules
from apps.reminders.rules import Due, Level, Words

NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
PLAIN = {
    "kind": "gate_painted",
    "subject_type": "gate",
    "subject_id": 7,
    "occasion": "once",
    "person_ids": [1],
    "template": "Gate {gate} is painted.",
    "numbers": {"gate": "East"},
}


def test_one_notice_is_its_kind_subject_and_occasion():
    assert Due(**PLAIN).key == ("gate_painted", "gate", "7", "once")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"kind": "Gate painted"}, "its kind must be a lower-case code of at most 40 letters"),
        ({"occasion": "x" * 121}, "occasion is longer than 120"),
        ({"subject_type": "x" * 41}, "subject_type is longer than 40"),
        ({"path": "//elsewhere.example/"}, "path must begin with one slash"),
        ({"path": "https://elsewhere.example/"}, "path must begin with one slash"),
        ({"numbers": {}}, "nothing to fill gate"),
    ],
    ids=["kind", "long occasion", "long subject type", "path to another host", "whole address", "empty slot"],
)
def test_what_could_not_be_stored_or_shown_is_refused_where_it_is_written(change, said):
    with pytest.raises(ValueError, match="notice") as caught:
        Due(**{**PLAIN, **change})
    assert str(caught.value).endswith(said)


def test_slots_are_kept_as_text_that_can_be_worded_later():
    slots = {
        "at": NOON.astimezone(ZoneInfo("America/Chicago")),
        "on": date(2026, 6, 2),
        "work": Words("weeding"),
        "rate": Decimal("2.50"),
        "count": 3,
    }
    assert rules.stored(slots, "America/Denver") == {
        "at": "2026-06-01T12:00:00+00:00@America/Denver",
        "on": "2026-06-02",
        "work": {"words": "weeding"},
        "rate": "2.50",
        "count": "3",
    }


def test_an_instant_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="needs its zone"):
        rules.stored({"at": datetime(2026, 6, 1, 12, 0)}, "America/Chicago")


def test_urgent_outweighs_the_kind_and_an_unregistered_kind_is_for_information():
    kind = rules.register("hedge_on_fire_in_tests", Level.DO_TODAY)
    assert [rules.level_of(kind, urgent=u) for u in (False, True)] == [Level.DO_TODAY, Level.CALL_NOW]
    assert rules.level_of("nobody_registered_this", urgent=False) is Level.INFORMATION


def test_two_opinions_about_one_kind_are_refused():
    rules.register("fence_down_in_tests", Level.DO_TODAY)
    assert rules.register("fence_down_in_tests", Level.DO_TODAY) == "fence_down_in_tests"
    with pytest.raises(ValueError, match="already weighs do_today"):
        rules.register("fence_down_in_tests", Level.CALL_NOW)


@pytest.mark.parametrize(("attempts", "minutes"), [(1, 1), (2, 2), (3, 4), (4, 8), (5, 16), (6, 32), (7, 64), (8, 64)])
def test_each_failed_try_waits_longer(attempts, minutes):
    assert rules.pause_after(attempts) == timedelta(minutes=minutes)


@pytest.mark.parametrize(
    ("finished", "late"),
    [
        (None, True),
        (NOON, False),
        (NOON - timedelta(minutes=5), False),
        (NOON - timedelta(minutes=5, seconds=1), True),
    ],
    ids=["never", "now", "five minutes ago", "a second more"],
)
def test_when_reminders_count_as_late(finished, late):
    assert rules.is_late(finished, NOON) is late
