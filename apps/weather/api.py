"""API doors of the weather."""

from __future__ import annotations

from datetime import date
from typing import Any

import django_filters as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.weather import queries, services
from apps.weather import serializers as shapes
from apps.weather.models import SOURCES, Rainfall, Reading
from farmops.errors import BadInput, gettext_noop
from farmops.web import FarmAPI, FarmList

NOT_A_DAY = gettext_noop("Must be a day such as 2026-06-01.")


class ReadingFilters(filters.FilterSet):
    block = filters.NumberFilter(field_name="block_id")
    source = filters.ChoiceFilter(choices=[(s, s) for s in SOURCES])
    since = filters.IsoDateTimeFilter(field_name="taken_at", lookup_expr="gte")
    until = filters.IsoDateTimeFilter(field_name="taken_at", lookup_expr="lt")

    class Meta:
        model = Reading
        fields: list[str] = []


class WeatherReadings(FarmList):
    """Readings, newest entry first, each with its Delta-T and inversion risk."""

    needs = {"GET": Can.READ_FARM, "POST": Can.SCOUT}
    serializer_class = shapes.ReadingOut
    queryset = Reading.rows.none()
    filterset_class = ReadingFilters

    def rows(self) -> Any:
        return queries.readings(self.farm)

    def paginate_queryset(self, queryset: Any) -> list[queries.Judged]:
        return [queries.judge(self.farm, row) for row in super().paginate_queryset(queryset)]

    @extend_schema(request=shapes.ReadingIn, responses={201: shapes.ReadingOut}, operation_id="record_reading")
    def post(self, request: Request, farm: str) -> Response:
        row = services.record_reading(member=self.member, now=self.now, **self.read(shapes.ReadingIn))
        shown = queries.judge(self.farm, queries.reading(self.farm, row.pk))
        return self.show(shapes.ReadingOut, shown, status=201)


class OneReading(FarmAPI):
    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.ReadingOut, operation_id="read_reading")
    def get(self, request: Request, farm: str, reading: int) -> Response:
        return self.show(shapes.ReadingOut, queries.judge(self.farm, queries.reading(self.farm, reading)))


class RainfallFilters(filters.FilterSet):
    block = filters.NumberFilter(field_name="block_id")
    since = filters.IsoDateTimeFilter(field_name="until_at", lookup_expr="gt")
    until = filters.IsoDateTimeFilter(field_name="from_at", lookup_expr="lt")

    class Meta:
        model = Rainfall
        fields: list[str] = []


class RainReadings(FarmList):
    """What the rain gauges caught, newest entry first."""

    needs = {"GET": Can.READ_FARM, "POST": Can.SCOUT}
    serializer_class = shapes.RainfallOut
    queryset = Rainfall.rows.none()
    filterset_class = RainfallFilters

    def rows(self) -> Any:
        return queries.rainfall(self.farm).order_by("-id")

    @extend_schema(request=shapes.RainfallIn, responses={201: shapes.RainfallOut}, operation_id="record_rainfall")
    def post(self, request: Request, farm: str) -> Response:
        row = services.record_rainfall(member=self.member, now=self.now, **self.read(shapes.RainfallIn))
        return self.show(shapes.RainfallOut, queries.one_rainfall(self.farm, row.pk), status=201)


class WithdrawRainReading(FarmAPI):
    """One's own reading, or any by a manager."""

    needs = {"POST": Can.SCOUT}

    @extend_schema(request=shapes.RainReasonIn, responses=shapes.RainfallOut, operation_id="withdraw_rainfall")
    def post(self, request: Request, farm: str, rainfall: int) -> Response:
        row = services.withdraw_rainfall(
            member=self.member, rainfall_id=rainfall, now=self.now, **self.read(shapes.RainReasonIn)
        )
        return self.show(shapes.RainfallOut, row)


class Sun(FarmAPI):
    needs = {"GET": Can.READ_FARM}

    @extend_schema(
        responses=shapes.SunOut,
        operation_id="read_sun",
        parameters=[OpenApiParameter("on", OpenApiTypes.DATE, description="A farm-local day; today if left out")],
    )
    def get(self, request: Request, farm: str) -> Response:
        """Sunrise, sunset and dusk over the farm."""
        on_date = asked_day(request.query_params.get("on", "")) or queries.today(self.farm, self.now)
        return self.show(shapes.SunOut, {"on": on_date, "times": queries.sun(self.farm, on_date)})


def asked_day(text: str) -> date | None:
    """The day in the address, within the years the reckoning is good for."""
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise BadInput({"on": NOT_A_DAY}) from None
    if not 1950 <= day.year <= 2100:
        raise BadInput({"on": gettext_noop("Must be between 1950 and 2100.")})
    return day
