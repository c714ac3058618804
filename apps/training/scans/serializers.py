"""Shapes of scans."""

from __future__ import annotations

from rest_framework import serializers

from farmops.uploads import MEDIA


class ScanIn(serializers.Serializer):
    scan = serializers.FileField(allow_empty_file=True, help_text="JPEG, PNG or PDF of at most 4 MB")
    signed = serializers.BooleanField(required=False, default=False, help_text="The card carries its signatures")


class ScanOut(serializers.Serializer):
    id = serializers.IntegerField()
    certificate_id = serializers.IntegerField()
    media = serializers.ChoiceField(choices=list(MEDIA))
    size = serializers.IntegerField()
    sha256 = serializers.CharField()
    uploaded_at = serializers.DateTimeField()
    uploaded_by = serializers.CharField(source="uploaded_by.full_name")
    removed_at = serializers.DateTimeField(allow_null=True)
    removed_because = serializers.CharField()


class ScanRemoveIn(serializers.Serializer):
    because = serializers.CharField(max_length=200)
