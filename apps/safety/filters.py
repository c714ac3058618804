"""What the list of a block's closures can be narrowed by."""

from __future__ import annotations

import django_filters as filters

from apps.safety.models import Closure
from apps.safety.rules import Kind


class ClosureFilters(filters.FilterSet):
    kind = filters.ChoiceFilter(choices=[(k.value, k.name) for k in Kind])
    source = filters.CharFilter()
    hanging = filters.BooleanFilter(field_name="lifted_at", lookup_expr="isnull")

    class Meta:
        model = Closure
        fields: list[str] = []
