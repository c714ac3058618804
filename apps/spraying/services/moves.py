"""One step of a job: locked, allowed, written once, remembered."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from datetime import datetime
from typing import Any

from django.db.models import F

from apps.audit import services as audit
from apps.people.queries import Member, one, person_ids_with
from apps.people.rules import Role
from apps.reminders import services as reminders
from apps.reminders.rules import Level, register
from apps.spraying import queries
from apps.spraying.models import Job, JobStep
from apps.spraying.rules.states import TRANSITIONS, Step, wrong_state
from farmops.errors import BadInput, NotYourRole, Refused, Said, Stale, gettext_noop

JOB_ASSIGNED = register("job_assigned", Level.DO_TODAY)
JOB_CALLED_OFF = register("job_called_off", Level.DO_TODAY)
JOB_FINISHED = register("job_finished", Level.INFORMATION)
JOB_SIGNED = register("job_signed", Level.INFORMATION)
JOB_OVER_LABEL = register("job_over_label", Level.DO_TODAY)
JOB_REOPENED = register("job_reopened", Level.DO_TODAY)
CORRECTION_ASKED = register("correction_asked", Level.DO_TODAY)
CORRECTION_ANSWERED = register("correction_answered", Level.INFORMATION)
JOB_NOT_APPLIED = register("job_not_applied", Level.INFORMATION)

CHANGED = gettext_noop("Somebody changed this job since you opened it. Read it again, then repeat your step.")


def locked(
    member: Member,
    job_id: int,
    step: Step,
    *,
    expected_version: int | None = None,
    speakers: Callable[[Job], Collection[int]] | None = None,
) -> Job:
    """The job, its row locked, if this member may take ``step`` on it now.

    ``speakers`` are the people who may where those named on the job are not the only ones.
    ``Unknown`` for another farm's job, ``NotYourRole`` for the wrong person, ``Stale`` when somebody
    was quicker, ``Refused`` from a state that has no such step.
    """
    member.require(TRANSITIONS[step].can)
    one(Job.objects.for_farm(member.farm).select_for_update().filter(pk=job_id).only("pk"))
    job = queries.job(member.farm, job_id)
    must_be_possible(job, step, member, speakers(job) if speakers else ())
    if expected_version is not None and job.version != expected_version:
        raise Stale(CHANGED)
    return job


def must_be_possible(job: Job, step: Step, member: Member, speakers: Collection[int] = ()) -> None:
    """The same gate without a lock, for a page that offers the step."""
    row = TRANSITIONS[step]
    member.require(row.can)
    if row.named and member.person_id not in speakers:
        require_named(job, member)
    if finding := wrong_state(step, job.state):
        raise Refused([finding])


def require_named(job: Job, member: Member) -> None:
    """Only the people named on the job may do or sign it; no other role can do it for them."""
    if not queries.names(job, member.person_id):
        who = " / ".join(p.full_name for p in (job.applicator, job.supervisor) if p is not None)
        raise NotYourRole(
            Said(
                gettext_noop("Only the person named on the job can do this: {who}."),
                who=who or (gettext_noop("nobody yet"),),
            )
        )


def move(
    job: Job,
    step: Step,
    *,
    member: Member,
    now: datetime,
    changes: Mapping[str, Any] | None = None,
    note: str = "",
    happened_at: datetime | None = None,
    details: Mapping[str, Any] | None = None,
) -> Job:
    """Take the step: the row changes only if it still is what was read, and the step is remembered."""
    to_state, from_state, values = TRANSITIONS[step].to_state, job.state, dict(changes or {})
    same = Job.objects.for_farm(job.farm).filter(pk=job.pk, state=from_state, version=job.version)
    before = same.values("state", *values).first()  # as it is kept: the row in hand may have been changed already
    if before is None or same.update(state=to_state, version=F("version") + 1, **values) != 1:
        raise Stale(CHANGED)
    for name, value in {"state": to_state, "version": job.version + 1, **values}.items():
        setattr(job, name, value)
    remember(
        job, step, from_state=from_state, member=member, now=now, note=note, happened_at=happened_at, details=details
    )
    audit.record(
        farm=job.farm,
        actor=member,
        verb=step.value,
        subject=job,
        now=now,
        before=_short(before),
        after=_short({"state": to_state, "note": note, **values}),
    )
    return job


def _short(values: Mapping[str, Any]) -> dict[str, Any]:
    """Without the stored findings: they stand on the job and in its record."""
    return {name: value for name, value in values.items() if not name.endswith("findings")}


def remember(
    job: Job,
    step: Step,
    *,
    from_state: str,
    member: Member,
    now: datetime,
    note: str = "",
    happened_at: datetime | None = None,
    details: Mapping[str, Any] | None = None,
) -> JobStep:
    """Write the step down; steps only grow."""
    return JobStep.objects.add(
        farm=job.farm,
        job=job,
        step=step,
        from_state=from_state,
        to_state=job.state,
        at=now,
        happened_at=happened_at,
        by_id=member.person_id,
        note=note,
        details=dict(details or {}),
    )


def needed_text(text: str, field: str, said: str, *, most: int = 2000) -> str:
    """A reason somebody has to write, or ``BadInput`` on ``field``."""
    words = text.strip()
    if len(words) < 5:
        raise BadInput({field: said})
    if len(words) > most:
        raise BadInput({field: gettext_noop("Use 2000 characters at most.")})
    return words


def place(job: Job) -> str:
    """Where a notice about a job leads."""
    return f"/f/{job.farm.slug}/jobs/{job.pk}/"


def block_names(job: Job) -> str:
    return ", ".join(str(row.block) for row in job.job_blocks.all())


def tell(
    job: Job,
    kind: str,
    occasion: str,
    to: Collection[int],
    template: str,
    *,
    now: datetime,
    urgent: bool = False,
    at: datetime | None = None,
    until: datetime | None = None,
    **numbers: Any,
) -> None:
    """Tell people about a job, in the same transaction. ``at`` and ``until`` put it into their calendars."""
    reminders.tell(
        farm=job.farm,
        kind=kind,
        subject=("job", job.pk),
        occasion=occasion,
        to=to,
        template=template,
        numbers={"job": str(job.number), "blocks": block_names(job), **numbers},
        path=place(job),
        urgent=urgent,
        at=at,
        until=until,
        now=now,
    )


def managers(job: Job) -> list[int]:
    return person_ids_with(job.farm, Role.MANAGER)


def people_on(job: Job) -> list[int]:
    """The applicator and the supervisor, as far as they are named."""
    return [p for p in (job.applicator_id, job.supervisor_id) if p is not None]
