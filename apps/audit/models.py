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
    door = models.CharField(max_length=200, blank=True, help_text="Method and path; empty outside of a request")
    address = models.CharField(max_length=45, blank=True, help_text="Where on the network it came from")
    key = models.CharField(max_length=12, blank=True, help_text="Open half of the key a program used")

    class Meta:
        indexes = [
            models.Index(fields=["farm", "subject_type", "subject_id"], name="audit_by_subject"),
            models.Index(fields=["farm", "-id"], name="audit_newest"),
            models.Index(fields=["farm", "actor", "-id"], name="audit_by_actor"),
            models.Index(fields=["farm", "verb", "-id"], name="audit_by_verb"),
            models.Index(fields=["farm", "at"], name="audit_by_day"),
        ]

    def __str__(self) -> str:
        return f"{self.actor_name} {self.verb} {self.subject_name}"


class FarmChange(models.Model):
    """A mark that a farm's book has moved, left in the transaction that moved it, until somebody has looked.

    One row for each change instead of a counter: writers never wait for each other, and a change that
    commits late is still there to be found.
    """

    farm = models.ForeignKey("people.Farm", on_delete=models.CASCADE, related_name="+")


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
