"""Notices to people, what carries them (letters, webhook calls, calendars), and the health of the sweep."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.people.models import FarmOwned
from apps.reminders.rules import MAX_ATTEMPTS
from apps.reminders.rules.hooks import MAX_CALLS
from apps.reminders.rules.timing import DIGEST_AT, QUIET_FROM, QUIET_TO

WAITING = Q(done_at=None)
"""Letters and calls that nobody has brought to an end yet."""

UNPOSTED = Q(due_at__isnull=False, letter=None, withdrawn_at=None)
"""Notices whose e-mail is wanted and stands in no letter yet."""

OUTCOMES = ["sent", "given_up", "dropped"]


class Outgoing(FarmOwned):
    """Something that leaves the house once: claimed for a while, tried again, brought to an end.

    ``claimed_until`` is the machine's own time; every other instant is the farm book's.
    """

    MOST: ClassVar[int]

    created_at = models.DateTimeField()
    due_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    claimed_until = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)
    outcome = models.CharField(max_length=10, blank=True)
    last_error = models.CharField(max_length=300, blank=True)

    class Meta:
        abstract = True


class Letter(Outgoing):
    """One e-mail to one person, with one notice or several in it."""

    MOST = MAX_ATTEMPTS

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    urgent = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(done_at=None, outcome="") | Q(done_at__isnull=False, outcome__in=OUTCOMES),
                name="letter_outcome_known",
            ),
            models.CheckConstraint(condition=Q(attempts__lte=MAX_ATTEMPTS), name="letter_attempts_bounded"),
        ]
        indexes = [
            models.Index(fields=["due_at", "id"], condition=WAITING, name="letter_waiting"),
            models.Index(fields=["farm", "person", "-created_at"], name="letter_of_person"),
        ]


class Notice(FarmOwned):
    """One thing one person is told, once.

    ``due_at`` is when its e-mail may go out, empty when the page is enough. ``source`` is the
    dotted path of the reminder source that stands by it; a notice told by an action has none.
    ``turn`` counts how often its reason came back or grew by another of its ``things``, ``rung`` how far up it has
    escalated.
    """

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=40)
    subject_type = models.CharField(max_length=40)
    subject_id = models.CharField(max_length=40)
    occasion = models.CharField(max_length=120)
    template = models.TextField()
    numbers = models.JSONField(default=dict)
    path = models.CharField(max_length=300, blank=True)
    things = models.JSONField(default=list)
    urgent = models.BooleanField(default=False)
    source = models.CharField(max_length=120, blank=True)
    starts_at = models.DateTimeField(null=True)
    ends_at = models.DateTimeField(null=True)
    all_day = models.BooleanField(default=False)
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField(null=True)
    seen_at = models.DateTimeField(null=True)
    withdrawn_at = models.DateTimeField(null=True)
    turn = models.PositiveSmallIntegerField(default=1)
    due_at = models.DateTimeField(null=True)
    letter = models.ForeignKey(Letter, on_delete=models.PROTECT, null=True, related_name="notices")
    rung = models.PositiveSmallIntegerField(default=0)
    escalates_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm", "person", "kind", "subject_type", "subject_id", "occasion"], name="notice_once"
            ),
            models.CheckConstraint(condition=Q(rung__lte=2), name="notice_rung_known"),
        ]
        indexes = [
            models.Index(fields=["due_at", "id"], condition=UNPOSTED, name="notice_unposted"),
            models.Index(fields=["farm", "person", "-id"], name="notice_of_person"),
            models.Index(fields=["farm", "person"], condition=Q(seen_at=None, withdrawn_at=None), name="notice_unseen"),
            models.Index(fields=["farm", "subject_type", "subject_id"], name="notice_by_subject"),
            models.Index(fields=["farm", "source"], condition=Q(withdrawn_at=None), name="notice_standing"),
            models.Index(
                fields=["escalates_at"],
                condition=Q(escalates_at__isnull=False, seen_at=None, withdrawn_at=None),
                name="notice_escalating",
            ),
        ]

    def __str__(self) -> str:
        return f"notice {self.kind} about {self.subject_type} {self.subject_id}"


class Preference(FarmOwned):
    """What one person on one farm wants to hear, and when. Without a row the usual holds.

    ``email`` maps a kind to a mode (``rules.timing.Mode``); ``not_in_calendar`` lists kinds.
    """

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    quiet_from = models.TimeField(default=QUIET_FROM)
    quiet_to = models.TimeField(default=QUIET_TO)
    digest_at = models.TimeField(default=DIGEST_AT)
    email = models.JSONField(default=dict)
    not_in_calendar = models.JSONField(default=list)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["farm", "person"], name="preference_once")]

    def __str__(self) -> str:
        return f"notice wishes of {self.person}"


class CalendarAddress(FarmOwned):
    """The secret address of one person's calendar feed on one farm. Only its hash is kept."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    secret_hash = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm", "person"], condition=Q(revoked_at=None), name="calendar_address_one_live"
            )
        ]

    def __str__(self) -> str:
        return f"calendar address of {self.person}"


class Endpoint(FarmOwned):
    """Another program that is told the farm's notices over HTTP. Set by managers only.

    ``kinds`` empty means all of them. While it fails, ``retry_at`` holds all its calls back but one.
    """

    url = models.CharField(max_length=500)
    kinds = models.JSONField(default=list)
    secret = models.CharField(max_length=100)
    old_secret = models.CharField(max_length=100, blank=True)
    old_secret_until = models.DateTimeField(null=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    off_at = models.DateTimeField(null=True)
    off_because = models.CharField(max_length=40, blank=True)
    last_ok_at = models.DateTimeField(null=True)
    failing_since = models.DateTimeField(null=True)
    failures = models.PositiveIntegerField(default=0)
    retry_at = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(off_at=None, off_because="") | Q(off_at__isnull=False) & ~Q(off_because=""),
                name="endpoint_off_for_a_reason",
            )
        ]

    def __str__(self) -> str:
        return self.url


class Call(Outgoing):
    """One thing one endpoint is told: that a notice was told, or taken back."""

    MOST = MAX_CALLS

    endpoint = models.ForeignKey(Endpoint, on_delete=models.PROTECT, related_name="calls")
    message_id = models.CharField(max_length=40, unique=True)
    event = models.CharField(max_length=10)
    kind = models.CharField(max_length=40)
    subject_type = models.CharField(max_length=40)
    subject_id = models.CharField(max_length=40)
    occasion = models.CharField(max_length=120)
    turn = models.PositiveSmallIntegerField(default=1)
    body = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["endpoint", "event", "kind", "subject_type", "subject_id", "occasion", "turn"],
                name="call_once",
            ),
            models.CheckConstraint(condition=Q(event__in=["told", "withdrawn"]), name="call_event_known"),
            models.CheckConstraint(
                condition=Q(done_at=None, outcome="") | Q(done_at__isnull=False, outcome__in=OUTCOMES),
                name="call_outcome_known",
            ),
            models.CheckConstraint(condition=Q(attempts__lte=MAX_CALLS), name="call_attempts_bounded"),
        ]
        indexes = [
            models.Index(fields=["due_at", "id"], condition=WAITING, name="call_waiting"),
            models.Index(fields=["endpoint", "-id"], name="call_of_endpoint"),
        ]


class SweepRun(models.Model):
    """The heartbeat: one row, the last sweep of the installation."""

    ONLY = 1

    last_started_at = models.DateTimeField(null=True)
    last_finished_at = models.DateTimeField(null=True)
    sweeps = models.PositiveBigIntegerField(default=0)
    looked = models.PositiveIntegerField(default=0)
    made = models.PositiveIntegerField(default=0)
    sent = models.PositiveIntegerField(default=0)
    failed = models.PositiveIntegerField(default=0)
    error = models.CharField(max_length=500, blank=True)
    sources = models.CharField(max_length=64, blank=True)

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


class Watch(models.Model):
    """When a farm's sources must be asked again though nothing changes in its book.

    A change in the book (``audit.FarmChange``) brings the farm up at once. ``claimed_until`` is the
    machine's own time: one sweep looks at a farm at a time.
    """

    farm = models.OneToOneField("people.Farm", on_delete=models.CASCADE, primary_key=True, related_name="+")
    look_at = models.DateTimeField(null=True, db_index=True)
    looked_at = models.DateTimeField(null=True)
    claimed_until = models.DateTimeField(null=True)


class Lease(models.Model):
    """Who runs a thing that only one process should run at a time."""

    name = models.CharField(max_length=40, primary_key=True)
    holder = models.CharField(max_length=120)
    until_at = models.DateTimeField()
