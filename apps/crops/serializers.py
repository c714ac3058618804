"""Shapes of crops in and out. Dates are farm-local days."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.crops.models import NAME_LENGTH, NOTE_LENGTH
from apps.crops.rules import (
    Bloom,
    EventKind,
    Family,
    Measure,
    Purpose,
    Seen,
    StartedAs,
    Surety,
    Unit,
    Verdict,
)
from apps.crops.rules.counting import plain
from apps.land.serializers import NoteOut

FAMILIES = [(f.value, f.name) for f in Family]
PURPOSES = [(p.value, p.name) for p in Purpose]
STARTS = [(s.value, s.name) for s in StartedAs]
EVENTS = [(e.value, e.name) for e in EventKind]
SEEN = [(s.value, s.name) for s in Seen]
BLOOM = [(b.value, b.name) for b in Bloom]
MEASURES = [(m.value, m.name) for m in Measure]
LOOKED_AT = [(u.value, u.name) for u in Unit]
SURETIES = [(s.value, s.name) for s in Surety]
VERDICTS = [(v.value, v.name) for v in Verdict]
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
    stage_code = serializers.CharField(
        required=False, allow_blank=True, max_length=24, help_text="Stage by name, such as first_flower, or BBCH as b61"
    )
    height_in = serializers.DecimalField(
        required=False, allow_null=True, max_digits=5, decimal_places=1, min_value=0, help_text="Crop height, inches"
    )
    all_mature = serializers.ChoiceField(choices=SEEN, default=Seen.NOT_LOOKED.value, help_text="All fruit is ripe")
    text = serializers.CharField(max_length=NOTE_LENGTH, required=False, allow_blank=True)


class LookOut(serializers.Serializer):
    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    planting_id = serializers.IntegerField(allow_null=True)
    looked_on = serializers.DateField()
    crop_in_bloom = serializers.ChoiceField(choices=SEEN)
    weeds_in_bloom = serializers.ChoiceField(choices=SEEN)
    stage = serializers.IntegerField(allow_null=True)
    stage_code = serializers.CharField()
    height_in = serializers.DecimalField(max_digits=5, decimal_places=1, allow_null=True)
    all_mature = serializers.ChoiceField(choices=SEEN)
    text = serializers.CharField()
    recorded_at = serializers.DateTimeField()
    recorded_by = serializers.CharField(source="recorded_by.full_name")
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class ThresholdEdit(serializers.Serializer):
    """When to act on a pest. Advice: it proposes and never blocks."""

    name = serializers.CharField(max_length=NAME_LENGTH)
    pest = serializers.CharField(max_length=40, help_text="The target word labels and jobs use, like powdery_mildew")
    measure = serializers.ChoiceField(choices=MEASURES)
    unit = serializers.ChoiceField(choices=LOOKED_AT)
    treat_at = serializers.DecimalField(max_digits=7, decimal_places=2, help_text="Act from this value on")
    sample_min = serializers.IntegerField(min_value=1, max_value=10000, help_text="Units that make a sample")
    places_min = serializers.IntegerField(min_value=1, max_value=40, default=1)
    places = serializers.IntegerField(min_value=1, max_value=40, help_text="Stops of the walk that is proposed")
    per_place = serializers.IntegerField(min_value=1, max_value=1000)
    crops = serializers.ListField(child=serializers.CharField(max_length=40), required=False, max_length=30)
    when = serializers.CharField(max_length=NAME_LENGTH, required=False, allow_blank=True)
    walk = serializers.CharField(max_length=NOTE_LENGTH, required=False, allow_blank=True)
    source = serializers.CharField(max_length=200, help_text="Whose word this is")
    surety = serializers.ChoiceField(choices=SURETIES, required=False)
    hold_days = serializers.IntegerField(
        min_value=1, max_value=60, required=False, allow_null=True, help_text="Days after emergence the alert waits"
    )
    active = serializers.BooleanField(required=False)


class ThresholdIn(ThresholdEdit):
    code = serializers.CharField(max_length=40)


class ThresholdOut(serializers.Serializer):
    """A threshold as the farm has it; ``version`` 0 = as it came with the book."""

    code = serializers.CharField()
    name = serializers.CharField(source="rule.name")
    pest = serializers.CharField(source="rule.pest")
    measure = serializers.ChoiceField(choices=MEASURES, source="rule.measure")
    unit = serializers.ChoiceField(choices=LOOKED_AT, source="rule.unit")
    treat_at = serializers.DecimalField(max_digits=7, decimal_places=2, source="rule.treat_at")
    sample_min = serializers.IntegerField(source="rule.sample_min")
    places_min = serializers.IntegerField(source="rule.places_min")
    places = serializers.IntegerField(source="rule.places")
    per_place = serializers.IntegerField(source="rule.per_place")
    crops = serializers.ListField(child=serializers.CharField(), source="rule.crops")
    when = serializers.CharField(source="rule.when")
    walk = serializers.CharField(source="rule.walk")
    source = serializers.CharField(source="rule.source")
    surety = serializers.ChoiceField(choices=SURETIES, source="rule.surety")
    hold_days = serializers.IntegerField(source="rule.hold_days", allow_null=True)
    active = serializers.BooleanField()
    version = serializers.IntegerField()


class CountedPlaceIn(serializers.Serializer):
    examined = serializers.IntegerField(min_value=1, max_value=10000)
    found = serializers.IntegerField(min_value=0, max_value=10000)


class ScoutCountIn(serializers.Serializer):
    block_id = serializers.IntegerField()
    threshold = serializers.CharField(max_length=40, source="threshold_code", help_text="Code of the threshold")
    looked_on = serializers.DateField(help_text="Farm-local day, today or earlier")
    places = CountedPlaceIn(many=True, max_length=40, help_text="One for each stop of the walk")
    nights = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=60, help_text="For traps: how many nights they hung"
    )
    planting_id = serializers.IntegerField(required=False, allow_null=True)
    text = serializers.CharField(max_length=NOTE_LENGTH, required=False, allow_blank=True)


class ScoutCountOut(serializers.Serializer):
    """A count and what it says by the threshold as it was then."""

    id = serializers.IntegerField(source="row.id")
    block_id = serializers.IntegerField(source="row.block_id")
    planting_id = serializers.IntegerField(source="row.planting_id", allow_null=True)
    threshold = serializers.CharField(source="row.threshold_code")
    pest = serializers.CharField(source="row.pest")
    looked_on = serializers.DateField(source="row.looked_on")
    verdict = serializers.ChoiceField(choices=VERDICTS, source="row.verdict", help_text="insufficient is not clean")
    examined = serializers.IntegerField(source="answer.examined")
    found = serializers.IntegerField(source="answer.found")
    value = serializers.SerializerMethodField(help_text="What is held against treat_at; null = cannot be said")
    treat_at = serializers.CharField(source="row.rule.treat_at")
    missing_units = serializers.IntegerField(source="answer.missing_units", help_text="Still to look at for a sample")
    missing_places = serializers.IntegerField(source="answer.missing_places")
    because = NoteOut(source="answer.because")
    places = serializers.SerializerMethodField()
    nights = serializers.IntegerField(source="row.nights", allow_null=True)
    text = serializers.CharField(source="row.text")
    recorded_at = serializers.DateTimeField(source="row.recorded_at")
    recorded_by = serializers.CharField(source="row.recorded_by.full_name")
    withdrawn_at = serializers.DateTimeField(source="row.withdrawn_at", allow_null=True)

    def get_value(self, shown: Any) -> str | None:
        return None if shown.answer.value is None else plain(shown.answer.value)

    @extend_schema_field(CountedPlaceIn(many=True))
    def get_places(self, shown: Any) -> list[dict[str, int]]:
        return [{"examined": examined, "found": found} for examined, found in shown.row.spots]


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
