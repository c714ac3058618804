"""Filters of the shed's lists."""

from __future__ import annotations

from typing import Any

import django_filters as filters

from apps.inventory.rules import Move


class LotFilter(filters.FilterSet):
    product = filters.NumberFilter(field_name="product_id")
    left = filters.BooleanFilter(method="with_some", label="Something is left")
    expires_before = filters.DateFilter(field_name="expires_on", lookup_expr="lt")

    def with_some(self, rows: Any, name: str, value: bool) -> Any:
        return rows.filter(on_hand__gt=0) if value else rows.filter(on_hand=0)


class LedgerFilter(filters.FilterSet):
    product = filters.NumberFilter(field_name="product_id")
    lot = filters.NumberFilter(field_name="lot_id")
    kind = filters.ChoiceFilter(choices=[(m.value, m.value) for m in Move])
    source_type = filters.CharFilter()
    source_id = filters.CharFilter()
    since = filters.IsoDateTimeFilter(field_name="at", lookup_expr="gte")
    before = filters.IsoDateTimeFilter(field_name="at", lookup_expr="lt")
