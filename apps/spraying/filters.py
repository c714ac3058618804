"""What lists of jobs and records may be narrowed by."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import Q, QuerySet

from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.states import JobState


class JobFilter(django_filters.FilterSet):
    state = django_filters.MultipleChoiceFilter(choices=[(s.value, s.name) for s in JobState])
    block_id = django_filters.NumberFilter(field_name="job_blocks__block_id")
    product_id = django_filters.NumberFilter(field_name="job_products__product_id")
    applicator_id = django_filters.NumberFilter()
    number = django_filters.NumberFilter()
    mine = django_filters.BooleanFilter(method="own", label="Only jobs that name the caller (or, false, the others)")
    window_from = django_filters.IsoDateTimeFilter(field_name="window_ends_at", lookup_expr="gt")
    window_before = django_filters.IsoDateTimeFilter(field_name="window_starts_at", lookup_expr="lt")

    class Meta:
        model = Job
        fields: list[str] = []

    def own(self, found: QuerySet[Job], name: str, value: bool) -> QuerySet[Job]:
        me: Any = self.request.user.pk
        mine = Q(applicator_id=me) | Q(supervisor_id=me)
        return found.filter(mine) if value else found.exclude(mine)


class RecordFilter(django_filters.FilterSet):
    meaning = django_filters.ChoiceFilter(choices=[(m.value, m.name) for m in Meaning])
    job_id = django_filters.NumberFilter()
    block_id = django_filters.NumberFilter(field_name="job__job_blocks__block_id")
    signed_by_id = django_filters.NumberFilter()
    signed_from = django_filters.IsoDateTimeFilter(field_name="signed_at", lookup_expr="gte")
    signed_before = django_filters.IsoDateTimeFilter(field_name="signed_at", lookup_expr="lt")

    class Meta:
        model = SprayRecord
        fields: list[str] = []
