"""Shapes of the trail going out."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.audit import wording
from apps.audit.models import AuditEvent


@extend_schema_field({"type": "object", "additionalProperties": True})
class Changes(serializers.Field):
    """The columns that changed, as they were or became."""

    def to_representation(self, value: object) -> object:
        return value


class AuditOut(serializers.Serializer):
    """One change: who did what to which thing, and what stood before and after."""

    id = serializers.IntegerField()
    at = serializers.DateTimeField()
    actor_id = serializers.IntegerField(allow_null=True)
    actor_name = serializers.CharField()
    verb = serializers.CharField()
    subject_type = serializers.CharField()
    subject_id = serializers.CharField()
    subject_name = serializers.CharField()
    sentence = serializers.SerializerMethodField(help_text="The line in words, in the reader's language")
    door = serializers.CharField(help_text="Method and path it came by; empty outside of a request")
    address = serializers.CharField(help_text="Where on the network it came from; empty if not known")
    key = serializers.CharField(help_text="Open half of the key a program used; empty for a person's log-in")
    before = Changes()
    after = Changes()

    def get_sentence(self, row: AuditEvent) -> str:
        return wording.sentence(who=row.actor_name, verb=row.verb, what=row.subject_name)
