"""Reading what was brought in: files, rows, and the events that limits, rotation and waits are counted from."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable
from datetime import datetime
from itertools import groupby
from typing import Any

from django.db.models import QuerySet

from apps.people.models import Farm
from apps.people.queries import one
from apps.products.rules import Rate
from apps.spraying.bringing.models import BroughtFile, BroughtSpray
from apps.spraying.rules import Event
from apps.spraying.rules.outcome import per_acre
from farmops import clock
from farmops.units import Quantity


def files(farm: Farm) -> QuerySet[BroughtFile]:
    """Files brought in, newest first."""
    return BroughtFile.objects.for_farm(farm).select_related("brought_by").order_by("-id")


def file_in(farm: Farm, file_id: int) -> BroughtFile:
    """One file, or ``Unknown``."""
    found: BroughtFile = one(files(farm).filter(pk=file_id))
    return found


def brought(farm: Farm) -> QuerySet[BroughtSpray]:
    """Every application brought in, oldest first. None of them is signed here."""
    related = ("file", "block__field", "block__farm", "product", "label_version")
    return BroughtSpray.objects.for_farm(farm).select_related(*related).order_by("started_at", "pk")


def digest_of(text: str) -> str:
    """What makes the same file the same: its text without a byte-order mark and with one kind of line end."""
    plain = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    return hashlib.sha256(plain.encode()).hexdigest()


def altered(farm: Farm) -> list[BroughtFile]:
    """Files whose kept text is no longer the one that was brought in."""
    return [row for row in files(farm).order_by("id") if digest_of(row.text) != row.digest]


def applied_rate(row: BroughtSpray) -> Rate:
    """What a row says was used per acre."""
    return Rate(quantity=per_acre(Quantity(row.amount, row.unit), row.treated_acres))


def events_brought(
    farm: Farm, block_ids: Collection[int], *, labels: Any, line: Any, since: datetime | None = None
) -> dict[int, list[Event]]:
    """block id -> one event for each tank: rows of the same block and time together. One query.

    ``labels`` reads label documents once; ``line`` is how a row becomes a product of a mix (``history.mix_line``).
    """
    rows = brought(farm).filter(block_id__in=block_ids).order_by("block_id", "started_at", "ended_at", "pk")
    if since is not None:
        rows = rows.filter(started_at__gte=since)
    found: dict[int, list[Event]] = {}
    for (block_id, _, _), group in groupby(rows, key=lambda r: (r.block_id, r.started_at, r.ended_at)):
        found.setdefault(block_id, []).append(event_of(list(group), farm.time_zone, labels, line))
    return found


def lines_of(rows: Iterable[BroughtSpray], labels: Any, line: Any) -> tuple[Any, ...]:
    """The rows of one tank as products of a mix."""
    return tuple(
        line(
            row,
            version=row.label_version,
            rate=applied_rate(row),
            labels=labels,
            targets=list(row.targets),
            site_code=row.site_code or None,
        )
        for row in rows
    )


def event_of(rows: list[BroughtSpray], zone: str, labels: Any, line: Any) -> Event:
    """One tank on one block."""
    first = rows[0]
    return Event(
        on_date=clock.to_local(first.started_at, zone).date(),
        lines=lines_of(rows, labels, line),
        site_code=first.site_code or None,
        parts=frozenset(),
        starts_at=first.started_at,
        ends_at=first.ended_at,
        spray_gpa=first.spray_gpa,
        signed=False,
        done=True,
        job_ref=f"{first.file.name}, row {first.row}",
    )
