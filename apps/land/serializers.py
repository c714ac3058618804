"""Shapes of the ground in and out. Outlines are GeoJSON (RFC 7946), acres are decimal text."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.land import rules
from apps.land.rules import SensitiveKind
from apps.land.rules.farm_files import CODE_LENGTH, NAME_LENGTH, NOTE_LENGTH
from farmops.problems import finding_json

KINDS = [(k.value, k.name) for k in SensitiveKind]
GEOJSON = {"type": "object", "additionalProperties": True, "description": "GeoJSON (RFC 7946), longitude first"}


@extend_schema_field(GEOJSON)
class GeoJSON(serializers.JSONField):
    """Any JSON value; the rules read it."""


class NoteOut(serializers.Serializer):
    """A finding about what was typed or drawn."""

    code = serializers.CharField()
    severity = serializers.CharField()
    sentence = serializers.CharField()
    template = serializers.CharField()
    numbers = serializers.DictField(child=serializers.CharField())
    source = serializers.CharField()
    field = serializers.CharField()
    subject = serializers.CharField()

    def to_representation(self, instance: Any) -> dict[str, Any]:
        return finding_json(instance)


class FieldIn(serializers.Serializer):
    name = serializers.CharField(max_length=NAME_LENGTH)
    note = serializers.CharField(max_length=NOTE_LENGTH, required=False, allow_blank=True)


class FieldOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    note = serializers.CharField()
    version = serializers.IntegerField()


class BlockIn(serializers.Serializer):
    field_id = serializers.IntegerField()
    name = serializers.CharField(max_length=NAME_LENGTH)
    code = serializers.CharField(max_length=CODE_LENGTH, help_text="Short mark, as painted at the gate")
    polygon = GeoJSON()
    planted_acres = serializers.CharField(
        required=False, allow_null=True, allow_blank=True, help_text="What the grower states; empty = not stated"
    )


class BlockOut(serializers.Serializer):
    id = serializers.IntegerField()
    field_id = serializers.IntegerField()
    field_name = serializers.CharField(source="field.name")
    name = serializers.CharField()
    code = serializers.CharField()
    polygon = GeoJSON()
    mapped_acres = serializers.DecimalField(max_digits=12, decimal_places=6)
    planted_acres = serializers.DecimalField(max_digits=10, decimal_places=4)
    planted_stated = serializers.BooleanField()
    acres_note = serializers.SerializerMethodField()
    archived_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()

    @extend_schema_field(NoteOut(allow_null=True))
    def get_acres_note(self, row: Any) -> dict[str, Any] | None:
        note = rules.acres_differ(row.mapped_acres, row.planted_acres)
        return finding_json(note) if note else None


class BlockSaved(BlockOut):
    """A block just written, with the repairs made to its outline and other notes."""

    notes = NoteOut(many=True)


class PieceIn(serializers.Serializer):
    name = serializers.CharField(max_length=NAME_LENGTH)
    code = serializers.CharField(max_length=CODE_LENGTH)
    polygon = GeoJSON()
    planted_acres = serializers.CharField(required=False, allow_null=True, allow_blank=True)


class SplitIn(serializers.Serializer):
    """Pieces must lie in the block and leave none of it over."""

    pieces = PieceIn(many=True)
    version = serializers.IntegerField(required=False, help_text="The version of the block that was read")


class MergeIn(serializers.Serializer):
    block_ids = serializers.ListField(child=serializers.IntegerField(), max_length=20)
    name = serializers.CharField(max_length=NAME_LENGTH)
    code = serializers.CharField(max_length=CODE_LENGTH)


class ReshapedOut(serializers.Serializer):
    blocks = BlockOut(many=True)


class HistoryShareOut(serializers.Serializer):
    block_id = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    share = serializers.DecimalField(max_digits=9, decimal_places=6, help_text="Of the asked block's ground, 0 to 1")


class GroundHistoryOut(serializers.Serializer):
    """Every block whose records speak of this block's ground, itself first."""

    blocks = HistoryShareOut(many=True)


class NearbyOut(serializers.Serializer):
    kind = serializers.CharField()
    name = serializers.CharField()
    distance_ft = serializers.DecimalField(max_digits=12, decimal_places=1)


class NeighbourOut(serializers.Serializer):
    id = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()


class SurroundingsOut(serializers.Serializer):
    within_ft = serializers.IntegerField()
    neighbours = NeighbourOut(many=True)
    sensitive = NearbyOut(many=True, help_text="Every place entered; an empty list means that none was entered.")


class PlaceIn(serializers.Serializer):
    kind = serializers.ChoiceField(choices=KINDS)
    name = serializers.CharField(max_length=NAME_LENGTH)
    geometry = GeoJSON()
    note = serializers.CharField(max_length=NOTE_LENGTH, required=False, allow_blank=True)


class PlaceOut(serializers.Serializer):
    id = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=KINDS)
    name = serializers.CharField()
    geometry = GeoJSON()
    note = serializers.CharField()
    removed_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()


class PlaceSaved(PlaceOut):
    notes = NoteOut(many=True)


class ImportIn(serializers.Serializer):
    document = GeoJSON(help_text="FeatureCollection; properties: kind, field, name, code, planted_acres")
    only_check = serializers.BooleanField(default=False, help_text="Say what would happen and write nothing")


class ImportOut(serializers.Serializer):
    fields_made = serializers.IntegerField(source="fields")
    blocks = serializers.IntegerField()
    places = serializers.IntegerField()
    notes = NoteOut(many=True)
    only_checked = serializers.BooleanField()
