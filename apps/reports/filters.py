"""Filters of the trail."""

from __future__ import annotations

from datetime import date
from typing import Any

import django_filters as filters

from apps.audit import queries as audit
from apps.reports.period import Period


class AuditFilter(filters.FilterSet):
    """``from`` and ``to`` are days of the farm, both counted in."""

    subject_type = filters.CharFilter()
    subject_id = filters.CharFilter()
    actor = filters.NumberFilter(field_name="actor_id")
    verb = filters.CharFilter()
    address = filters.CharFilter()
    key = filters.CharFilter()
    text = filters.CharFilter(method="with_words", help_text="Words that each stand somewhere in the line")

    def with_words(self, rows: Any, name: str, value: str) -> Any:
        return audit.holding(rows, value)

    def on_days(self, rows: Any, name: str, value: date) -> Any:
        zone = self.request.parser_context["view"].farm.time_zone
        period = Period(first_on=value) if name == "at__from" else Period(last_on=value)
        return period.within(rows, "at", zone)


# Both names are words of the language, so they cannot be written as attributes.
AuditFilter.base_filters["from"] = filters.DateFilter(field_name="at__from", method="on_days")
AuditFilter.base_filters["to"] = filters.DateFilter(field_name="at__to", method="on_days")
