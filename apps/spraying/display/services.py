"""Putting the sheet of an application up at the central place, and taking it down."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.safety.rules.notice import check_display
from apps.spraying import queries
from apps.spraying.display.models import Display
from apps.spraying.display.queries import Sheet, sheet
from apps.spraying.models import Job
from farmops.errors import Refused, gettext_noop, refuse


@transaction.atomic
def put_up(*, member: Member, job_id: int, sds_for: Collection[int], now: datetime) -> Display:
    """The sheet hangs at the central place. ``sds_for``: the products whose safety data sheet hangs beside it.

    ``Refused`` while the end is not reported or a safety data sheet is missing, or when it hangs already.
    """
    job = _locked(member, job_id)
    missing = [p.product.name for p in job.job_products.all() if p.product_id not in set(sds_for)]
    found = check_display(ended_at=job.ended_at, without_sds=missing)
    if found:
        raise Refused(found)
    if Display.objects.for_farm(member.farm).filter(job=job).exists():
        raise refuse("display_up_already", gettext_noop("This sheet hangs there already."))
    row: Display = Display.objects.add(
        farm=member.farm, job=job, put_up_at=now, put_up_by_id=member.person_id, shown=as_shown(sheet(job))
    )
    audit.record(farm=member.farm, actor=member, verb="put up the display", subject=row, now=now)
    return row


@transaction.atomic
def take_down(*, member: Member, job_id: int, now: datetime) -> Display:
    """The sheet is taken down. ``Refused`` before its legal time is over, or while that is not known."""
    job = _locked(member, job_id)
    row: Display = one(Display.objects.for_farm(member.farm).select_for_update().filter(job=job))
    if row.taken_down_at is not None:
        raise refuse("display_down_already", gettext_noop("This sheet is down already."))
    until = sheet(job).until_at
    if until is None or now < until:
        raise refuse(
            "display_too_soon",
            gettext_noop("The sheet stays up for 30 days after the interval has run."),
            source="40 CFR 170.311(b)",
        )
    row.taken_down_at, row.taken_down_by_id = now, member.person_id
    row.save(update_fields=["taken_down_at", "taken_down_by"])
    audit.record(farm=member.farm, actor=member, verb="took down the display", subject=row, now=now)
    return row


def _locked(member: Member, job_id: int) -> Job:
    member.require(Can.POST_NOTICES)
    one(Job.objects.for_farm(member.farm).select_for_update().filter(pk=job_id).only("pk"))
    return queries.job(member.farm, job_id)


def as_shown(said: Sheet) -> dict[str, Any]:
    """What the sheet said, as plain JSON."""
    return {
        "started_at": _text(said.started_at),
        "ended_at": _text(said.ended_at),
        "interval_ends_at": _text(said.interval_ends_at),
        "products": [{**vars(p), "ingredients": list(p.ingredients)} for p in said.products],
        "places": [vars(p) for p in said.places],
    }


def _text(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()
