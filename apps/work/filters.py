"""What lists of tasks may be narrowed by."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet

from apps.safety.rules import Activity
from apps.work.models import Task
from apps.work.rules import State


class TaskFilter(django_filters.FilterSet):
    mine = django_filters.BooleanFilter(method="own", label="Only the caller's own (or, false, everybody else's)")
    state = django_filters.ChoiceFilter(choices=[(s.value, s.value) for s in State])
    activity = django_filters.ChoiceFilter(choices=[(a.value, a.value) for a in Activity])
    is_harvest = django_filters.BooleanFilter()
    block_id = django_filters.NumberFilter()
    assigned_to_id = django_filters.NumberFilter()
    starts_from = django_filters.IsoDateTimeFilter(field_name="starts_at", lookup_expr="gte")
    starts_before = django_filters.IsoDateTimeFilter(field_name="starts_at", lookup_expr="lt")

    class Meta:
        model = Task
        fields: list[str] = []

    def own(self, found: QuerySet[Task], name: str, value: bool) -> QuerySet[Task]:
        mine: dict[str, Any] = {"assigned_to_id": self.request.user.pk}
        return found.filter(**mine) if value else found.exclude(**mine)
