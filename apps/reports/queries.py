"""Reading what is exported and shown of the trail."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import QuerySet

from apps.audit import queries as audit
from apps.audit.models import AuditEvent
from apps.inventory import queries as shed
from apps.people.models import Farm
from apps.reports.period import Period
from apps.spraying import queries as spraying

CHUNK = 200


def trail(farm: Farm) -> QuerySet[AuditEvent]:
    """A farm's trail, newest first."""
    return audit.events(farm.pk)


def subject_types(farm: Farm) -> list[str]:
    """What the trail is about, for the choice of a filter."""
    return sorted(trail(farm).order_by().values_list("subject_type", flat=True).distinct())


def verbs(farm: Farm) -> list[str]:
    """What was done, for the choice of a filter."""
    return sorted(trail(farm).order_by().values_list("verb", flat=True).distinct())


def actors(farm: Farm) -> list[tuple[int, str]]:
    """Who stands in the trail: (person id, name), by name."""
    found = trail(farm).exclude(actor=None).order_by().values_list("actor_id", "actor__full_name").distinct()
    return sorted(found, key=lambda row: (row[1], row[0]))


def replaced(farm: Farm) -> dict[int, int]:
    """Record -> the record that stands in its place."""
    found = spraying.records(farm).exclude(supersedes=None)
    return dict(found.values_list("supersedes__seq", "seq"))


def records(farm: Farm, period: Period) -> Iterator[Any]:
    """Signed records of these days, oldest first, a few at a time."""
    rows = period.within(spraying.records(farm), "signed_at", farm.time_zone)
    return rows.order_by("seq").iterator(chunk_size=CHUNK)


def ledger(farm: Farm, period: Period) -> Iterator[Any]:
    """Movements of these days, oldest first, a few at a time."""
    rows = period.within(shed.ledger(farm), "at", farm.time_zone)
    return rows.order_by("id").iterator(chunk_size=CHUNK)
