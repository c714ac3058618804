"""Reading the trail."""

from __future__ import annotations

import json

from django.db import connection
from django.db.models import Q, QuerySet, TextField
from django.db.models.functions import Cast

from apps.audit.models import AuditEvent

WORDS = 6
"""As many words of a search are looked for; more would only be slower."""


def events(farm_id: int) -> QuerySet[AuditEvent]:
    """A farm's trail, newest first."""
    return AuditEvent.objects.filter(farm_id=farm_id).order_by("-id")


def holding(rows: QuerySet[AuditEvent], text: str) -> QuerySet[AuditEvent]:
    """The lines in which each word of ``text`` stands somewhere: who, what, about what, or in a value.

    Read newest first along the farm's own index, so the first page comes as soon as it is full.
    """
    rows = rows.annotate(was=Cast("before", TextField()), became=Cast("after", TextField()))
    for word in text.split()[:WORDS]:
        stored = _stored(word)
        rows = rows.filter(
            Q(actor_name__icontains=word)
            | Q(verb__icontains=word)
            | Q(subject_name__icontains=word)
            | Q(door__icontains=word)
            | Q(address=word)
            | Q(key=word)
            | Q(was__icontains=stored)
            | Q(became__icontains=stored)
        )
    return rows


def _stored(word: str) -> str:
    """A word as it stands in a stored value: SQLite keeps JSON with letters beyond ASCII written as codes."""
    return json.dumps(word)[1:-1] if connection.vendor == "sqlite" else word
