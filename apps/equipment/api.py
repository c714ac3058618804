"""API doors of sprayers, calibrations and calculators."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.equipment import calculators, queries, services
from apps.equipment import serializers as shapes
from apps.equipment.filters import CalibrationFilters, SprayerFilters
from apps.equipment.models import Calibration, Sprayer
from apps.equipment.rules.measuring import Readings
from apps.people.rules import Can
from farmops.web import FarmAPI, FarmList

CONDITIONS = ("gear", "ground", "liquid", "note")


def readings(asked: dict[str, Any]) -> Readings:
    """The readings among what was sent."""
    return Readings(
        catches=tuple(asked["catches"]),
        catch_unit=asked["catch_unit"],
        seconds=asked["seconds"],
        course_ft=asked["course_ft"],
        run_seconds=tuple(asked["run_seconds"]),
        pressure_psi=asked["pressure_psi"],
        wanted_gpa=asked.get("wanted_gpa"),
        gauge_psi=asked.get("gauge_psi"),
    )


class Sprayers(FarmList):
    """Sprayers, each with the calibration that counts today."""

    needs = {"GET": Can.READ_JOBS, "POST": Can.EDIT_SPRAYERS}
    serializer_class = shapes.SprayerOut
    queryset = Sprayer.rows.none()
    filterset_class = SprayerFilters

    def rows(self) -> Any:
        return Sprayer.objects.for_farm(self.farm).select_related("farm")

    def paginate_queryset(self, queryset: Any) -> list[queries.Standing]:
        """The page of sprayers, each beside its facts of today."""
        page = super().paginate_queryset(queryset)
        on_date = queries.today(self.farm, self.now)
        facts = queries.facts_of(page, on_date)
        return [queries.standing_from(row, facts[row.pk], on_date) for row in page]

    @extend_schema(request=shapes.SprayerEdit, responses={201: shapes.SprayerOut}, operation_id="add_sprayer")
    def post(self, request: Request, farm: str) -> Response:
        row = services.add_sprayer(member=self.member, now=self.now, **self.read(shapes.SprayerEdit))
        shown = queries.standing(row, queries.today(self.farm, self.now))
        return self.show(shapes.SprayerOut, shown, status=201)


class SprayerAPI(FarmAPI):
    """Shared by the operations on one sprayer."""

    def shown(self, row: Sprayer) -> Response:
        return self.show(shapes.SprayerOut, queries.standing(row, queries.today(self.farm, self.now)))


class OneSprayer(SprayerAPI):
    needs = {"GET": Can.READ_JOBS, "PATCH": Can.EDIT_SPRAYERS}

    @extend_schema(responses=shapes.SprayerOut, operation_id="read_sprayer")
    def get(self, request: Request, farm: str, sprayer: int) -> Response:
        return self.shown(queries.sprayer(self.farm, sprayer))

    @extend_schema(request=shapes.SprayerEdit, responses=shapes.SprayerOut, operation_id="edit_sprayer")
    def patch(self, request: Request, farm: str, sprayer: int) -> Response:
        """Other nozzles, spacing or swath void the calibration from today on."""
        row = services.edit_sprayer(
            member=self.member,
            sprayer_id=sprayer,
            expected_version=self.expected_version(),
            changes=self.read(shapes.SprayerEdit, partial=True),
            now=self.now,
        )
        return self.shown(row)


class ChangeNozzles(SprayerAPI):
    needs = {"POST": Can.EDIT_SPRAYERS}

    @extend_schema(request=shapes.NozzlesChangedIn, responses=shapes.SprayerOut, operation_id="change_nozzles")
    def post(self, request: Request, farm: str, sprayer: int) -> Response:
        """New nozzles of the same kind: the calibration is void from that day on."""
        asked = self.read(shapes.NozzlesChangedIn)
        row = services.change_nozzles(
            member=self.member,
            sprayer_id=sprayer,
            expected_version=asked["version"],
            changed_on=asked["changed_on"],
            note=asked.get("note", ""),
            now=self.now,
        )
        return self.shown(row)


class RetireSprayer(SprayerAPI):
    needs = {"POST": Can.EDIT_SPRAYERS}

    @extend_schema(request=shapes.RetireIn, responses=shapes.SprayerOut, operation_id="retire_sprayer")
    def post(self, request: Request, farm: str, sprayer: int) -> Response:
        asked = self.read(shapes.RetireIn)
        row = services.retire_sprayer(
            member=self.member,
            sprayer_id=sprayer,
            expected_version=asked["version"],
            retired=asked["retired"],
            now=self.now,
        )
        return self.shown(row)


class JudgeReadings(FarmAPI):
    needs = {"POST": Can.EDIT_SPRAYERS}

    @extend_schema(request=shapes.ReadingsIn, responses=shapes.MeasuredOut, operation_id="judge_catches")
    def post(self, request: Request, farm: str, sprayer: int) -> Response:
        """Mean, deviations and verdict of a catch test, without recording it."""
        asked = readings(self.read(shapes.ReadingsIn))
        found = services.preview_calibration(member=self.member, sprayer_id=sprayer, readings=asked)
        return self.show(shapes.MeasuredOut, found)


class SprayerCalibrations(FarmAPI):
    needs = {"POST": Can.EDIT_SPRAYERS}

    @extend_schema(
        request=shapes.CalibrationIn, responses={201: shapes.CalibrationOut}, operation_id="record_calibration"
    )
    def post(self, request: Request, farm: str, sprayer: int) -> Response:
        asked = self.read(shapes.CalibrationIn)
        row = services.record_calibration(
            member=self.member,
            sprayer_id=sprayer,
            measured_on=asked["measured_on"],
            readings=readings(asked),
            conditions={name: asked.get(name, "") for name in CONDITIONS},
            reason=asked.get("reason", ""),
            now=self.now,
        )
        return self.show(shapes.CalibrationOut, queries.calibration(self.farm, row.pk), status=201)


class Calibrations(FarmList):
    needs = {"GET": Can.READ_JOBS}
    serializer_class = shapes.CalibrationOut
    queryset = Calibration.rows.none()
    filterset_class = CalibrationFilters

    def rows(self) -> Any:
        return queries.calibrations(self.farm)


class OneCalibration(FarmAPI):
    needs = {"GET": Can.READ_JOBS}

    @extend_schema(responses=shapes.CalibrationOut, operation_id="read_calibration")
    def get(self, request: Request, farm: str, calibration: int) -> Response:
        return self.show(shapes.CalibrationOut, queries.calibration(self.farm, calibration))


class VoidCalibration(FarmAPI):
    needs = {"POST": Can.EDIT_SPRAYERS}

    @extend_schema(request=shapes.VoidIn, responses=shapes.CalibrationOut, operation_id="void_calibration")
    def post(self, request: Request, farm: str, calibration: int) -> Response:
        because = self.read(shapes.VoidIn)["because"]
        row = services.void_calibration(member=self.member, calibration_id=calibration, because=because, now=self.now)
        return self.show(shapes.CalibrationOut, row)


class RateSum(FarmAPI):
    needs = {"POST": Can.READ_FARM}

    @extend_schema(request=shapes.RateSumIn, responses=shapes.RateSumOut, operation_id="work_out_rate")
    def post(self, request: Request, farm: str) -> Response:
        """Gallons per acre from flow, speed and width. Nothing is stored."""
        return self.show(shapes.RateSumOut, calculators.rate_sum(self.read(shapes.RateSumIn)))


class SpeedSum(FarmAPI):
    needs = {"POST": Can.READ_FARM}

    @extend_schema(request=shapes.SpeedSumIn, responses=shapes.SpeedSumOut, operation_id="work_out_speed")
    def post(self, request: Request, farm: str) -> Response:
        """Ground speed from a timed course. Nothing is stored."""
        return self.show(shapes.SpeedSumOut, calculators.speed_sum(self.read(shapes.SpeedSumIn)))


class LoadsSum(FarmAPI):
    needs = {"POST": Can.READ_FARM}

    @extend_schema(request=shapes.LoadsSumIn, responses=shapes.LoadsSumOut, operation_id="work_out_loads")
    def post(self, request: Request, farm: str) -> Response:
        """Loads, the last load and the product in each. Nothing is stored."""
        return self.show(shapes.LoadsSumOut, calculators.loads_sum(self.read(shapes.LoadsSumIn)))
