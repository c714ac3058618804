"""What lists of the ground can be narrowed by."""

from __future__ import annotations

import django_filters as filters

from apps.land.models import Block, SensitivePlace
from apps.land.rules import SensitiveKind


class BlockFilters(filters.FilterSet):
    field = filters.NumberFilter(field_name="field_id")
    code = filters.CharFilter(lookup_expr="iexact")
    archived = filters.BooleanFilter(field_name="archived_at", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Block
        fields: list[str] = []


class PlaceFilters(filters.FilterSet):
    kind = filters.ChoiceFilter(choices=[(k.value, k.value) for k in SensitiveKind])

    class Meta:
        model = SensitivePlace
        fields: list[str] = []
