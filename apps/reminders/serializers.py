"""Shapes of notices and of the sweep's health."""

from __future__ import annotations

from django.utils.translation import get_language
from rest_framework import serializers

from apps.reminders import letters, rules
from apps.reminders.models import Notice


class NoticeOut(serializers.Serializer):
    id = serializers.IntegerField()
    kind = serializers.CharField()
    level = serializers.SerializerMethodField()
    urgent = serializers.BooleanField()
    subject_type = serializers.CharField()
    subject_id = serializers.CharField()
    occasion = serializers.CharField()
    sentence = serializers.SerializerMethodField()
    template = serializers.CharField()
    numbers = serializers.DictField(help_text='Text, or {"words": "a phrase of the catalogue"}.')
    path = serializers.CharField()
    created_at = serializers.DateTimeField()
    seen_at = serializers.DateTimeField(allow_null=True)

    def get_level(self, row: Notice) -> str:
        return rules.level_of(row.kind, urgent=row.urgent).value

    def get_sentence(self, row: Notice) -> str:
        return letters.said(row, get_language() or "en")


class NoticesSeenIn(serializers.Serializer):
    up_to = serializers.IntegerField(
        min_value=1, max_value=2**63 - 1, help_text="The newest notice read; those after it stay new."
    )


class NoticesSeenOut(serializers.Serializer):
    seen = serializers.IntegerField()


class SweepFaultOut(serializers.Serializer):
    source = serializers.CharField()
    first_at = serializers.DateTimeField()
    last_at = serializers.DateTimeField()
    times = serializers.IntegerField()
    error = serializers.CharField()


class SweepHealthOut(serializers.Serializer):
    runs_by = serializers.ChoiceField(choices=["celery", "ticker"])
    last_started_at = serializers.DateTimeField(allow_null=True)
    last_finished_at = serializers.DateTimeField(allow_null=True)
    lag_seconds = serializers.IntegerField(allow_null=True)
    late = serializers.BooleanField()
    made = serializers.IntegerField(help_text="Notices made by the last sweep, on all farms.")
    sent = serializers.IntegerField(help_text="E-mails sent by the last sweep.")
    failed = serializers.IntegerField(help_text="E-mails that failed in the last sweep and are tried again.")
    error = serializers.CharField(help_text="What kept the last sweep from its work, empty if nothing did.")
    backlog = serializers.IntegerField(help_text="This farm's e-mails that are due and not sent.")
    oldest_waiting_at = serializers.DateTimeField(allow_null=True)
    given_up = serializers.IntegerField(help_text="This farm's e-mails given up after too many tries.")
    faults = SweepFaultOut(many=True)
