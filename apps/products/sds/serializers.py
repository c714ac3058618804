"""Shapes of safety data sheets."""

from __future__ import annotations

from rest_framework import serializers

from farmops.uploads import MEDIA


class SheetIn(serializers.Serializer):
    sheet_on = serializers.DateField(help_text="The date printed on the sheet")
    hangs_at = serializers.CharField(required=False, allow_blank=True, max_length=200, help_text="Where it hangs")
    file = serializers.FileField(
        required=False, allow_empty_file=True, help_text="JPEG, PNG or PDF of at most 4 MB; or say where it hangs"
    )


class SheetRemoveIn(serializers.Serializer):
    because = serializers.CharField(max_length=200)


class SheetOut(serializers.Serializer):
    """A sheet on file; ``media`` empty = no file, it hangs where it says."""

    id = serializers.IntegerField()
    product_id = serializers.IntegerField()
    product = serializers.CharField(source="product.name")
    sheet_on = serializers.DateField()
    hangs_at = serializers.CharField()
    media = serializers.ChoiceField(choices=["", *MEDIA])
    size = serializers.IntegerField()
    sha256 = serializers.CharField()
    recorded_at = serializers.DateTimeField()
    recorded_by = serializers.CharField(source="recorded_by.full_name")
    removed_at = serializers.DateTimeField(allow_null=True)
