"""What a manager asks an applicator to correct. The manager asks; only the applicator's signature changes a record."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.people.models import FarmOwned
from apps.spraying.amending.rules import Asked

_PERSON = settings.AUTH_USER_MODEL


class CorrectionRequest(FarmOwned):
    """One request about one signed job: what should be corrected, and what became of it."""

    job = models.ForeignKey("spraying.Job", on_delete=models.PROTECT, related_name="correction_requests")
    words = models.TextField()
    asked_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    state = models.CharField(max_length=10, default=Asked.OPEN)
    answered_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, null=True, related_name="+")
    answered_at = models.DateTimeField(null=True)
    answer = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=[a.value for a in Asked]), name="correction_request_state_known"
            ),
            models.CheckConstraint(
                condition=Q(state=Asked.OPEN, answered_at=None, answered_by=None)
                | ~Q(state=Asked.OPEN) & Q(answered_at__isnull=False, answered_by__isnull=False),
                name="correction_request_answered_whole",
            ),
        ]
        indexes = [models.Index(fields=["farm", "state", "asked_at"], name="correction_request_open")]

    def __str__(self) -> str:
        return f"request about {self.job}"
