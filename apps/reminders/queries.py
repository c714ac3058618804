"""Reading notices, what people wish to hear, and whether the sweep that makes them is alive."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db.models import Count, Min, Q, QuerySet

from apps.people.models import Farm, Membership
from apps.people.queries import digest, one
from apps.reminders import rules
from apps.reminders.models import (
    UNPOSTED,
    WAITING,
    CalendarAddress,
    Call,
    Endpoint,
    Letter,
    Notice,
    Preference,
    SweepFault,
    SweepRun,
)
from apps.reminders.rules.timing import Wishes

CALENDAR_BACK, CALENDAR_MOST = timedelta(days=60), 500


def notices_of(farm: Farm, person_id: int) -> QuerySet[Notice]:
    """What a person was told on this farm and still holds, newest first."""
    return Notice.objects.for_farm(farm).filter(person_id=person_id, withdrawn_at=None).order_by("-id")


def notice_of(farm: Farm, person_id: int, notice_id: int) -> Notice:
    """One of a person's own notices; ``Unknown`` for anybody else's."""
    return one(notices_of(farm, person_id).filter(pk=notice_id))


def unseen_count(farm: Farm, person_id: int) -> int:
    """How many notices the person has not marked as seen. One query."""
    return notices_of(farm, person_id).filter(seen_at=None).count()


# ---- what people wish to hear ----------------------------------------------------------


def wishes(farm: Farm, person_ids: Collection[int]) -> dict[int, Wishes]:
    """What each of these people wishes; the usual for those who said nothing. One query."""
    said = {row.person_id: _wishes(row) for row in Preference.objects.for_farm(farm).filter(person__in=person_ids)}
    return {person_id: said.get(person_id, Wishes()) for person_id in person_ids}


def _wishes(row: Preference) -> Wishes:
    return Wishes(
        quiet_from=row.quiet_from,
        quiet_to=row.quiet_to,
        digest_at=row.digest_at,
        email=row.email,
        not_in_calendar=row.not_in_calendar,
    )


def calendar_address(farm: Farm, person_id: int) -> CalendarAddress | None:
    """The live calendar address of a person, if there is one."""
    return CalendarAddress.objects.for_farm(farm).filter(person_id=person_id, revoked_at=None).first()


def calendar_behind(secret: str) -> CalendarAddress:
    """The live address behind a secret; ``Unknown`` also when its person has left the farm."""
    rows = CalendarAddress.rows.select_related("farm", "person").filter(secret_hash=digest(secret), revoked_at=None)
    row = one(rows)
    one(Membership.objects.for_farm(row.farm).filter(person=row.person, active=True, person__is_active=True))
    return row  # type: ignore[no-any-return]


def calendar_notices(farm: Farm, person_id: int, now: datetime) -> list[Notice]:
    """What stands in a person's calendar: the newest of the last weeks, the withdrawn among them too."""
    hidden = wishes(farm, [person_id])[person_id].not_in_calendar
    rows = Notice.objects.for_farm(farm).filter(person_id=person_id, created_at__gt=now - CALENDAR_BACK)
    return list(rows.exclude(kind__in=hidden).order_by("-id")[:CALENDAR_MOST])


# ---- other programs --------------------------------------------------------------------


def endpoints(farm: Farm) -> QuerySet[Endpoint]:
    """The farm's endpoints, those in use first."""
    return Endpoint.objects.for_farm(farm).order_by("off_at", "id")


def endpoint(farm: Farm, endpoint_id: int, *, lock: bool = False) -> Endpoint:
    rows = Endpoint.objects.for_farm(farm).filter(pk=endpoint_id)
    return one(rows.select_for_update() if lock else rows)


# ---- is it alive? ----------------------------------------------------------------------


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
    calls_waiting: int
    calls_given_up: int
    faults: list[SweepFault]


def health(farm: Farm, now: datetime) -> Health:
    """Five queries, whatever the farm holds."""
    run = last_run() or SweepRun()
    finished = run.last_finished_at
    unposted = Notice.objects.for_farm(farm).filter(UNPOSTED, due_at__lte=now)
    still = unposted.aggregate(count=Count("id"), oldest=Min("due_at"))
    post, calls = _outgoing(Letter, farm, now), _outgoing(Call, farm, now)
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
        backlog=still["count"] + post["waiting"],
        oldest_waiting_at=min(filter(None, [still["oldest"], post["oldest"]]), default=None),
        given_up=post["given_up"],
        calls_waiting=calls["waiting"],
        calls_given_up=calls["given_up"],
        faults=list(SweepFault.objects.for_farm(farm).order_by("source")),
    )


def _outgoing(model: type[Letter] | type[Call], farm: Farm, now: datetime) -> dict[str, Any]:
    waiting = WAITING & Q(due_at__lte=now)
    return model.objects.for_farm(farm).aggregate(
        waiting=Count("id", filter=waiting),
        oldest=Min("due_at", filter=waiting),
        given_up=Count("id", filter=Q(outcome="given_up")),
    )
