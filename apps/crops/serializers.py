"""Shapes of crops in and out. Dates are farm-local days."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.crops.models import NAME_LENGTH, NOTE_LENGTH
from apps.crops.rules import Bloom, EventKind, Family, Purpose, Seen, StartedAs
from apps.land.serializers import NoteOut

FAMILIES = [(f.value, f.name) for f in Family]
PURPOSES = [(p.value, p.name) for p in Purpose]
STARTS = [(s.value, s.name) for s in StartedAs]
EVENTS = [(e.value, e.name) for e in EventKind]
SEEN = [(s.value, s.name) for s in Seen]
BLOOM = [(b.value, b.name) for b in Bloom]
DAYS_HELP = "Earliest days from sowing seed to an open flower; empty = not stated"


class KnownCropOut(serializers.Serializer):
    code = serializers.CharField()
    name = serializers.CharField()
    family = serializers.ChoiceField(choices=FAMILIES)


class CropEdit(serializers.Serializer):
    name = serializers.CharField(max_length=NAME_LENGTH)
    days_to_first_flower = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=400, help_text=DAYS_HELP
    )


class CropIn(CropEdit):
    code = serializers.CharField(max_length=40, help_text="The site word labels use, like winter_squash")
    family = serializers.CharField(max_length=40, help_text="Present, old or everyday name")


class CropOut(serializers.Serializer):
    id = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    family = serializers.ChoiceField(choices=FAMILIES)
    days_to_first_flower = serializers.IntegerField(allow_null=True)
    version = serializers.IntegerField()


class VarietyIn(serializers.Serializer):
    crop_id = serializers.IntegerField()
    name = serializers.CharField(max_length=NAME_LENGTH)


class VarietyOut(serializers.Serializer):
    id = serializers.IntegerField()
    crop_id = serializers.IntegerField()
    crop_code = serializers.CharField(source="crop.code")
    name = serializers.CharField()


class PlantingEdit(serializers.Serializer):
    crop_id = serializers.IntegerField()
    variety_id = serializers.IntegerField(required=False, allow_null=True)
    purpose = serializers.ChoiceField(choices=PURPOSES)
    started_as = serializers.ChoiceField(choices=STARTS, default=StartedAs.SEED.value)
    planned_on = serializers.DateField(help_text="Planned day of sowing or setting out")
    first_flower_on = serializers.DateField(required=False, allow_null=True, help_text="Earliest day flowers may open")
    terminate_planned_on = serializers.DateField(required=False, allow_null=True)
    harvest_from = serializers.DateField(required=False, allow_null=True)
    harvest_to = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(max_length=NOTE_LENGTH, required=False, allow_blank=True)


class PlantingIn(PlantingEdit):
    block_id = serializers.IntegerField()


class EventIn(serializers.Serializer):
    kind = serializers.ChoiceField(choices=EVENTS)
    on = serializers.DateField(help_text="Farm-local day, today or earlier")
    note = serializers.CharField(max_length=NOTE_LENGTH, required=False, allow_blank=True)


class EventOut(serializers.Serializer):
    id = serializers.IntegerField()
    planting_id = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=EVENTS)
    on = serializers.DateField()
    note = serializers.CharField()
    recorded_at = serializers.DateTimeField()
    recorded_by = serializers.CharField(source="recorded_by.full_name")
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class ReasonIn(serializers.Serializer):
    reason = serializers.CharField(max_length=NOTE_LENGTH)


class PlantingOut(serializers.Serializer):
    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    block_code = serializers.CharField(source="block.code")
    crop_id = serializers.IntegerField()
    crop_code = serializers.CharField(source="crop.code")
    crop_name = serializers.CharField(source="crop.name")
    variety_id = serializers.IntegerField(allow_null=True)
    variety_name = serializers.SerializerMethodField()
    purpose = serializers.ChoiceField(choices=PURPOSES)
    started_as = serializers.ChoiceField(choices=STARTS)
    planned_on = serializers.DateField()
    first_flower_on = serializers.DateField(allow_null=True)
    terminate_planned_on = serializers.DateField(allow_null=True)
    harvest_from = serializers.DateField(allow_null=True)
    harvest_to = serializers.DateField(allow_null=True)
    sown_on = serializers.DateField(allow_null=True)
    terminated_on = serializers.DateField(allow_null=True)
    note = serializers.CharField()
    called_off_at = serializers.DateTimeField(allow_null=True)
    events = EventOut(many=True, help_text="Standing events in order of days")
    version = serializers.IntegerField()

    def get_variety_name(self, row: Any) -> str:
        return row.variety.name if row.variety else ""


class LookIn(serializers.Serializer):
    block_id = serializers.IntegerField()
    planting_id = serializers.IntegerField(required=False, allow_null=True)
    looked_on = serializers.DateField(help_text="Farm-local day, today or earlier")
    crop_in_bloom = serializers.ChoiceField(choices=SEEN, default=Seen.NOT_LOOKED.value)
    weeds_in_bloom = serializers.ChoiceField(choices=SEEN, default=Seen.NOT_LOOKED.value)
    stage = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=99, help_text="Zadoks stage, cereals and grass covers"
    )
    text = serializers.CharField(max_length=NOTE_LENGTH, required=False, allow_blank=True)


class LookOut(serializers.Serializer):
    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    planting_id = serializers.IntegerField(allow_null=True)
    looked_on = serializers.DateField()
    crop_in_bloom = serializers.ChoiceField(choices=SEEN)
    weeds_in_bloom = serializers.ChoiceField(choices=SEEN)
    stage = serializers.IntegerField(allow_null=True)
    text = serializers.CharField()
    recorded_at = serializers.DateTimeField()
    recorded_by = serializers.CharField(source="recorded_by.full_name")
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class NextCropOut(serializers.Serializer):
    site_code = serializers.CharField()
    planted_on = serializers.DateField()
    harvested = serializers.BooleanField()


class StepOut(serializers.Serializer):
    planting_id = serializers.IntegerField()
    crop_name = serializers.CharField()
    variety_name = serializers.CharField()
    purpose = serializers.ChoiceField(choices=PURPOSES)
    starts_on = serializers.DateField()
    sown = serializers.BooleanField(help_text="false: only planned")
    ends_on = serializers.DateField(allow_null=True)
    ended = serializers.BooleanField(help_text="false: only expected")


class CropFactsOut(serializers.Serializer):
    """The crop on a block on a day, and the block's sequence."""

    block_id = serializers.IntegerField()
    on = serializers.DateField()
    site_code = serializers.CharField(allow_null=True, help_text="What a label must list; null on empty ground")
    crop_name = serializers.CharField()
    is_cover = serializers.BooleanField()
    planted_on = serializers.DateField(allow_null=True)
    planted_is_plan = serializers.BooleanField()
    harvest_from = serializers.DateField(allow_null=True)
    harvest_to = serializers.DateField(allow_null=True)
    bloom = serializers.ChoiceField(choices=BLOOM, help_text="unknown counts as bloom")
    bloom_because = NoteOut(many=True)
    stage = serializers.IntegerField(allow_null=True)
    next_crops = NextCropOut(many=True)
    sequence = StepOut(many=True)
