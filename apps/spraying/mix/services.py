"""Ticking steps of a mix sheet."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from apps.audit import services as audit
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.spraying import queries as jobs
from apps.spraying.mix.models import MixTick
from apps.spraying.mix.queries import mix_sheet
from apps.spraying.models import Job
from apps.spraying.rules.states import JobState
from farmops.errors import BadInput, gettext_noop, refuse

NOT_MIXED = (JobState.DRAFT, JobState.CALLED_OFF)
NO_STEP = gettext_noop("The sheet of this job has no such step now. Open the sheet again.")


@transaction.atomic
def tick(
    *,
    member: Member,
    job_id: int,
    load: int,
    step: str,
    done: bool,
    happened_at: datetime | None = None,
    sheet: str = "",
    even: bool = False,
    person_id: int | None = None,
    now: datetime,
) -> MixTick:
    """One press on one step. The same press sent again is the one that is there already.

    ``happened_at`` is the phone's time of the press (never taken as later than now), ``sheet`` the digest of what was
    on the screen, ``person_id`` who was logged in when it was pressed: nobody sends another person's press.
    ``Refused`` for a draft or a job that is called off, ``BadInput`` for a step the sheet does not have.
    """
    member.require(Can.SPRAY)
    if person_id is not None and person_id != member.person_id:
        template = gettext_noop("This was ticked by somebody else. It can be sent when they are logged in.")
        raise refuse("other_person", template, field="person_id")
    job = jobs.job(member.farm, job_id)
    if job.state in NOT_MIXED:
        template = gettext_noop("Job {job} is not to be mixed now. Tell the manager what is in the tank.")
        raise refuse("not_to_be_mixed", template, job=str(job.number))
    if (load, step) not in _steps(job, even):
        raise BadInput({"step": NO_STEP})
    at = now if happened_at is None else min(happened_at, now)
    Farm.objects.select_for_update(no_key=True).get(pk=member.farm.pk)
    same = MixTick.objects.for_farm(member.farm).filter(
        job=job, load=load, step=step, happened_at=at, by_id=member.person_id
    )
    return same.first() or _write(job, member, load, step, done, sheet, at, now)


def _steps(job: Job, even: bool) -> frozenset[tuple[int, str]]:
    return frozenset(mix_sheet(job, even=even).sheet.steps())


def _write(
    job: Job, member: Member, load: int, step: str, done: bool, sheet: str, at: datetime, now: datetime
) -> MixTick:
    row: MixTick = MixTick.objects.add(
        farm=member.farm,
        job=job,
        load=load,
        step=step,
        done=done,
        sheet=sheet[:16],
        happened_at=at,
        at=now,
        by_id=member.person_id,
    )
    after = {"job": job.number, "load": load, "step": step, "done": done, "happened_at": at}
    audit.record(farm=member.farm, actor=member, verb="ticked", subject=row, now=now, after=after)
    return row
