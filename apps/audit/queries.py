"""Reading the trail."""

from __future__ import annotations

from django.db.models import QuerySet

from apps.audit.models import AuditEvent


def events(farm_id: int) -> QuerySet[AuditEvent]:
    """A farm's trail, newest first."""
    return AuditEvent.objects.filter(farm_id=farm_id).order_by("-id")
