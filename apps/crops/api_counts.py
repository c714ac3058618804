"""API doors of scouting counts and thresholds."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.crops import counts, filters, services
from apps.crops import serializers as shapes
from apps.crops.models import ScoutCount
from apps.people.rules import Can
from farmops.web import FarmAPI, FarmList


class ScoutCounts(FarmList):
    """Counts, newest first, each with what it says."""

    needs = {"GET": Can.READ_FARM, "POST": Can.SCOUT}
    serializer_class = shapes.ScoutCountOut
    queryset = ScoutCount.rows.none()
    filterset_class = filters.CountFilters

    def rows(self) -> Any:
        return counts.counts(self.farm).order_by("-id")

    def paginate_queryset(self, queryset: Any) -> list[counts.Judged]:
        return [counts.judged(row) for row in super().paginate_queryset(queryset)]

    @extend_schema(request=shapes.ScoutCountIn, responses={201: shapes.ScoutCountOut}, operation_id="record_count")
    def post(self, request: Request, farm: str) -> Response:
        row = services.record_count(member=self.member, now=self.now, **self.read(shapes.ScoutCountIn))
        return self.show(shapes.ScoutCountOut, counts.judged(counts.count(self.farm, row.pk)), status=201)


class OneScoutCount(FarmAPI):
    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.ScoutCountOut, operation_id="read_count")
    def get(self, request: Request, farm: str, count: int) -> Response:
        return self.show(shapes.ScoutCountOut, counts.judged(counts.count(self.farm, count)))


class WithdrawScoutCount(FarmAPI):
    """One's own count, or any count by a manager."""

    needs = {"POST": Can.SCOUT}

    @extend_schema(request=shapes.ReasonIn, responses=shapes.ScoutCountOut, operation_id="withdraw_count")
    def post(self, request: Request, farm: str, count: int) -> Response:
        row = services.withdraw_count(member=self.member, count_id=count, now=self.now, **self.read(shapes.ReasonIn))
        return self.show(shapes.ScoutCountOut, counts.judged(row))


class Thresholds(FarmAPI):
    """Every threshold of the farm: those that came with the book, changed or not, and its own."""

    needs = {"GET": Can.READ_FARM, "POST": Can.EDIT_CROPS}

    @extend_schema(responses=shapes.ThresholdOut(many=True), operation_id="list_thresholds")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.ThresholdOut, list(counts.thresholds(self.farm).values()), many=True)

    @extend_schema(request=shapes.ThresholdIn, responses={201: shapes.ThresholdOut}, operation_id="add_threshold")
    def post(self, request: Request, farm: str) -> Response:
        typed = self.read(shapes.ThresholdIn)
        row = services.set_threshold(
            member=self.member, code=typed.pop("code"), expected_version=0, changes=typed, now=self.now
        )
        return self.show(shapes.ThresholdOut, counts.threshold(self.farm, row.code), status=201)


class OneThreshold(FarmAPI):
    needs = {"GET": Can.READ_FARM, "PATCH": Can.EDIT_CROPS}

    @extend_schema(responses=shapes.ThresholdOut, operation_id="read_threshold")
    def get(self, request: Request, farm: str, threshold: str) -> Response:
        return self.show(shapes.ThresholdOut, counts.threshold(self.farm, threshold))

    @extend_schema(request=shapes.ThresholdEdit, responses=shapes.ThresholdOut, operation_id="edit_threshold")
    def patch(self, request: Request, farm: str, threshold: str) -> Response:
        counts.threshold(self.farm, threshold)
        services.set_threshold(
            member=self.member,
            code=threshold,
            expected_version=self.expected_version(),
            changes=self.read(shapes.ThresholdEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.ThresholdOut, counts.threshold(self.farm, threshold))
