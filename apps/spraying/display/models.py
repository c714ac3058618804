"""When an application's sheet hung at the central place, put up and taken down by whom."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.people.models import FarmOwned

_PERSON = settings.AUTH_USER_MODEL


class Display(FarmOwned):
    """The sheet of one job at the central place. ``shown`` is what it said when it was put up."""

    job = models.OneToOneField("spraying.Job", on_delete=models.PROTECT, related_name="display")
    put_up_at = models.DateTimeField()
    put_up_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    shown = models.JSONField()
    taken_down_at = models.DateTimeField(null=True)
    taken_down_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(taken_down_at=None) | Q(taken_down_at__gte=F("put_up_at")), name="display_down_after_up"
            ),
            models.CheckConstraint(
                condition=Q(taken_down_at=None, taken_down_by=None)
                | Q(taken_down_at__isnull=False, taken_down_by__isnull=False),
                name="display_taken_down_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"display of {self.job}"
