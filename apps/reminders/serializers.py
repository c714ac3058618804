"""Shapes of notices, of what people wish to hear, of other programs' targets, and of the sweep's health."""

from __future__ import annotations

from django.utils.translation import get_language
from rest_framework import serializers

from apps.reminders import letters, rules
from apps.reminders.models import Notice
from apps.reminders.rules.timing import Mode


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
    starts_at = serializers.DateTimeField(allow_null=True, help_text="When it happens, where that is known.")
    ends_at = serializers.DateTimeField(allow_null=True)
    rung = serializers.IntegerField(help_text="0 told first; 1, 2: those before did not acknowledge it in time.")
    created_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField(allow_null=True)
    seen_at = serializers.DateTimeField(allow_null=True, help_text="When it was seen; of an urgent one, acknowledged.")

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


class NoticeWishesIn(serializers.Serializer):
    quiet_from = serializers.TimeField(help_text="Farm time. The same hour twice: no quiet hours.")
    quiet_to = serializers.TimeField()
    digest_at = serializers.TimeField(help_text="Farm time of the morning e-mail.")
    email = serializers.DictField(
        child=serializers.ChoiceField(choices=[m.value for m in Mode]),
        help_text="Kind of notice to mode. A kind that is not named comes as is usual for its weight.",
    )
    not_in_calendar = serializers.ListField(child=serializers.CharField(max_length=40), max_length=200)


class NoticeWishesOut(NoticeWishesIn):
    pass


class CalendarOut(serializers.Serializer):
    address = serializers.CharField(help_text="Shown this once. Whoever holds it can read the calendar.")


class WebhookIn(serializers.Serializer):
    url = serializers.CharField(max_length=500)
    kinds = serializers.ListField(child=serializers.CharField(max_length=40), max_length=200, default=list)


class WebhookSwitchIn(serializers.Serializer):
    on = serializers.BooleanField()


class WebhookOut(serializers.Serializer):
    id = serializers.IntegerField()
    url = serializers.CharField()
    kinds = serializers.ListField(child=serializers.CharField(), help_text="Empty: every kind.")
    created_at = serializers.DateTimeField()
    off_at = serializers.DateTimeField(allow_null=True)
    off_because = serializers.CharField()
    last_ok_at = serializers.DateTimeField(allow_null=True)
    failing_since = serializers.DateTimeField(allow_null=True)
    failures = serializers.IntegerField()
    last_error = serializers.CharField()


class WebhookSecretOut(WebhookOut):
    secret = serializers.CharField(help_text="whsec_ and base64, shown this once.")


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
    sent = serializers.IntegerField(help_text="E-mails and calls that went out in the last sweep.")
    failed = serializers.IntegerField(help_text="E-mails and calls that failed in the last sweep and are tried again.")
    error = serializers.CharField(help_text="What kept the last sweep from its work, empty if nothing did.")
    backlog = serializers.IntegerField(help_text="This farm's e-mails that are due and not sent.")
    oldest_waiting_at = serializers.DateTimeField(allow_null=True)
    given_up = serializers.IntegerField(help_text="This farm's e-mails given up after too many tries.")
    calls_waiting = serializers.IntegerField(help_text="This farm's calls to other programs that are due.")
    calls_given_up = serializers.IntegerField()
    faults = SweepFaultOut(many=True)
