"""Reminders that grow louder: a spray whose record is not there by the time a rule asks for it."""

from __future__ import annotations

from datetime import datetime, timedelta

from apps.people.models import Farm
from apps.people.queries import person_ids_with
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, register
from apps.spraying.amending import queries as amending
from apps.spraying.amending.rules import Asked
from apps.spraying.models import Job
from apps.spraying.records.queries import LooseEnd, open_ends
from apps.spraying.rules.states import JobState
from farmops.errors import gettext_noop

RECORD_DUE = register("record_due", Level.INFORMATION)
RECORD_OVERDUE = register("record_overdue", Level.DO_TODAY)
CORRECTION_WAITS = register("correction_waits", Level.DO_TODAY)

BEFORE = timedelta(hours=12)
WEEK = timedelta(days=7)
ASKED_AGAIN = timedelta(days=2)


def next_due(farm: Farm, now: datetime) -> datetime | None:
    """When time alone may change ``due``: a window ends, a record comes to its next stage, a request waits longer."""
    live = Job.objects.for_farm(farm).filter(state__in=[JobState.ASSIGNED, JobState.SPRAYING], window_ends_at__gt=now)
    changes = list(live.values_list("window_ends_at", flat=True))
    for end in open_ends(farm, now):
        if end.due_at is not None:
            weeks = max(0, (now - end.due_at) // WEEK) + 1
            changes += [end.due_at + after for after in (-BEFORE, timedelta(0), timedelta(days=1), weeks * WEEK)]
    for asked_at in amending.requests(farm).filter(state=Asked.OPEN).values_list("asked_at", flat=True):
        changes.append(asked_at + ((now - asked_at) // ASKED_AGAIN + 1) * ASKED_AGAIN)
    return min((at for at in changes if at > now), default=None)


def due(farm: Farm, now: datetime) -> list[Due]:
    """Open records that are near or past their time, and requests nobody has answered."""
    managers = person_ids_with(farm, Role.MANAGER)
    found = [d for end in open_ends(farm, now) if (d := _about(end, now, managers)) is not None]
    return found + _asked(farm, now)


def _about(end: LooseEnd, now: datetime, managers: list[int]) -> Due | None:
    """First to whoever signs, then to the managers too, then urgently, then every week until it is there."""
    if end.due_at is None or end.rule is None or now < end.due_at - BEFORE:
        return None
    job, late = end.job, now - end.due_at
    mine = [p for p in (job.applicator_id, job.supervisor_id) if p is not None]
    if late < timedelta(0):
        kind, stage, to = RECORD_DUE, "soon", mine
    elif late < timedelta(days=1):
        kind, stage, to = RECORD_OVERDUE, "over", [*mine, *managers]
    else:
        kind, stage, to = RECORD_OVERDUE, f"over for {late // WEEK} weeks and more", [*mine, *managers]
    template = (
        gettext_noop("Spray job {job} on {blocks} has no signed record yet. {rule}: it is due before {due}.")
        if kind == RECORD_DUE
        else gettext_noop("Spray job {job} on {blocks} has no signed record. {rule}: it was due before {due}.")
    )
    return Due(
        kind=kind,
        subject_type="job",
        subject_id=job.pk,
        occasion=f"{stage}, {end.end}, due {end.due_at:%Y-%m-%dT%H:%MZ}",
        person_ids=sorted(set(to)),
        template=template,
        numbers={
            "job": str(job.number),
            "blocks": ", ".join(str(b.block) for b in job.job_blocks.all()),
            "rule": end.rule.name,
            "due": end.due_at,
        },
        path=f"/f/{job.farm.slug}/jobs/{job.pk}/",
        urgent=late >= timedelta(days=1),
    )


def _asked(farm: Farm, now: datetime) -> list[Due]:
    template = gettext_noop("{who} has waited since {at} for your answer about the record of spray job {job}: {words}")
    waiting = amending.requests(farm).filter(state=Asked.OPEN, asked_at__lte=now - ASKED_AGAIN)
    return [
        Due(
            kind=CORRECTION_WAITS,
            subject_type="correction_request",
            subject_id=row.pk,
            occasion=f"{(now - row.asked_at) // ASKED_AGAIN} times two days",
            person_ids=[p for p in (row.job.applicator_id, row.job.supervisor_id) if p is not None],
            template=template,
            numbers={
                "who": row.asked_by.full_name,
                "at": row.asked_at,
                "job": str(row.job.number),
                "words": row.words[:300],
            },
            path=f"/f/{farm.slug}/jobs/{row.job_id}/editions/",
        )
        for row in waiting
    ]
