"""Shapes of the central display."""

from __future__ import annotations

from rest_framework import serializers


class DisplayProductOut(serializers.Serializer):
    name = serializers.CharField()
    registration_number = serializers.CharField()
    ingredients = serializers.ListField(child=serializers.CharField())
    hours = serializers.CharField(help_text="Restricted-entry interval; empty when the label row has none")


class DisplayPlaceOut(serializers.Serializer):
    field = serializers.CharField()
    block = serializers.CharField()
    crop = serializers.CharField()
    acres = serializers.CharField()
    part = serializers.CharField()


class DisplayOut(serializers.Serializer):
    """Real times of start and end; ``signed`` false means not confirmed."""

    job_id = serializers.IntegerField(source="job.id")
    job = serializers.CharField()
    products = DisplayProductOut(many=True)
    places = DisplayPlaceOut(many=True)
    started_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    signed = serializers.BooleanField()
    interval_ends_at = serializers.DateTimeField(allow_null=True)
    due_at = serializers.DateTimeField(allow_null=True)
    until_at = serializers.DateTimeField(allow_null=True, help_text="It stays up at least until then")
    keep_until_at = serializers.DateTimeField(allow_null=True)
    change_notice_at = serializers.DateTimeField(allow_null=True)
    put_up_at = serializers.DateTimeField(source="display.put_up_at", allow_null=True, default=None)
    taken_down_at = serializers.DateTimeField(source="display.taken_down_at", allow_null=True, default=None)


class DisplaysOut(serializers.Serializer):
    sheets = DisplayOut(many=True)


class PutUpIn(serializers.Serializer):
    sds_for = serializers.ListField(
        child=serializers.IntegerField(), help_text="Products whose safety data sheet hangs beside it"
    )
