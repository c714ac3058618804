"""Shapes of the trail going out."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers


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
    before = Changes()
    after = Changes()
