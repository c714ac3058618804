"""A program followed on one block: windows opened, moved, missed, skipped, ended. Plain rules, no database.

The dates of the tables are counted by hand from the rules in ``course.py`` (project rules).
"""

from __future__ import annotations

import os
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.spraying.programs.rules import (
    Choice,
    EndReason,
    Pass,
    Start,
    StartKind,
    State,
    follow,
    reckoned_day,
    trigger_day,
)
from apps.spraying.rules.interval import Phase
from tests.spraying.programs.stories import JULY_1, at, day, decide, ground, program, said, spray, tank

DAY = timedelta(days=1)
MANY = settings(max_examples=1500 if os.environ.get("NIGHTLY") else 80, deadline=None)


class TestTrigger:
    @pytest.mark.parametrize(
        ("start", "known", "expected"),
        [
            pytest.param(Start(kind=StartKind.DATE, on=JULY_1), {}, JULY_1, id="a day"),
            pytest.param(Start(kind=StartKind.DATE, on=JULY_1, days=9), {}, JULY_1, id="a day is the day itself"),
            pytest.param(Start(kind=StartKind.DAYS_AFTER_PLANTING, days=40), {}, day(7, 11), id="40 days from 1 June"),
            pytest.param(Start(kind=StartKind.FIRST_BLOOM), {}, None, id="no bloom seen"),
            pytest.param(
                Start(kind=StartKind.FIRST_BLOOM, days=5), {"bloom_seen_on": day(7, 8)}, day(7, 13), id="5 after bloom"
            ),
            pytest.param(
                Start(kind=StartKind.FIRST_BLOOM), {"bloom_expected_on": day(7, 8)}, None, id="expected is not seen"
            ),
            pytest.param(
                Start(kind=StartKind.GROWTH_STAGE, stage="z37"),
                {"stages": ((day(6, 20), "z31"), (day(6, 25), "b61"), (day(7, 2), "z39"), (day(7, 5), "z41"))},
                day(7, 2), id="first at or past it, on the same scale",
            ),
            pytest.param(
                Start(kind=StartKind.GROWTH_STAGE, stage="z45"), {"stages": ((day(7, 2), "z39"),)}, None,
                id="not there yet",
            ),
            pytest.param(
                Start(kind=StartKind.THRESHOLD, threshold="cpm"),
                {"reached": ((day(7, 9), "beetles"), (day(7, 14), "cpm"), (day(7, 12), "cpm"))}, day(7, 12),
                id="first count that reached it",
            ),
            pytest.param(Start(kind=StartKind.DATE, on=JULY_1), {"planted_on": None}, None, id="nothing grows there"),
        ],
    )  # fmt: skip
    def test_the_day_it_came(self, start, known, expected):
        assert trigger_day(start, ground(**known)) == expected

    @pytest.mark.parametrize(
        ("start", "known", "expected"),
        [
            pytest.param(
                Start(kind=StartKind.FIRST_BLOOM, days=2), {"bloom_expected_on": day(7, 8)}, day(7, 10), id="bloom"
            ),
            pytest.param(Start(kind=StartKind.THRESHOLD, reckoned_on=day(7, 15)), {}, day(7, 15), id="as stated"),
            pytest.param(Start(kind=StartKind.THRESHOLD), {}, None, id="nobody said"),
            pytest.param(Start(kind=StartKind.DATE, on=JULY_1), {}, JULY_1, id="a trigger that is known"),
            pytest.param(
                Start(kind=StartKind.THRESHOLD, reckoned_on=day(7, 15)), {"planted_on": None}, None, id="no crop"
            ),
            pytest.param(
                Start(kind=StartKind.FIRST_BLOOM, reckoned_on=day(7, 9)),
                {"bloom_expected_on": day(7, 8)},
                day(7, 9),
                id="what was stated outweighs what is expected",
            ),
        ],
    )
    def test_the_day_it_is_reckoned_from(self, start, known, expected):
        assert reckoned_day(start, ground(**known)) == expected

    def test_a_reckoned_window_is_marked_and_begins_nothing(self):
        waits = program(start=Start(kind=StartKind.THRESHOLD, threshold="cpm", reckoned_on=day(7, 15)))
        course = follow(waits, ground(), JULY_1)
        assert (said(course), course.begun, course.next.reckoned) == (["ahead 1 Jul 15-Jul 18"], False, True)
        assert follow(waits, ground(), day(8, 1)).behind == ()

    def test_a_trigger_nobody_can_know_opens_nothing(self):
        waits = program(start=Start(kind=StartKind.THRESHOLD, threshold="cpm"))
        course = follow(waits, ground(), day(7, 20))
        assert (course.next, course.ahead, course.end) == (None, (), None)

    def test_a_program_written_down_late_opens_on_that_day(self):
        assert said(follow(program(set_up_on=day(7, 20)), ground(), day(7, 20))) == ["ahead 1 Jul 20-Jul 23"]


@pytest.mark.parametrize(
    ("sprays", "today", "expected"),
    [
        pytest.param([], day(6, 25), ["ahead 1 Jul 01-Jul 04"], id="before it starts"),
        pytest.param([], day(7, 4), ["ahead 1 Jul 01-Jul 04"], id="last day of the first window"),
        pytest.param([], day(7, 5), ["missed 1 Jul 01-Jul 04", "ahead 1 Jul 05-Jul 14"], id="missed, and due again"),
        pytest.param(
            [], day(7, 15),
            ["missed 1 Jul 01-Jul 04", "missed 1 Jul 05-Jul 14", "ahead 1 Jul 15-Jul 24"], id="missed twice",
        ),
        pytest.param([spray(day(7, 2))], day(7, 2), ["done 1 Jul 01-Jul 04", "ahead 2 Jul 09-Jul 12"], id="in time"),
        pytest.param(
            [spray(day(7, 7))], day(7, 8),
            ["missed 1 Jul 01-Jul 04", "done 1 Jul 05-Jul 14", "ahead 2 Jul 14-Jul 17"],
            id="late: the miss stays, the next moves",
        ),
        pytest.param(
            [spray(day(6, 26))], day(7, 5),
            ["done 1 Jun 26-Jun 26", "ahead 2 Jul 03-Jul 06"], id="before the trigger: it has begun",
        ),
        pytest.param(
            [spray(day(7, 2)), spray(day(7, 6), mix=2)], day(7, 6),
            ["done 1 Jul 01-Jul 04", "done 2 Jul 09-Jul 12", "ahead 3 Jul 13-Jul 16"], id="early",
        ),
        pytest.param(
            [spray(day(7, 2), wait=14)], day(7, 3), ["done 1 Jul 01-Jul 04", "ahead 2 Jul 16-Jul 16"],
            id="the label's 14 days win",
        ),
        pytest.param(
            [spray(day(7, 2), hour=13), spray(day(7, 2), hour=16, mix=2)], day(7, 3),
            ["done 1 Jul 01-Jul 04", "ahead 2 Jul 09-Jul 12"], id="two tanks on one day are one pass",
        ),
        pytest.param(
            [spray(day(7, 2), tank=tank(frozenset({9}), 30))], day(7, 3),
            ["done 1 Jul 01-Jul 04", "ahead 2 Jul 09-Jul 12"], id="a wait of a product that does not come again",
        ),
        pytest.param([spray(day(7, 2), done=False)], JULY_1, ["ahead 1 Jul 01-Jul 04"], id="booked is not done"),
        pytest.param([spray(day(5, 20))], JULY_1, ["ahead 1 Jul 01-Jul 04"], id="before the crop was planted"),
        pytest.param(
            [spray(day(7, 2)), spray(day(7, 10), mix=2), spray(day(7, 18), mix=3)], day(7, 20),
            ["done 1 Jul 01-Jul 04", "done 2 Jul 09-Jul 12", "done 3 Jul 17-Jul 20"], id="all done",
        ),
    ],
)  # fmt: skip
def test_windows_follow_what_was_done(sprays, today, expected):
    assert said(follow(program(), ground(sprays=tuple(sprays)), today)) == expected


def test_an_overdue_window_says_so_and_so_does_another_mix():
    course = follow(program(), ground(sprays=(spray(day(7, 7), mix=3),)), day(7, 8))
    assert [(w.again, w.other_mix) for w in course.behind] == [(False, False), (True, True)]


def test_the_sequence_begins_again_if_it_repeats():
    sprays = tuple(spray(day(7, 2) + 8 * n * DAY, mix=n % 3 + 1) for n in range(5))
    course = follow(program(repeats=True), ground(sprays=sprays), day(8, 4))
    assert [(w.pass_no, w.other_mix) for w in course.behind] == [(n, False) for n in range(1, 6)]


def test_a_program_without_a_pass_has_no_window():
    course = follow(program(passes=()), ground(), day(7, 2))
    assert (said(course), course.planned, course.end, course.begun) == ([], (), None, False)


def test_missed_windows_and_those_that_nothing_is_booked_for():
    course = follow(program(), ground(sprays=(spray(day(7, 7), done=False),)), day(7, 6))
    assert [w.opens_on for w in course.missed] == [day(7, 1)]
    assert [w.pass_no for w in course.unbooked] == [2, 3]
    assert course.open_asks == ()


def test_what_is_booked_is_told():
    course = follow(program(), ground(sprays=(spray(day(7, 3), done=False), spray(day(7, 2), done=False))), day(7, 2))
    assert course.booked_on == day(7, 2)


class TestAhead:
    def test_laid_over_the_calendar_before_the_season(self):
        """Earliest: every pass on its opening day; latest: every pass on its closing day."""
        course = follow(program(), ground(), day(6, 1))
        assert [(w.pass_no, w.opens_on, w.closes_on) for w in course.planned] == [
            (1, day(7, 1), day(7, 4)),
            (2, day(7, 8), day(7, 14)),
            (3, day(7, 15), day(7, 24)),
        ]
        assert course.end is None

    def test_what_does_not_fit_before_the_last_day_is_not_laid(self):
        course = follow(program(last_on=day(7, 12)), ground(), day(6, 1))
        assert [(w.opens_on, w.closes_on, w.cut) for w in course.planned] == [
            (day(7, 1), day(7, 4), None),
            (day(7, 8), day(7, 12), EndReason.LAST_DAY),
        ]


class TestEnd:
    @pytest.mark.parametrize(
        ("changes", "known", "today", "reason"),
        [
            pytest.param({"last_on": day(7, 8)}, {}, day(7, 3), EndReason.LAST_DAY, id="last day before it opens"),
            pytest.param({}, {"harvest_from": day(7, 11)}, day(7, 3), EndReason.NO_ROOM, id="3 days before harvest"),
            pytest.param({}, {"ended_on": day(7, 6)}, day(7, 7), EndReason.CROP_ENDED, id="crop terminated"),
            pytest.param(
                {"stop_days": 7}, {"harvest_from": day(7, 15)}, day(7, 3), EndReason.NOT_PAYING, id="a week of harvest"
            ),
            pytest.param(
                {"passes": (Pass(products=frozenset({1})),)}, {}, day(7, 3), EndReason.ALL_DONE, id="only one pass"
            ),
        ],
    )
    def test_no_window_opens_after(self, changes, known, today, reason):
        course = follow(program(**changes), ground(sprays=(spray(day(7, 2)),), **known), today)
        assert (course.next, course.end.reason) == (None, reason)

    @pytest.mark.parametrize(
        ("harvest", "expected"),
        [
            (day(7, 14), (day(7, 9), day(7, 11), EndReason.NO_ROOM)),
            (day(7, 12), (day(7, 9), day(7, 9), EndReason.NO_ROOM)),
            (day(7, 15), (day(7, 9), day(7, 12), None)),
        ],
        ids=str,
    )
    def test_three_days_before_harvest_cut_the_window(self, harvest, expected):
        """Opens 9, closes 12 July; a 3-day wait leaves up to three days before the harvest."""
        course = follow(program(), ground(sprays=(spray(day(7, 2)),), harvest_from=harvest), day(7, 3))
        assert (course.next.opens_on, course.next.closes_on, course.next.cut) == expected

    def test_an_unknown_wait_is_no_end_and_zero_days_go_into_the_harvest(self):
        for phi in (None, 0):
            passes = tuple(Pass(products=frozenset({1}), phi_days=phi) for _ in range(3))
            known = {"harvest_from": day(7, 5), "harvest_to": day(8, 20)}
            course = follow(program(passes=passes), ground(sprays=(spray(day(7, 2)),), **known), day(7, 3))
            assert said(course)[-1] == "ahead 2 Jul 09-Jul 12"

    def test_ripe_fruit_no_longer_pays_until_somebody_says_it_does(self):
        known = {"sprays": (spray(day(7, 2)),), "mature_on": day(7, 8)}
        assert follow(program(), ground(**known), day(7, 9)).end.reason is EndReason.NOT_PAYING
        known["decisions"] = (decide(Choice.RESUME, day(7, 9)),)
        assert said(follow(program(), ground(**known), day(7, 9)))[-1] == "ahead 2 Jul 09-Jul 12"

    def test_windows_missed_before_the_end_stay(self):
        course = follow(program(last_on=day(7, 10)), ground(), day(8, 1))
        assert said(course) == ["missed 1 Jul 01-Jul 04", "missed 1 Jul 05-Jul 10"]
        assert course.end.reason is EndReason.LAST_DAY

    def test_a_program_that_never_began_ends_with_its_last_day(self):
        waits = program(start=Start(kind=StartKind.THRESHOLD, threshold="cpm"))
        assert follow(waits, ground(), day(9, 16)).end.reason is EndReason.LAST_DAY


class TestDecisions:
    def test_started_by_hand(self):
        waits = program(start=Start(kind=StartKind.THRESHOLD, threshold="cpm"))
        course = follow(waits, ground(decisions=(decide(Choice.START, day(7, 10)),)), day(7, 10))
        assert said(course) == ["ahead 1 Jul 10-Jul 13"]

    def test_skipped_and_who_did_it(self):
        course = follow(
            program(), ground(sprays=(spray(day(7, 2)),), decisions=(decide(Choice.SKIP, day(7, 10)),)), day(7, 11)
        )
        assert said(course) == ["done 1 Jul 01-Jul 04", "skipped 2 Jul 09-Jul 12", "ahead 3 Jul 16-Jul 22"]
        assert course.behind[1].decision.by == "Ines Prado"

    def test_skipping_after_a_miss_does_not_hide_it(self):
        course = follow(program(), ground(decisions=(decide(Choice.SKIP, day(7, 6)),)), day(7, 6))
        assert said(course)[:2] == ["missed 1 Jul 01-Jul 04", "skipped 1 Jul 05-Jul 14"]

    def test_a_respray_is_the_same_mix_as_soon_as_its_label_allows(self):
        first = spray(day(7, 2), wait=5)
        known = {"sprays": (first,), "decisions": (decide(Choice.RESPRAY, day(7, 3)),)}
        course = follow(program(), ground(**known), day(7, 3))
        assert said(course) == ["done 1 Jul 01-Jul 04", "ahead 1 Jul 07-Jul 10"]
        assert course.next.respray
        again = follow(program(), ground(**(known | {"sprays": (first, spray(day(7, 8)))})), day(7, 9))
        assert said(again) == ["done 1 Jul 01-Jul 04", "done 1 Jul 07-Jul 10", "ahead 2 Jul 15-Jul 18"]

    def test_ended_and_taken_up_again(self):
        end, on = decide(Choice.END, day(7, 10)), decide(Choice.RESUME, day(7, 20))
        course = follow(program(), ground(sprays=(spray(day(7, 2)),), decisions=(end,)), day(7, 30))
        assert (said(course), course.end.reason) == (["done 1 Jul 01-Jul 04"], EndReason.DECIDED)
        course = follow(program(), ground(sprays=(spray(day(7, 2)),), decisions=(end, on)), day(7, 20))
        assert (said(course)[-1], course.end) == ("ahead 2 Jul 20-Jul 23", None)

    def test_a_spray_after_the_end_is_a_fact_and_reopens_nothing(self):
        end = decide(Choice.END, day(7, 10))
        course = follow(
            program(), ground(sprays=(spray(day(7, 2)), spray(day(7, 15), mix=2)), decisions=(end,)), day(7, 30)
        )
        assert (said(course)[-1], course.end.reason) == ("done 2 Jul 15-Jul 15", EndReason.DECIDED)

    def test_it_still_pays(self):
        known = {"sprays": (spray(day(7, 2)),), "harvest_from": day(7, 15)}
        assert follow(program(stop_days=7), ground(**known), day(7, 9)).end.reason is EndReason.NOT_PAYING
        known["decisions"] = (decide(Choice.RESUME, day(7, 9)),)
        course = follow(program(stop_days=7), ground(**known), day(7, 9))
        assert (said(course)[-1], course.end) == ("ahead 2 Jul 09-Jul 12", None)

    def test_ended_before_it_began_and_taken_up_before_or_after_the_trigger(self):
        """The trigger is 1 July."""
        end = decide(Choice.END, day(6, 20))
        before = ground(decisions=(end, decide(Choice.RESUME, day(6, 25))))
        assert said(follow(program(), before, day(7, 2))) == ["ahead 1 Jul 01-Jul 04"]
        after = ground(decisions=(end, decide(Choice.RESUME, day(7, 8))))
        assert said(follow(program(), after, day(7, 8))) == ["ahead 1 Jul 08-Jul 11"]

    def test_what_was_all_done_is_all_done_after_an_end_was_taken_back(self):
        one = program(passes=(Pass(products=frozenset({1})),))
        decisions = (decide(Choice.END, day(7, 3)), decide(Choice.RESUME, day(7, 4)))
        course = follow(one, ground(sprays=(spray(day(7, 2)),), decisions=decisions), day(7, 5))
        assert (said(course), course.end.reason) == (["done 1 Jul 01-Jul 04"], EndReason.ALL_DONE)

    @pytest.mark.parametrize("choice", [Choice.RESUME, Choice.SKIP, Choice.RESPRAY, Choice.CONTINUE])
    def test_what_there_was_nothing_to_decide_about_changes_nothing(self, choice):
        waits = program(start=Start(kind=StartKind.THRESHOLD, threshold="cpm"))
        course = follow(waits, ground(decisions=(decide(choice, day(7, 10)),)), day(7, 10))
        assert (said(course), course.end) == ([], None)

    def test_a_decision_before_the_crop_stood_is_another_crops(self):
        course = follow(program(), ground(decisions=(decide(Choice.END, day(5, 20)),)), day(7, 1))
        assert said(course) == ["ahead 1 Jul 01-Jul 04"]


@pytest.mark.parametrize(
    ("today", "phase"),
    [(day(6, 30), None), (day(7, 1), Phase.OPEN), (day(7, 3), Phase.CLOSING), (day(7, 4), Phase.CLOSING)],
    ids=str,
)
def test_where_today_stands_in_the_next_window(today, phase):
    assert follow(program(), ground(), today).next.phase(today) is phase


# ---- whatever happens ------------------------------------------------------------------

offsets = st.lists(st.integers(0, 80), max_size=8, unique=True)
moves = st.lists(st.tuples(st.sampled_from(list(Choice)), st.integers(0, 80), st.integers(0, 23)), max_size=5)


def played(sprayed, decided, today, **changes):
    known = ground(
        sprays=tuple(spray(JULY_1 + n * DAY, mix=n % 3 + 1) for n in sprayed),
        decisions=tuple(decide(choice, JULY_1 + n * DAY, hour) for choice, n, hour in decided),
    )
    return follow(program(repeats=True, **changes), known, JULY_1 + today * DAY)


@MANY
@given(offsets, moves, st.integers(0, 90))
def test_a_missed_window_is_never_hidden_by_what_comes_later(sprayed, decided, today):
    """What was behind on a day is behind, unchanged, on every later day."""
    before, after = played(sprayed, decided, today), played(sprayed, decided, today + 3)
    assert after.behind[: len(before.behind)] == before.behind


@MANY
@given(offsets, moves, st.integers(0, 90))
def test_every_spray_stands_in_exactly_one_window_and_windows_are_in_order(sprayed, decided, today):
    course = played(sprayed, decided, today)
    done = [w.spray.on for w in course.behind if w.state is State.DONE]
    assert done == sorted(JULY_1 + n * DAY for n in sprayed if n <= today)
    assert all(w.opens_on <= w.closes_on for w in (*course.behind, *course.planned))
    assert course.next is None or course.end is None
    assert course.next is None or course.next.closes_on >= JULY_1 + today * DAY


@MANY
@given(offsets, st.integers(0, 60))
def test_moving_everything_by_some_days_moves_every_window_by_as_many(sprayed, shift):
    def moved(by: int):
        step = timedelta(days=by)
        days = tuple(spray(JULY_1 + n * DAY + step, mix=n % 3 + 1) for n in sprayed)
        known = ground(
            sprays=days, planted_on=day(6, 1) + step, harvest_from=day(9, 25) + step, harvest_to=day(10, 20) + step
        )
        row = program(repeats=True, start=Start(kind=StartKind.DATE, on=JULY_1 + step), last_on=day(9, 15) + step)
        course = follow(row, known, day(8, 1) + step)
        return [(w.state, w.opens_on - step, w.closes_on - step) for w in (*course.behind, *course.planned)]

    assert moved(shift) == moved(0)


def naive(sprays: list[date], today: date) -> list[tuple[str, date]]:
    """A second derivation by walking day by day: seven to ten days, no end, no decisions."""
    closes, found = JULY_1 + 3 * DAY, []
    now = min([JULY_1, *sprays])
    while now <= today:
        if now in sprays:
            found.append(("done", now))
            closes = now + 10 * DAY
        now += DAY
        if now > closes and now <= today:
            found.append(("missed", closes))
            closes += 10 * DAY
    return found


@MANY
@given(st.lists(st.integers(-10, 60), max_size=8, unique=True), st.integers(0, 60))
def test_against_a_walk_day_by_day(sprayed, today):
    days = [JULY_1 + n * DAY for n in sprayed]
    known = ground(sprays=tuple(spray(d) for d in days), harvest_from=None, harvest_to=None)
    course = follow(program(repeats=True, last_on=day(12, 31)), known, JULY_1 + today * DAY)
    mine = [(w.state.value, w.spray.on if w.spray else w.closes_on) for w in course.behind]
    assert mine == naive([d for d in days if d <= JULY_1 + today * DAY], JULY_1 + today * DAY)


def test_instants_order_the_moves_of_a_day():
    """Skipped at noon and sprayed in the evening: the spray is the next pass, early."""
    skip, evening = decide(Choice.SKIP, day(7, 2), 12), spray(day(7, 2), mix=2, hour=20)
    course = follow(program(), ground(sprays=(evening,), decisions=(skip,)), day(7, 2))
    assert said(course)[:2] == ["skipped 1 Jul 01-Jul 04", "done 2 Jul 08-Jul 14"]
    assert at(day(7, 2), 20) == evening.ended_at
