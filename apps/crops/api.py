"""Crops, plantings and scouting over HTTP."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.crops import filters, queries, rules, services
from apps.crops import serializers as shapes
from apps.crops.models import Crop, Planting, ScoutingNote, Variety
from apps.land import queries as land
from apps.people.rules import Can
from farmops.errors import BadInput, gettext_noop
from farmops.pagination import no_filters
from farmops.web import FarmAPI, FarmList

READ_AND_ADD = {"GET": Can.READ_FARM, "POST": Can.EDIT_CROPS}
READ_AND_EDIT = {"GET": Can.READ_FARM, "PATCH": Can.EDIT_CROPS}


class KnownCrops(FarmAPI):
    """Crop codes whose name and family are known; a farm adds those it grows."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.KnownCropOut(many=True), operation_id="list_known_crops")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.KnownCropOut, list(rules.KNOWN_CROPS.values()), many=True)


class Crops(FarmList):
    needs = READ_AND_ADD
    serializer_class = shapes.CropOut
    queryset = Crop.rows.none()
    filterset_class = filters.CropFilters

    def rows(self) -> QuerySet[Crop]:
        return queries.crops(self.farm)

    @extend_schema(request=shapes.CropIn, responses={201: shapes.CropOut}, operation_id="add_crop")
    def post(self, request: Request, farm: str) -> Response:
        row = services.add_crop(member=self.member, now=self.now, **self.read(shapes.CropIn))
        return self.show(shapes.CropOut, row, status=201)


class OneCrop(FarmAPI):
    needs = READ_AND_EDIT

    @extend_schema(responses=shapes.CropOut, operation_id="read_crop")
    def get(self, request: Request, farm: str, crop: int) -> Response:
        return self.show(shapes.CropOut, queries.crop(self.farm, crop))

    @extend_schema(request=shapes.CropEdit, responses=shapes.CropOut, operation_id="edit_crop")
    def patch(self, request: Request, farm: str, crop: int) -> Response:
        row = services.edit_crop(
            member=self.member,
            crop_id=crop,
            expected_version=self.expected_version(),
            changes=self.read(shapes.CropEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.CropOut, row)


class Varieties(FarmList):
    needs = READ_AND_ADD
    serializer_class = shapes.VarietyOut
    queryset = Variety.rows.none()
    filterset_class = filters.VarietyFilters

    def rows(self) -> QuerySet[Variety]:
        return queries.varieties(self.farm)

    @extend_schema(request=shapes.VarietyIn, responses={201: shapes.VarietyOut}, operation_id="add_variety")
    def post(self, request: Request, farm: str) -> Response:
        row = services.add_variety(member=self.member, now=self.now, **self.read(shapes.VarietyIn))
        return self.show(shapes.VarietyOut, row, status=201)


class Plantings(FarmList):
    needs = READ_AND_ADD
    serializer_class = shapes.PlantingOut
    queryset = Planting.rows.none()
    filterset_class = filters.PlantingFilters

    def rows(self) -> QuerySet[Planting]:
        return queries.plantings(self.farm)

    @extend_schema(request=shapes.PlantingIn, responses={201: shapes.PlantingOut}, operation_id="plan_planting")
    def post(self, request: Request, farm: str) -> Response:
        row = services.plan_planting(member=self.member, now=self.now, **self.read(shapes.PlantingIn))
        return self.show(shapes.PlantingOut, queries.planting(self.farm, row.pk), status=201)


class OnePlanting(FarmAPI):
    needs = READ_AND_EDIT

    @extend_schema(responses=shapes.PlantingOut, operation_id="read_planting")
    def get(self, request: Request, farm: str, planting: int) -> Response:
        return self.show(shapes.PlantingOut, queries.planting(self.farm, planting))

    @extend_schema(request=shapes.PlantingEdit, responses=shapes.PlantingOut, operation_id="edit_planting")
    def patch(self, request: Request, farm: str, planting: int) -> Response:
        row = services.edit_planting(
            member=self.member,
            planting_id=planting,
            expected_version=self.expected_version(),
            changes=self.read(shapes.PlantingEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.PlantingOut, queries.planting(self.farm, row.pk))


class CallOffPlanting(FarmAPI):
    needs = {"POST": Can.EDIT_CROPS}

    @extend_schema(request=None, responses=shapes.PlantingOut, operation_id="call_off_planting")
    def post(self, request: Request, farm: str, planting: int) -> Response:
        return self.show(
            shapes.PlantingOut, services.call_off_planting(member=self.member, planting_id=planting, now=self.now)
        )


class RecordPlantingEvent(FarmAPI):
    """Scouts may record emergence and bloom start; the other events are the manager's."""

    needs = {"POST": Can.SCOUT}

    @extend_schema(request=shapes.EventIn, responses={201: shapes.EventOut}, operation_id="record_planting_event")
    def post(self, request: Request, farm: str, planting: int) -> Response:
        row = services.record_planting_event(
            member=self.member, planting_id=planting, now=self.now, **self.read(shapes.EventIn)
        )
        return Response(shapes.EventOut(row).data, status=201)


class WithdrawPlantingEvent(FarmAPI):
    needs = {"POST": Can.EDIT_CROPS}

    @extend_schema(request=shapes.ReasonIn, responses=shapes.EventOut, operation_id="withdraw_planting_event")
    def post(self, request: Request, farm: str, event: int) -> Response:
        row = services.withdraw_planting_event(
            member=self.member, event_id=event, now=self.now, **self.read(shapes.ReasonIn)
        )
        return Response(shapes.EventOut(row).data)


class ScoutingNotes(FarmList):
    needs = {"GET": Can.READ_FARM, "POST": Can.SCOUT}
    serializer_class = shapes.LookOut
    queryset = ScoutingNote.rows.none()
    filterset_class = filters.NoteFilters

    def rows(self) -> QuerySet[ScoutingNote]:
        return queries.notes(self.farm)

    @extend_schema(request=shapes.LookIn, responses={201: shapes.LookOut}, operation_id="record_scouting")
    def post(self, request: Request, farm: str) -> Response:
        row = services.record_scouting(member=self.member, now=self.now, **self.read(shapes.LookIn))
        return Response(shapes.LookOut(row).data, status=201)


class WithdrawScouting(FarmAPI):
    """One's own note, or any note by a manager."""

    needs = {"POST": Can.SCOUT}

    @extend_schema(request=shapes.ReasonIn, responses=shapes.LookOut, operation_id="withdraw_scouting")
    def post(self, request: Request, farm: str, note: int) -> Response:
        row = services.withdraw_scouting(member=self.member, note_id=note, now=self.now, **self.read(shapes.ReasonIn))
        return Response(shapes.LookOut(row).data)


class CropOnBlock(FarmAPI):
    """What grows on a block on a day, whether it is in bloom, and what follows."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(
        parameters=[OpenApiParameter("on", OpenApiTypes.DATE, description="Farm-local day; today if left out")],
        responses=shapes.CropFactsOut,
        operation_id="read_crop_on_block",
    )
    def get(self, request: Request, farm: str, block: int) -> Response:
        row = land.block(self.farm, block)
        today = queries.today(self.farm, self.now)
        day = _day(request, today)
        facts = queries.crop_facts([row], day, today=today)[row.pk]
        answer: dict[str, Any] = {
            "block_id": row.pk,
            "on": day,
            **{name: getattr(facts, name) for name in facts.__dataclass_fields__},
            "sequence": queries.sequences([row])[row.pk],
        }
        return self.show(shapes.CropFactsOut, answer)


def _day(request: Request, today: date) -> date:
    unknown = sorted(set(request.query_params) - {"on"})
    if unknown:
        raise no_filters(unknown, ["on"])
    text = request.query_params.get("on", "")
    try:
        return date.fromisoformat(text) if text else today
    except ValueError:
        raise BadInput({"on": gettext_noop("Must be a date such as 2026-06-03.")}) from None
