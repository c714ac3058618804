"""What lists of crops and plantings can be narrowed by."""

from __future__ import annotations

import django_filters as filters

from apps.crops.models import Crop, Planting, ScoutCount, ScoutingNote, Variety
from apps.crops.rules import Family, Purpose, Verdict


class CropFilters(filters.FilterSet):
    code = filters.CharFilter()
    family = filters.ChoiceFilter(choices=[(f.value, f.value) for f in Family])

    class Meta:
        model = Crop
        fields: list[str] = []


class VarietyFilters(filters.FilterSet):
    crop = filters.NumberFilter(field_name="crop_id")

    class Meta:
        model = Variety
        fields: list[str] = []


class PlantingFilters(filters.FilterSet):
    block = filters.NumberFilter(field_name="block_id")
    crop = filters.NumberFilter(field_name="crop_id")
    purpose = filters.ChoiceFilter(choices=[(p.value, p.value) for p in Purpose])
    planned_from = filters.DateFilter(field_name="planned_on", lookup_expr="gte")
    planned_to = filters.DateFilter(field_name="planned_on", lookup_expr="lte")
    sown = filters.BooleanFilter(field_name="sown_on", lookup_expr="isnull", exclude=True)
    terminated = filters.BooleanFilter(field_name="terminated_on", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Planting
        fields: list[str] = []


class NoteFilters(filters.FilterSet):
    block = filters.NumberFilter(field_name="block_id")
    planting = filters.NumberFilter(field_name="planting_id")
    looked_from = filters.DateFilter(field_name="looked_on", lookup_expr="gte")

    class Meta:
        model = ScoutingNote
        fields: list[str] = []


class CountFilters(filters.FilterSet):
    block = filters.NumberFilter(field_name="block_id")
    planting = filters.NumberFilter(field_name="planting_id")
    threshold = filters.CharFilter(field_name="threshold_code")
    pest = filters.CharFilter()
    verdict = filters.ChoiceFilter(choices=[(v.value, v.name) for v in Verdict])
    looked_from = filters.DateFilter(field_name="looked_on", lookup_expr="gte")

    class Meta:
        model = ScoutCount
        fields: list[str] = []
