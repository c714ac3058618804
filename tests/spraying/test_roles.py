"""Each role tries each step in each state: what it answers, and that nothing but the allowed steps move a job."""

from __future__ import annotations

import pytest

from apps.people.rules import Role
from apps.spraying import services
from apps.spraying.amending.services import amend_job
from apps.spraying.models import Job
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.states import TRANSITIONS, JobState, Step, wrong_state
from farmops.errors import NotYourRole, Refused
from tests.conftest import place
from tests.factories.spraying import PASSWORD, READINGS, REPORTED, SIGNED, STARTED, WINDOW

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

BRING = {
    JobState.DRAFT: lambda b: b.planned(),
    JobState.ASSIGNED: lambda b: b.assigned(),
    JobState.SPRAYING: lambda b: b.spraying(),
    JobState.SPRAYED: lambda b: b.sprayed(),
    JobState.SIGNED: lambda b: b.signed().job,
    JobState.CALLED_OFF: lambda b: services.call_off(
        member=b.manager, job_id=b.assigned().pk, reason="too windy", now=WINDOW[0]
    ),
}


def take(bench, job, step, member):
    """The step with input that is good in itself, so that only who and where can be in the way."""
    mine = {"member": member, "job_id": job.pk}
    done = bench.done_values(job)
    sign = {**mine, "password": PASSWORD, "checked": True, "body_hash": "0" * 64, "now": SIGNED}
    acts = {
        Step.EDIT: lambda: services.edit_job(
            **mine, expected_version=job.version, changes={"notes": "n"}, now=job.window_starts_at
        ),
        Step.ASSIGN: lambda: services.assign_job(**mine, reason="good reason", now=job.window_starts_at),
        Step.CALL_OFF: lambda: services.call_off(**mine, reason="good reason", now=STARTED),
        Step.START: lambda: services.start_spraying(**mine, readings=READINGS, reason="good reason", now=STARTED),
        Step.FINISH: lambda: services.finish_spraying(**mine, done=done, now=REPORTED),
        Step.CORRECT: lambda: services.correct_finish(**mine, done=done, now=REPORTED),
        Step.REPORT_LATE: lambda: services.report_late(
            **mine, readings=READINGS, done=done, reason="good reason", now=REPORTED
        ),
        Step.SIGN: lambda: bench.sign(job, by=member) if job.state == JobState.SPRAYED else services.sign_off(**sign),
        Step.NOT_APPLIED: lambda: (
            bench.sign(job, by=member, meaning=Meaning.NOT_APPLIED)
            if member.person_id == job.applicator_id
            else services.sign_not_applied(**sign, reason="good reason")
        ),
        Step.AMEND: lambda: amend_job(**mine, done=done, reason="good reason", readings=READINGS, now=SIGNED),
        Step.VOID: lambda: (
            bench.sign(job, by=member, meaning=Meaning.VOIDED)
            if member.person_id == job.applicator_id and job.state == JobState.SIGNED
            else services.void_signature(**sign, reason="good reason")
        ),
    }
    return acts[step]()


WHO = {
    "manager": lambda b, c: c.manager,
    "named applicator": lambda b, c: c.applicator,
    "another applicator": lambda b, c: place(b.farm, Role.APPLICATOR, "Pia Holm", "pia"),
    "staff": lambda b, c: c.staff,
}
STEPS = [s for s in Step if s is not Step.PLAN]


@pytest.mark.parametrize("state", list(JobState))
@pytest.mark.parametrize("who", WHO)
@pytest.mark.parametrize("step", STEPS)
def test_who_may_take_which_step_where(bench, cast, step, who, state):
    job = BRING[state](bench)
    member = WHO[who](bench, cast)
    row = TRANSITIONS[step]
    may = member.can(row.can) and (not row.named or who == "named applicator")
    version = Job.rows.get(pk=job.pk).version
    if not may:
        with pytest.raises(NotYourRole):
            take(bench, job, step, member)
        expected = state
    elif wrong_state(step, state) or (step, state) == (Step.AMEND, JobState.CALLED_OFF):
        with pytest.raises(Refused) as error:
            take(bench, job, step, member)
        code = "wrong_state" if wrong_state(step, state) else "nothing_signed"
        assert [f.code for f in error.value.findings] == [code]
        expected = state
    else:
        take(bench, job, step, member)
        expected = row.to_state
    again = Job.rows.get(pk=job.pk)
    assert again.state == expected
    assert (again.version > version) is (may and expected == row.to_state and not wrong_state(step, state))


@pytest.mark.parametrize("role", list(Role))
def test_only_a_manager_plans(bench, cast, role):
    act = {"member": cast.by_role(role), "now": job_time(), **bench.plan_values()}
    if role is Role.MANAGER:
        assert services.plan_job(**act).state == JobState.DRAFT
        return
    with pytest.raises(NotYourRole):
        services.plan_job(**act)
    assert Job.rows.count() == 0


def job_time():
    return WINDOW[0]
