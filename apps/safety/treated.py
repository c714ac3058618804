"""When ground was last treated or under an entry interval, as the field board remembers it."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import Q

from apps.land.lineage import shared_history
from apps.land.models import Block
from apps.safety.models import Closure
from apps.safety.rules import Kind, LiftReason

TREATED = (Kind.UNDERWAY, Kind.UNCONFIRMED, Kind.ENTRY)
REPLACED = (LiftReason.NOT_APPLIED, LiftReason.RESIGNED, LiftReason.LENGTHENED)
"""Came down because it was not true, or because another took its place: it says nothing of its own."""


def last_restricted(block: Block, now: datetime, *, within: timedelta) -> datetime | None:
    """The last instant of an application or entry interval on this ground within ``within`` before ``now``.

    ``now`` while one still runs or its end is not known; ``None`` when the board remembers none. Ground that came from
    other blocks counts with theirs. Applications brought in from a file left no closure once their time was over.
    """
    ids = list(shared_history(block.farm, [block])[block.pk])
    rows = Closure.objects.for_farm(block.farm).filter(block_id__in=ids, kind__in=[k.value for k in TREATED])
    rows = rows.exclude(lift_reason__in=[r.value for r in REPLACED]).filter(starts_at__lte=now)
    rows = rows.filter(Q(lifted_at=None, ends_at=None) | Q(starts_at__gt=now - within) | Q(ends_at__gt=now - within))
    ends = [_end(row, now) for row in rows.only("kind", "starts_at", "ends_at", "lifted_at")]
    return max((end for end in ends if end > now - within), default=None)


def _end(row: Closure, now: datetime) -> datetime:
    """An application counts on the day it began; an interval through its end, or until it was attested to be over."""
    if row.lifted_at is None:
        return now if row.ends_at is None else min(row.ends_at, now)
    if row.kind != Kind.ENTRY:
        return row.starts_at
    return min(row.lifted_at, row.ends_at or row.lifted_at, now)
