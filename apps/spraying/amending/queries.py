"""Reading the editions of a record, what the newest corrects, and what managers ask to have corrected."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from apps.people.models import Farm
from apps.people.queries import one
from apps.spraying.amending.models import CorrectionRequest
from apps.spraying.amending.rules import Asked, Change, changes_between
from apps.spraying.models import Job, JobStep, SprayRecord
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.states import Step
from apps.work.models import Task
from apps.work.rules import State

REOPENED = (Step.AMEND, Step.VOID)


def editions(job: Job) -> QuerySet[SprayRecord]:
    """Every signed record of a job, the first edition first."""
    return SprayRecord.objects.for_farm(job.farm).filter(job=job).select_related("signed_by", "job").order_by("edition")


def standing(farm: Farm) -> QuerySet[SprayRecord]:
    """The newest edition of each record, by number: what counts today. Older ones stay readable and count no more.

    One whose signature was withdrawn is ``voided``; a job that is open again keeps its last edition here, unsigned.
    """
    newer = SprayRecord.objects.for_farm(farm).filter(supersedes=OuterRef("pk"))
    return SprayRecord.objects.for_farm(farm).filter(~Exists(newer)).select_related("job", "signed_by").order_by("seq")


def spoken(job: Job) -> SprayRecord | None:
    """The last edition that says what happened (a withdrawal of a signature says nothing of its own)."""
    return editions(job).exclude(meaning=Meaning.VOIDED).order_by("-edition").first()


def reopening_steps(farm: Farm) -> QuerySet[JobStep]:
    """Every step by which a signed job was opened again."""
    return JobStep.objects.for_farm(farm).filter(step__in=[s.value for s in REOPENED])


def reopened_by(job: Job) -> JobStep | None:
    """The step by which a signed job was opened again, the last if there were several."""
    rows = JobStep.objects.for_farm(job.farm).filter(job=job, step__in=[s.value for s in REOPENED])
    return rows.select_related("by").order_by("-id").first()


def content_of(record: SprayRecord) -> dict[str, Any]:
    """What was signed, as it was signed."""
    return dict(json.loads(record.body_text)["content"])


@dataclass(frozen=True, kw_only=True)
class Edition:
    """One edition beside the one before it."""

    record: SprayRecord
    reason: str
    changes: tuple[Change, ...]


def side_by_side(job: Job) -> list[Edition]:
    """Every edition with what it changed against the last one that said what happened."""
    found: list[Edition] = []
    before: dict[str, Any] | None = None
    for row in editions(job):
        body = json.loads(row.body_text)
        content, said = body["content"], row.meaning != Meaning.VOIDED
        changes = tuple(changes_between(before, content)) if said and before is not None else ()
        reason = (content.get("amends") or {}).get("reason") or body["signature"]["reason"]
        found.append(Edition(record=row, reason=reason, changes=changes))
        before = content if said else before
    return found


# ---- what managers ask for -------------------------------------------------------------


def requests(farm: Farm) -> QuerySet[CorrectionRequest]:
    """Every request, the open ones first, newest first."""
    found = CorrectionRequest.objects.for_farm(farm)
    return found.select_related("job", "asked_by", "answered_by").order_by("answered_at", "-id")


def request_in(farm: Farm, request_id: int) -> CorrectionRequest:
    """One request, or ``Unknown``."""
    found: CorrectionRequest = one(requests(farm).filter(pk=request_id))
    return found


def open_requests(job: Job) -> QuerySet[CorrectionRequest]:
    """What is still asked about one job."""
    return requests(job.farm).filter(job=job, state=Asked.OPEN)


# ---- people whom later times concern ---------------------------------------------------


def people_planned(farm: Farm, entries: Iterable[Any]) -> list[int]:
    """Person ids behind planned entries."""
    ids = {entry.task_id for entry in entries}
    found = Task.objects.for_farm(farm).filter(pk__in=ids)
    return sorted(set(found.values_list("assigned_to_id", flat=True)))


def inside_between(farm: Farm, block_ids: Collection[int], from_at: datetime, to_at: datetime) -> list[Task]:
    """Work during which somebody was in one of these blocks at any time in the span. One query."""
    there = Q(started_at__lt=to_at) & (Q(closed_at=None) | Q(closed_at__gt=from_at))
    found = Task.objects.for_farm(farm).filter(there, block_id__in=block_ids).exclude(state=State.CALLED_OFF)
    return list(found.select_related("block__field", "block__farm", "assigned_to").order_by("started_at", "pk"))
