"""The state table, who may take which step, when a task may begin."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from apps.people.rules import Role, may
from apps.safety.rules import Activity, Answer, Because, Closure, Kind, Reason, Word, may_enter, may_harvest
from apps.work import rules
from apps.work.rules import Standing, State, Step
from farmops.errors import Refused, Severity

NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
MINUTE = timedelta(minutes=1)

# Every state and step; what is not listed is refused.
LEADS_TO = {
    (State.PLANNED, Step.EDIT): State.PLANNED,
    (State.PLANNED, Step.START): State.STARTED,
    (State.STARTED, Step.FINISH): State.DONE,
    (State.PLANNED, Step.CALL_OFF): State.CALLED_OFF,
    (State.STARTED, Step.CALL_OFF): State.CALLED_OFF,
}


@pytest.mark.parametrize("step", list(rules.MOVES), ids=str)
@pytest.mark.parametrize("state", list(State), ids=str)
def test_the_whole_state_table(state, step):
    if (state, step) in LEADS_TO:
        assert rules.after(state, step) is LEADS_TO[state, step]
        return
    with pytest.raises(Refused) as caught:
        rules.after(state, step)
    assert [f.code for f in caught.value.findings] == ["wrong_state"]
    assert caught.value.findings[0].sentence.endswith(f"this one is {rules.STATE_NAMES[state]}.")


M, A, S = Role.MANAGER, Role.APPLICATOR, Role.STAFF
WHO = {
    Step.EDIT: ({M}, {M}),
    Step.START: ({M, A, S}, {M}),
    Step.FINISH: ({M, A, S}, {M}),
    Step.CALL_OFF: ({M}, {M}),
}


@pytest.mark.parametrize("role", list(Role), ids=str)
@pytest.mark.parametrize("step", list(rules.MOVES), ids=str)
def test_who_may_take_a_step_on_an_own_task_and_on_anothers(step, role):
    allowed = [may([role], rules.capability(step, own=own)) for own in (True, False)]
    assert allowed == [role in who for who in WHO[step]]


@pytest.mark.parametrize(
    ("activity", "ticked", "harvest"),
    [
        ("picking_by_hand", False, True),
        ("picking_by_hand", True, True),
        ("driving_closed_cab", True, True),
        ("driving_closed_cab", False, False),
        ("hand_labor", False, False),
    ],
)
def test_picking_is_harvest_whether_or_not_it_is_ticked(activity, ticked, harvest):
    assert rules.is_harvest(activity, ticked) is harvest


def answer(word: Word, *because: Because, opens_at: datetime | None = None) -> Answer:
    return Answer(
        answer=word, at=NOON, as_of=NOON, good_until=NOON + HOUR / 2, opens_at=opens_at, because=tuple(because)
    )


YES, NO, UNKNOWN = Word.YES, Word.NO, Word.UNKNOWN


@pytest.mark.parametrize(
    ("entry", "harvest", "word"),
    [
        (YES, None, YES),
        (NO, None, NO),
        (UNKNOWN, None, UNKNOWN),
        (YES, YES, YES),
        (YES, NO, NO),
        (YES, UNKNOWN, UNKNOWN),
        (NO, YES, NO),
        (NO, NO, NO),
        (NO, UNKNOWN, UNKNOWN),
        (UNKNOWN, YES, UNKNOWN),
        (UNKNOWN, NO, UNKNOWN),
        (UNKNOWN, UNKNOWN, UNKNOWN),
    ],
)
def test_only_yes_to_every_question_lets_a_task_begin(entry, harvest, word):
    standing = Standing(entry=answer(entry), harvest=harvest and answer(harvest))
    assert (standing.word, standing.may_start) == (word, word is YES)


def test_it_may_begin_when_the_last_answer_against_it_opens():
    first, last = NOON + HOUR, NOON + 3 * HOUR
    both = Standing(entry=answer(NO, opens_at=first), harvest=answer(NO, opens_at=last))
    assert both.opens_at == last
    assert Standing(entry=answer(NO, opens_at=first), harvest=answer(UNKNOWN)).opens_at is None
    assert Standing(entry=answer(YES), harvest=answer(NO, opens_at=last)).opens_at == last
    assert Standing(entry=answer(YES)).opens_at is None


def closure(kind: Kind, reason: Reason, ends_at: datetime | None, number: int) -> Closure:
    return Closure(
        id=number, block_id=1, kind=kind, reason_code=reason, starts_at=NOON - HOUR, ends_at=ends_at,
        product_names=("Demo Fungicide",),
    )  # fmt: skip


def test_the_reasons_come_once_each_and_the_head_says_keep_out():
    hung = [
        closure(Kind.ENTRY, Reason.REI, NOON + HOUR, 1),
        closure(Kind.HARVEST, Reason.PHI, NOON + 48 * HOUR, 2),
    ]
    standing = Standing(
        entry=may_enter(hung, at=NOON, activity=Activity.PICKING_BY_HAND), harvest=may_harvest(hung, at=NOON)
    )
    found = rules.findings(standing, block="R1 River", zone="America/Chicago")
    assert [(f.code, f.severity) for f in found] == [
        ("board_no", Severity.REFUSE),
        ("entry_interval", Severity.REFUSE),
        ("harvest_interval", Severity.REFUSE),
    ]
    assert found[0].sentence == "Keep out of R1 River. Do not start this task."
    assert found[1].numbers["until_at"] == "2026-06-01T13:00:00+00:00@America/Chicago"


def test_an_unknown_answer_is_said_to_be_not_confirmed():
    hung = [closure(Kind.UNCONFIRMED, Reason.UNSIGNED, None, 1)]
    found = rules.findings(
        Standing(entry=may_enter(hung, at=NOON, activity="hand_labor")), block="R1", zone="America/Chicago"
    )
    assert [f.code for f in found] == ["board_unknown", "unsigned"]
    assert found[0].sentence == "Not confirmed: keep out of R1. Do not start this task."


def test_a_yes_carries_notes_and_no_refusal():
    later = Closure(
        id=1, block_id=1, kind=Kind.PLANNED, reason_code=Reason.WINDOW, starts_at=NOON + HOUR, ends_at=NOON + 2 * HOUR
    )
    found = rules.findings(
        Standing(entry=may_enter([later], at=NOON, activity="hand_labor")), block="R1", zone="America/Chicago"
    )
    assert [(f.code, f.severity) for f in found] == [("planned_later", Severity.NOTE)]


@pytest.mark.parametrize(
    ("starts", "ends", "wrong"),
    [
        (NOON, None, {}),
        (NOON - HOUR, None, {}),
        (NOON - HOUR - MINUTE, None, {"starts_at": "The start must be now or later."}),
        (NOON + timedelta(days=731), None, {"starts_at": "The start must be within two years."}),
        (NOON, NOON, {"ends_at": "The end must be after the start."}),
        (NOON, NOON - MINUTE, {"ends_at": "The end must be after the start."}),
        (NOON, NOON + 24 * HOUR, {}),
        (
            NOON,
            NOON + 24 * HOUR + MINUTE,
            {"ends_at": "A task lasts 24 hours at most; write one for each day."},
        ),
    ],
    ids=["now", "an hour ago", "longer ago", "in two years", "no length", "backwards", "a day", "more than a day"],
)
def test_times_that_cannot_be_are_named(starts, ends, wrong):
    assert rules.check_times(starts, ends, now=NOON) == wrong


@pytest.mark.parametrize(
    ("state", "starts", "ends", "ahead"),
    [
        (State.PLANNED, NOON + HOUR, None, True),
        (State.PLANNED, NOON - 11 * HOUR, None, True),
        (State.PLANNED, NOON - 12 * HOUR, None, False),
        (State.PLANNED, NOON - 2 * HOUR, NOON, False),
        (State.PLANNED, NOON - 2 * HOUR, NOON + MINUTE, True),
        (State.STARTED, NOON - 99 * HOUR, NOON - 98 * HOUR, True),
        (State.DONE, NOON + HOUR, None, False),
        (State.CALLED_OFF, NOON + HOUR, None, False),
    ],
    ids=[
        "to come",
        "late, no end",
        "long past, no end",
        "over",
        "not over yet",
        "started and never finished",
        "done",
        "called off",
    ],
)
def test_who_may_still_be_on_the_ground(state, starts, ends, ahead):
    assert rules.still_ahead(state, starts, ends, NOON) is ahead
