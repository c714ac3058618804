"""Shapes of corrections, in and out."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language, gettext
from rest_framework import serializers

from apps.spraying.amending.rules import WHAT_NAMES, Asked, Change
from apps.spraying.serializers import CorrectIn, FieldReadingsIn
from apps.spraying.shapes import MEANINGS
from farmops import wording


class AmendIn(CorrectIn):
    """As for a finished job, with every block and product of the job; others that belong there may be named too."""

    reason = serializers.CharField(max_length=2000, help_text="Why the signed record is corrected")
    readings = FieldReadingsIn(required=False, help_text="At the start; as signed if left out")


class AskCorrectionIn(serializers.Serializer):
    words = serializers.CharField(max_length=2000, help_text="What should be corrected, and why")


class DeclineCorrectionIn(serializers.Serializer):
    reason = serializers.CharField(max_length=2000, help_text="Why the record stays as it is")


class CorrectionRequestOut(serializers.Serializer):
    id = serializers.IntegerField()
    job_id = serializers.IntegerField()
    job_number = serializers.IntegerField(source="job.number")
    words = serializers.CharField()
    asked_by = serializers.CharField(source="asked_by.full_name")
    asked_at = serializers.DateTimeField()
    state = serializers.ChoiceField(choices=[(a.value, a.name) for a in Asked])
    answered_by = serializers.CharField(source="answered_by.full_name", allow_null=True, default=None)
    answered_at = serializers.DateTimeField(allow_null=True)
    answer = serializers.CharField()
    version = serializers.IntegerField()


class RecordChangeOut(serializers.Serializer):
    """One difference between two editions, in the reader's language."""

    what = serializers.CharField()
    name = serializers.CharField()
    subject = serializers.CharField(help_text="Block or product; empty = the record as a whole")
    before = serializers.CharField()
    after = serializers.CharField()

    def to_representation(self, instance: Any) -> dict[str, Any]:
        return change_words(instance)


class RecordEditionOut(serializers.Serializer):
    """One edition, and what it changed against the one before it."""

    seq = serializers.IntegerField(source="record.seq")
    edition = serializers.IntegerField(source="record.edition")
    meaning = serializers.ChoiceField(source="record.meaning", choices=MEANINGS)
    signed_by = serializers.CharField(source="record.signed_by.full_name")
    signed_at = serializers.DateTimeField(source="record.signed_at")
    hash = serializers.CharField(source="record.hash")
    reason = serializers.CharField()
    changes = RecordChangeOut(many=True)


def change_words(change: Change) -> dict[str, str]:
    """A difference to read: its name and the words that are translated."""
    return {
        "what": change.what.value,
        "name": gettext(WHAT_NAMES[change.what]),
        "subject": change.subject,
        "before": _worded(change.before),
        "after": _worded(change.after),
    }


def _worded(value: str) -> str:
    """A fixed word is translated, an instant is said as on every page; names and amounts stay as they are."""
    return wording.fill("{value}", {"value": gettext(value)}, get_language())
