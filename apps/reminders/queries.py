"""Reading notices, and whether the sweep that makes them is alive."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db.models import Count, Min, Q, QuerySet

from apps.people.models import Farm
from apps.people.queries import one
from apps.reminders import rules
from apps.reminders.models import WAITING, Notice, SweepFault, SweepRun


def notices_of(farm: Farm, person_id: int) -> QuerySet[Notice]:
    """What a person was told on this farm and still holds, newest first."""
    return Notice.objects.for_farm(farm).filter(person_id=person_id, withdrawn_at=None).order_by("-id")


def notice_of(farm: Farm, person_id: int, notice_id: int) -> Notice:
    """One of a person's own notices; ``Unknown`` for anybody else's."""
    return one(notices_of(farm, person_id).filter(pk=notice_id))


def unseen_count(farm: Farm, person_id: int) -> int:
    """How many notices the person has not marked as seen. One query."""
    return notices_of(farm, person_id).filter(seen_at=None).count()


def last_run() -> SweepRun | None:
    return SweepRun.objects.filter(pk=SweepRun.ONLY).first()


def late(now: datetime) -> bool:
    """Whether reminders may be missing, for the banner. One query."""
    run = last_run()
    return rules.is_late(run.last_finished_at if run else None, now)


@dataclass(frozen=True, kw_only=True)
class Health:
    """What a farm may know about the sweep: its last run, and this farm's own backlog and faults."""

    runs_by: str
    last_started_at: datetime | None
    last_finished_at: datetime | None
    lag_seconds: int | None
    late: bool
    made: int
    sent: int
    failed: int
    error: str
    backlog: int
    oldest_waiting_at: datetime | None
    given_up: int
    faults: list[SweepFault]


def health(farm: Farm, now: datetime) -> Health:
    """Three queries, whatever the farm holds."""
    run = last_run() or SweepRun()
    finished = run.last_finished_at
    waiting = WAITING & Q(due_at__lte=now)
    post = Notice.objects.for_farm(farm).aggregate(
        backlog=Count("id", filter=waiting),
        oldest=Min("due_at", filter=waiting),
        given_up=Count("id", filter=Q(given_up_at__isnull=False)),
    )
    return Health(
        runs_by="celery" if settings.REDIS_URL else "ticker",
        last_started_at=run.last_started_at,
        last_finished_at=finished,
        lag_seconds=None if finished is None else max(0, int((now - finished).total_seconds())),
        late=rules.is_late(finished, now),
        made=run.made,
        sent=run.sent,
        failed=run.failed,
        error=run.error,
        backlog=post["backlog"],
        oldest_waiting_at=post["oldest"],
        given_up=post["given_up"],
        faults=list(SweepFault.objects.for_farm(farm).order_by("source")),
    )
