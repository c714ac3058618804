"""Reading jobs, their steps and the signed records."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Prefetch, Q, QuerySet

from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import one
from apps.spraying.history import products_of_jobs
from apps.spraying.models import Job, JobBlock, JobStep, SprayRecord
from apps.spraying.rules.states import STATE_NAMES, JobState
from farmops.errors import Finding, Severity, gettext_noop

OPEN = (JobState.DRAFT, JobState.ASSIGNED, JobState.SPRAYING, JobState.SPRAYED)


def blocks_of_jobs(farm: Farm) -> QuerySet[JobBlock]:
    """The block lines of the farm's jobs, by block code."""
    return JobBlock.objects.for_farm(farm).select_related("block__field", "block__farm").order_by("block__code", "pk")


def jobs(farm: Farm) -> QuerySet[Job]:
    """All jobs with everything a page or an answer shows: three queries, newest first."""
    return (
        Job.objects.for_farm(farm)
        .select_related("farm", "sprayer__farm", "applicator", "supervisor", "created_by")
        .prefetch_related(
            Prefetch("job_blocks", queryset=blocks_of_jobs(farm)),
            Prefetch("job_products", queryset=products_of_jobs(farm)),
        )
        .order_by("-id")
    )


def job(farm: Farm, job_id: int) -> Job:
    """One job, or ``Unknown``."""
    return one(jobs(farm).filter(pk=job_id))


def jobs_by_time(farm: Farm) -> QuerySet[Job]:
    """Jobs that still need somebody, the earliest window first."""
    return jobs(farm).filter(Q(state__in=OPEN) | Q(doubt=True)).order_by("window_starts_at", "id")


def jobs_naming(farm: Farm, person_id: int) -> QuerySet[Job]:
    """Jobs on which a person is the applicator or the supervisor."""
    return jobs(farm).filter(Q(applicator_id=person_id) | Q(supervisor_id=person_id))


def steps_of(row: Job) -> QuerySet[JobStep]:
    """Every step a job took, in order."""
    return JobStep.objects.for_farm(row.farm).filter(job=row).select_related("by").order_by("id")


def records(farm: Farm) -> QuerySet[SprayRecord]:
    """Signed records, newest first."""
    return SprayRecord.objects.for_farm(farm).select_related("job", "signed_by").order_by("-seq")


def record(farm: Farm, seq: int) -> SprayRecord:
    """One signed record by its number, or ``Unknown``."""
    return one(records(farm).filter(seq=seq))


def head(farm: Farm) -> SprayRecord | None:
    """The last link of the farm's chain."""
    return records(farm).first()


def record_of(row: Job) -> SprayRecord | None:
    """The latest signed record of a job."""
    return records(row.farm).filter(job=row).order_by("-edition").first()


def names(row: Job, person_id: int) -> bool:
    """Whether a job names this person as applicator or supervisor."""
    return person_id in (row.applicator_id, row.supervisor_id)


def block_guard(block: Block, now: datetime) -> list[Finding]:
    """What jobs have against archiving a block or moving its outline: any that is not finished there."""
    open_here = Q(job__state__in=OPEN) | Q(job__doubt=True)
    rows = JobBlock.objects.for_farm(block.farm).filter(open_here, block=block).select_related("job")
    return [
        Finding(
            code="job_open",
            severity=Severity.REFUSE,
            template=gettext_noop("Spray job {number} on this block is not finished ({state})."),
            numbers={"number": str(row.job.number), "state": STATE_NAMES[JobState(row.job.state)]},
            source="project rule",
            subject=str(block),
        )
        for row in rows.order_by("job__number")
    ]
