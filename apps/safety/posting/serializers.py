"""Shapes of notices."""

from __future__ import annotations

from rest_framework import serializers

from apps.safety.rules.notice import Notice

NOTICES = [(n.value, n.name) for n in Notice]


class PostingOut(serializers.Serializer):
    """What an application asks for on a block, and what was done. A printed sheet is no warning sign."""

    id = serializers.IntegerField(source="row.id")
    block_id = serializers.IntegerField(source="row.block_id")
    block = serializers.CharField(source="row.block")
    source = serializers.CharField(source="row.source")
    about = serializers.CharField(source="row.about")
    needs = serializers.ChoiceField(choices=NOTICES, source="row.needs")
    starts_at = serializers.DateTimeField(source="row.starts_at")
    up_not_before = serializers.DateTimeField(source="earliest")
    up_at = serializers.DateTimeField(source="row.up_at", allow_null=True)
    up_by = serializers.CharField(source="row.up_by", allow_null=True)
    down_by_then = serializers.DateTimeField(source="down_by", allow_null=True, help_text="By when it has to be down")
    may_come_down = serializers.BooleanField()
    down_at = serializers.DateTimeField(source="row.down_at", allow_null=True)
    down_by = serializers.CharField(source="row.down_by", allow_null=True)
    told_at = serializers.DateTimeField(source="row.told_at", allow_null=True)
    told_by = serializers.CharField(source="row.told_by", allow_null=True)
    dropped_at = serializers.DateTimeField(source="row.dropped_at", allow_null=True)


class SignsOut(serializers.Serializer):
    signs = PostingOut(many=True)


class SignUpIn(serializers.Serializer):
    up_at = serializers.DateTimeField(required=False, help_text="When it went up; left out: now")
