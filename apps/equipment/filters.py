"""What lists of sprayers and calibrations can be narrowed by."""

from __future__ import annotations

import django_filters as filters

from apps.equipment.models import Calibration, Sprayer


class SprayerFilters(filters.FilterSet):
    retired = filters.BooleanFilter(field_name="retired_at", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Sprayer
        fields: list[str] = []


class CalibrationFilters(filters.FilterSet):
    sprayer = filters.NumberFilter(field_name="sprayer_id")
    void = filters.BooleanFilter(field_name="void_on", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Calibration
        fields: list[str] = []
