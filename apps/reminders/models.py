"""Notices to people, the health of the sweep that makes and sends them, and the tickers' lease."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.people.models import FarmOwned
from apps.reminders.rules import MAX_ATTEMPTS

WAITING = Q(due_at__isnull=False, sent_at=None, given_up_at=None, withdrawn_at=None)


class Notice(FarmOwned):
    """One thing one person is told, once. Also the outbox of its e-mail.

    ``due_at`` is empty when no e-mail is wanted (the person has no address): page only.
    """

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=40)
    subject_type = models.CharField(max_length=40)
    subject_id = models.CharField(max_length=40)
    occasion = models.CharField(max_length=120)
    template = models.TextField()
    numbers = models.JSONField(default=dict)
    path = models.CharField(max_length=300, blank=True)
    urgent = models.BooleanField(default=False)
    created_at = models.DateTimeField()
    seen_at = models.DateTimeField(null=True)
    withdrawn_at = models.DateTimeField(null=True)
    due_at = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    claimed_until = models.DateTimeField(null=True)
    given_up_at = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm", "person", "kind", "subject_type", "subject_id", "occasion"], name="notice_once"
            ),
            models.CheckConstraint(
                condition=Q(sent_at=None) | Q(given_up_at=None), name="notice_sent_or_given_up_not_both"
            ),
            models.CheckConstraint(condition=Q(attempts__lte=MAX_ATTEMPTS), name="notice_attempts_bounded"),
        ]
        indexes = [
            models.Index(fields=["due_at", "id"], condition=WAITING, name="notice_waiting"),
            models.Index(fields=["farm", "person", "-id"], name="notice_of_person"),
            models.Index(fields=["farm", "person"], condition=Q(seen_at=None, withdrawn_at=None), name="notice_unseen"),
            models.Index(fields=["farm", "subject_type", "subject_id"], name="notice_by_subject"),
        ]

    def __str__(self) -> str:
        return f"notice {self.kind} about {self.subject_type} {self.subject_id}"


class SweepRun(models.Model):
    """The heartbeat: one row, the last sweep of the installation."""

    ONLY = 1

    last_started_at = models.DateTimeField(null=True)
    last_finished_at = models.DateTimeField(null=True)
    made = models.PositiveIntegerField(default=0)
    sent = models.PositiveIntegerField(default=0)
    failed = models.PositiveIntegerField(default=0)
    error = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="sweep_run_is_one_row")]


class SweepFault(FarmOwned):
    """A source that failed for this farm in the last sweep that asked it; gone once it works again."""

    source = models.CharField(max_length=120)
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()
    times = models.PositiveIntegerField(default=1)
    error = models.CharField(max_length=300)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["farm", "source"], name="sweep_fault_once")]


class Lease(models.Model):
    """Who runs a thing that only one process should run at a time."""

    name = models.CharField(max_length=40, primary_key=True)
    holder = models.CharField(max_length=120)
    until_at = models.DateTimeField()
