"""Which record rules a farm goes by, its own ones, and what it says about a record that was late or has blanks."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.people.models import FarmOwned


class FarmRecordRule(FarmOwned):
    """A shipped rule the farm uses or does not use (``body`` null), or a rule of its own (``body`` = the rule)."""

    code = models.CharField(max_length=40)
    in_use = models.BooleanField(default=True)
    body = models.JSONField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["farm", "code"], name="record_rule_once_per_farm"),
            models.CheckConstraint(condition=~Q(code=""), name="record_rule_has_a_code"),
        ]

    def __str__(self) -> str:
        return f"record rule {self.code}"


class RecordNote(FarmOwned):
    """Why a record was late or has blanks: written beside the record, which stays as it was signed. Only grows."""

    record = models.ForeignKey("spraying.SprayRecord", on_delete=models.PROTECT, related_name="notes")
    words = models.TextField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(words=""), name="record_note_says_something")]

    def __str__(self) -> str:
        return f"note on {self.record}"
