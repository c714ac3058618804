"""What was done, by whom, when; and the answers already given to repeated requests."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class AuditEvent(models.Model):
    """One change, in one readable line, with what stood before and after. Only grows."""

    farm = models.ForeignKey("people.Farm", on_delete=models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField(db_index=True)
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    actor_name = models.CharField(max_length=200)
    verb = models.CharField(max_length=60)
    subject_type = models.CharField(max_length=60)
    subject_id = models.CharField(max_length=40)
    subject_name = models.CharField(max_length=200)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)

    class Meta:
        indexes = [models.Index(fields=["farm", "subject_type", "subject_id"], name="audit_by_subject")]

    def __str__(self) -> str:
        return f"{self.actor_name} {self.verb} {self.subject_name}"


class AnsweredRequest(models.Model):
    """The stored answer to a request that carried an Idempotency-Key."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    route = models.CharField(max_length=300)
    key = models.CharField(max_length=100)
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    body = models.JSONField(null=True)
    created_at = models.DateTimeField(db_index=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "route", "key"], name="answered_once")]
