"""What a named supervisor decided about early entry, and how long the worker really stayed."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.land.models import Block
from apps.people.models import FarmOwned
from apps.safety.rules.early import Route

_PERSON = settings.AUTH_USER_MODEL


class EarlyEntry(FarmOwned):
    """One decision, under the supervisor's name. ``stated`` is everything that was ticked and typed."""

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    worker = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    supervisor = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()
    route = models.CharField(max_length=20)
    task = models.CharField(max_length=200)
    starts_at = models.DateTimeField()
    minutes = models.PositiveSmallIntegerField(help_text="As decided")
    declaration = models.CharField(max_length=200, blank=True)
    gear = models.CharField(max_length=400, blank=True, help_text="The protective equipment that was given")
    stated = models.JSONField(default=dict)
    left_at = models.DateTimeField(null=True)
    minutes_used = models.PositiveSmallIntegerField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(route__in=[r.value for r in Route]), name="early_entry_route_known"),
            models.CheckConstraint(condition=Q(minutes__gt=0), name="early_entry_takes_time"),
            models.CheckConstraint(
                condition=Q(left_at=None, minutes_used=None)
                | Q(left_at__gte=F("starts_at"), minutes_used__isnull=False),
                name="early_entry_left_after_start",
            ),
        ]
        indexes = [models.Index(fields=["farm", "worker", "starts_at"], name="early_entry_of_worker")]

    def __str__(self) -> str:
        return f"early entry of {self.worker} to {self.block}"
