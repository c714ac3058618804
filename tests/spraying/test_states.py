"""The table of steps: whole state x step matrix, and the diagram that is drawn from it."""

from __future__ import annotations

import pytest

from apps.people.rules import Role
from apps.spraying.rules import states
from apps.spraying.rules.states import JobState, Step

# What the whole table says, written out by hand: state -> step -> next state.
WALKS = {
    (JobState.DRAFT, Step.EDIT): JobState.DRAFT,
    (JobState.DRAFT, Step.ASSIGN): JobState.ASSIGNED,
    (JobState.DRAFT, Step.CALL_OFF): JobState.CALLED_OFF,
    (JobState.ASSIGNED, Step.CALL_OFF): JobState.CALLED_OFF,
    (JobState.ASSIGNED, Step.START): JobState.SPRAYING,
    (JobState.ASSIGNED, Step.REPORT_LATE): JobState.SPRAYED,
    (JobState.ASSIGNED, Step.NOT_APPLIED): JobState.CALLED_OFF,
    (JobState.SPRAYING, Step.FINISH): JobState.SPRAYED,
    (JobState.SPRAYING, Step.NOT_APPLIED): JobState.CALLED_OFF,
    (JobState.SPRAYED, Step.CORRECT): JobState.SPRAYED,
    (JobState.SPRAYED, Step.SIGN): JobState.SIGNED,
    (JobState.SPRAYED, Step.NOT_APPLIED): JobState.CALLED_OFF,
    (JobState.CALLED_OFF, Step.REPORT_LATE): JobState.SPRAYED,
    (JobState.CALLED_OFF, Step.NOT_APPLIED): JobState.CALLED_OFF,
    (JobState.SIGNED, Step.AMEND): JobState.SPRAYED,
    (JobState.CALLED_OFF, Step.AMEND): JobState.SPRAYED,
    (JobState.SIGNED, Step.VOID): JobState.SPRAYED,
}


@pytest.mark.parametrize("state", list(JobState))
@pytest.mark.parametrize("step", list(Step))
def test_each_step_in_each_state(state, step):
    found = states.wrong_state(step, state)
    if (state, step) in WALKS:
        assert (found, states.TRANSITIONS[step].to_state) == (None, WALKS[state, step])
    else:
        assert (found.code, found.severity) == ("wrong_state", "refuse")
        assert states.STATE_NAMES[state] in found.sentence


# role, named on the job -> steps that person may take in each state
WHO = {
    (Role.MANAGER, False): {
        JobState.DRAFT: (Step.EDIT, Step.ASSIGN, Step.CALL_OFF),
        JobState.ASSIGNED: (Step.CALL_OFF,),
    },
    (Role.MANAGER, True): {
        JobState.DRAFT: (Step.EDIT, Step.ASSIGN, Step.CALL_OFF),
        JobState.ASSIGNED: (Step.CALL_OFF,),
    },
    (Role.APPLICATOR, False): {},
    (Role.APPLICATOR, True): {
        JobState.ASSIGNED: (Step.START, Step.REPORT_LATE, Step.NOT_APPLIED),
        JobState.SPRAYING: (Step.FINISH, Step.NOT_APPLIED),
        JobState.SPRAYED: (Step.CORRECT, Step.SIGN, Step.NOT_APPLIED),
        JobState.SIGNED: (Step.AMEND, Step.VOID),
        JobState.CALLED_OFF: (Step.REPORT_LATE, Step.NOT_APPLIED, Step.AMEND),
    },
    (Role.STAFF, False): {},
    (Role.STAFF, True): {},
}


@pytest.mark.parametrize("state", list(JobState))
@pytest.mark.parametrize(("role", "named"), WHO, ids=[f"{r}{' named' if n else ''}" for r, n in WHO])
def test_who_may_do_what_where(role, named, state):
    assert states.open_steps(state, roles=[role], named=named) == WHO[role, named].get(state, ())


def test_a_signed_job_is_only_corrected_or_its_signature_withdrawn_and_only_by_whoever_is_named():
    assert states.open_steps(JobState.SIGNED, roles=list(Role), named=True) == (Step.AMEND, Step.VOID)
    assert states.open_steps(JobState.SIGNED, roles=list(Role), named=False) == ()


@pytest.mark.parametrize(
    ("state", "facts", "gone"),
    [
        (JobState.SIGNED, {"doubt": False, "attested": False}, set()),
        (JobState.CALLED_OFF, {"doubt": True, "attested": False}, {Step.AMEND}),
        (JobState.CALLED_OFF, {"doubt": False, "attested": False}, {Step.AMEND, Step.NOT_APPLIED}),
        (JobState.CALLED_OFF, {"doubt": False, "attested": True}, {Step.REPORT_LATE, Step.NOT_APPLIED}),
    ],
    ids=["signed", "in doubt", "called off in time", "signed as not applied"],
)
def test_steps_that_would_only_be_refused_are_not_offered(state, facts, gone):
    assert states.pointless(state, **facts) == gone


def test_every_state_and_step_has_a_name_and_every_step_a_row():
    assert set(states.STATE_NAMES) == set(JobState)
    assert set(states.STEP_NAMES) == set(Step) == set(states.TRANSITIONS)


def test_the_diagram_draws_every_row_once():
    drawn = [line.strip() for line in states.diagram().splitlines() if "-->" in line and "[*]" not in line]
    assert len(drawn) == len(WALKS)
    who = {t.step: "named on the job" if t.named else str(t.can) for t in states.TABLE}
    assert set(drawn) == {f"{state} --> {to}: {step} ({who[step]})" for (state, step), to in WALKS.items()}


def test_a_step_at_the_wrong_time_says_where_the_job_stands_and_when_it_is_for():
    found = states.wrong_state(Step.CALL_OFF, JobState.SIGNED)
    assert (found.sentence, found.source, found.severity.value) == (
        "This job is signed. That step is only for a job that is draft / assigned.",
        "project rule: job steps",
        "refuse",
    )
    assert states.wrong_state(Step.PLAN, "draft").sentence == (
        "This job is draft. That step is only for a job that is new."
    )


def test_both_drawings_are_whole():
    """Opening, one line each, both ends, and the table's words for nobody before and for who is named."""
    drawing, rows = states.diagram().splitlines(), states.table().splitlines()
    assert [*drawing[:3], *drawing[-3:]] == [
        "```mermaid",
        "stateDiagram-v2",
        "    [*] --> draft: plan (plan_jobs)",
        "    signed --> [*]",
        "    called_off --> [*]",
        "```",
    ]
    assert rows[:3] == [
        "| step | from | to | who | needs |",
        "|---|---|---|---|---|",
        "| plan | – | draft | `plan_jobs` | blocks, products, window |",
    ]
    assert "| call_off | draft, assigned | called_off | `assign_jobs` | a reason |" in rows
    assert "| start | assigned | spraying | `spray`, and named on the job | field readings, no refusal |" in rows
    assert len(rows) == 2 + len(Step)
