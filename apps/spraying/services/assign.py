"""Giving a job to somebody, and calling it off."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from apps.inventory import services as shed
from apps.people.queries import Member
from apps.reminders import services as reminders
from apps.spraying import checking, ground
from apps.spraying.facts import source_of, versions_for
from apps.spraying.models import Job, JobProduct
from apps.spraying.rules.states import JobState, Step
from apps.spraying.services.moves import (
    JOB_ASSIGNED,
    JOB_CALLED_OFF,
    locked,
    managers,
    move,
    needed_text,
    people_on,
    tell,
)
from apps.spraying.services.plan import note_ground
from farmops import clock
from farmops.errors import Refused, gettext_noop, needing_reason, refusals


@transaction.atomic
def assign_job(
    *, member: Member, job_id: int, reason: str = "", expected_version: int | None = None, now: datetime
) -> Job:
    """Give the job to its applicator: all gates pass, stock is promised, the blocks close for the window.

    ``Refused`` with every finding when one refuses, or when one needs a reason and none is written.
    """
    job = locked(member, job_id, Step.ASSIGN, expected_version=expected_version)
    blocks = checking.check_job(job, checking.planned(job, now))
    findings = [*checking.before_assigning(job, now), *checking.flat(blocks)]
    why = reason.strip()
    if refusals(findings):
        raise Refused(findings)
    if needing_reason(findings):
        if len(why) < 5:
            raise Refused([checking.reason_missing(), *findings])
        why = needed_text(why, "reason", "")
    fix_labels(job, job.window_starts_at)
    note_ground(job, blocks)
    changes = {"findings": checking.snapshot(blocks), "reason": why}
    move(job, Step.ASSIGN, member=member, now=now, changes=changes, note=why)
    _reserve(job, blocks, member, now)
    ground.close_for_window(job, member=member, now=now)
    ground.ask_for_notice(job, member=member, now=now)
    _tell_assigned(job, member, now)
    return job


def fix_labels(job: Job, at: datetime, *, only_missing: bool = False) -> None:
    """From here on the job goes by the label versions in force on the farm's day at ``at``."""
    versions = versions_for(job, clock.to_local(at, job.farm.time_zone).date(), kept=False)
    for row in job.job_products.all():
        if only_missing and row.label_version_id is not None:
            continue
        row.label_version = versions.get(row.product_id)
        JobProduct.objects.for_farm(job.farm).filter(pk=row.pk).update(label_version=row.label_version)


def _reserve(job: Job, blocks: tuple[checking.BlockFindings, ...], member: Member, now: datetime) -> None:
    """Promise what the whole job needs; by rising product id, so that two jobs cannot wait for each other."""
    needs = blocks[0].facts.stock or {}
    for product_id in sorted(needs):  # type: ignore[type-var]
        shed.reserve(
            farm=job.farm,
            member=member,
            product_id=int(product_id),
            quantity=needs[product_id].needed,
            source=source_of(job),
            now=now,
        )


def _tell_assigned(job: Job, member: Member, now: datetime) -> None:
    template = gettext_noop("Spray job {job} on {blocks} is yours, from {from_at} to {to_at}.")
    begins, ends = job.window_starts_at, job.window_ends_at
    times = {"from_at": begins, "to_at": ends, "at": begins, "until": ends}
    tell(job, JOB_ASSIGNED, "assigned", people_on(job), template, now=now, **times)


@transaction.atomic
def call_off(*, member: Member, job_id: int, reason: str, expected_version: int | None = None, now: datetime) -> Job:
    """Call a job off before spraying. What was promised of the stock is given back.

    Before its window begins the blocks open again. After that nobody but the applicator knows whether
    it was sprayed, so they stay closed as unknown until the applicator signs that nothing was applied.
    """
    job = locked(member, job_id, Step.CALL_OFF, expected_version=expected_version)
    why = needed_text(reason, "reason", gettext_noop("Say why the job is called off."))
    was_assigned = job.state == JobState.ASSIGNED
    doubt = was_assigned and now >= job.window_starts_at
    move(job, Step.CALL_OFF, member=member, now=now, changes={"doubt": doubt}, note=why)
    if was_assigned:
        shed.release(farm=job.farm, member=member, source=source_of(job), now=now)
        reminders.withdraw(farm=job.farm, kind=JOB_ASSIGNED, subject=("job", job.pk), now=now)
        if not doubt:
            ground.open_before_window(job, member=member, now=now)
        _tell_called_off(job, why, now)
    return job


def _tell_called_off(job: Job, why: str, now: datetime) -> None:
    template = gettext_noop("Spray job {job} on {blocks} is called off: {reason}")
    if job.doubt:
        template = gettext_noop(
            "Spray job {job} on {blocks} is called off: {reason} Its window had begun, so the blocks stay closed "
            "until the applicator signs that nothing was applied, or reports what was."
        )
    to = sorted({*people_on(job), *(managers(job) if job.doubt else [])})
    tell(job, JOB_CALLED_OFF, "called off", to, template, now=now, urgent=True, reason=why)
