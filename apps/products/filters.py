"""Filters of the label library's lists."""

from __future__ import annotations

from typing import Any

import django_filters as filters

from apps.products.rules import Kind


class ProductFilter(filters.FilterSet):
    name = filters.CharFilter(lookup_expr="icontains", label="Part of the name")
    kind = filters.ChoiceFilter(choices=[(k.value, k.value) for k in Kind])
    is_demo = filters.BooleanFilter()
    retired = filters.BooleanFilter(field_name="retired_at", lookup_expr="isnull", exclude=True)
    has_label = filters.BooleanFilter(method="with_label", label="A checked label is in force today")

    def with_label(self, rows: Any, name: str, value: bool) -> Any:
        return rows.filter(label_in_force_id__isnull=not value)


class LabelFilter(filters.FilterSet):
    checked = filters.BooleanFilter(field_name="checked_at", lookup_expr="isnull", exclude=True)
    withdrawn = filters.BooleanFilter(field_name="withdrawn_at", lookup_expr="isnull", exclude=True)
