"""Packets of records that were asked for, and where their files lie while they are kept."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.people.models import FarmOwned
from apps.reports.packet.rules import MAX_TRIES, PacketState

_STATES = [s.value for s in PacketState]


class Packet(FarmOwned):
    """One packet. ``claim`` names the try that may write its end: a process that woke up too late cannot.

    ``files`` lists what can be fetched: name, media type, bytes, SHA-256. ``last_seq`` is the newest record looked at.
    """

    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    ask = models.JSONField()
    state = models.CharField(max_length=10, default=PacketState.WAITING)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    tries = models.PositiveSmallIntegerField(default=0)
    claim = models.CharField(max_length=40, blank=True)
    claimed_until = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=300, blank=True)
    made_at = models.DateTimeField(null=True)
    expires_at = models.DateTimeField(null=True)
    last_seq = models.PositiveIntegerField(default=0)
    findings = models.PositiveIntegerField(default=0)
    folder = models.CharField(max_length=80, blank=True)
    files = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(state__in=_STATES), name="packet_state_known"),
            models.CheckConstraint(condition=Q(tries__lte=MAX_TRIES), name="packet_tries_bounded"),
            models.CheckConstraint(
                condition=~Q(state=PacketState.READY) | Q(made_at__isnull=False, expires_at__isnull=False),
                name="packet_ready_says_since_when",
            ),
        ]
        indexes = [models.Index(fields=["farm", "state", "id"], name="packet_by_state")]

    def __str__(self) -> str:
        return f"packet {self.pk}"
