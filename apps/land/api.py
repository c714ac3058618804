"""The ground over HTTP."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.land import map_import, queries, reshape, services
from apps.land import serializers as shapes
from apps.land.filters import BlockFilters, PlaceFilters
from apps.land.models import Block, Field, SensitivePlace
from apps.people.rules import Can
from farmops.errors import BadInput, Finding, gettext_noop
from farmops.pagination import no_filters
from farmops.units import number
from farmops.web import FarmAPI, FarmList

NEAR_FT = 300
MOST_FT = 26_400  # five miles
READ_AND_EDIT = {"GET": Can.READ_FARM, "PATCH": Can.EDIT_LAND}
READ_AND_ADD = {"GET": Can.READ_FARM, "POST": Can.EDIT_LAND}


def _saved(door: FarmAPI, shape: type[Any], row: Any, notes: list[Finding], status: int = 200) -> Response:
    row.notes = notes
    return door.show(shape, row, status=status)


class Fields(FarmList):
    needs = READ_AND_ADD
    serializer_class = shapes.FieldOut
    queryset = Field.rows.none()

    def rows(self) -> QuerySet[Field]:
        return Field.objects.for_farm(self.farm)

    @extend_schema(request=shapes.FieldIn, responses={201: shapes.FieldOut}, operation_id="add_field")
    def post(self, request: Request, farm: str) -> Response:
        row = services.add_field(member=self.member, now=self.now, **self.read(shapes.FieldIn))
        return self.show(shapes.FieldOut, row, status=201)


class OneField(FarmAPI):
    needs = READ_AND_EDIT

    @extend_schema(responses=shapes.FieldOut, operation_id="read_field")
    def get(self, request: Request, farm: str, field: int) -> Response:
        return self.show(shapes.FieldOut, queries.field(self.farm, field))

    @extend_schema(request=shapes.FieldIn, responses=shapes.FieldOut, operation_id="edit_field")
    def patch(self, request: Request, farm: str, field: int) -> Response:
        row = services.edit_field(
            member=self.member,
            field_id=field,
            expected_version=self.expected_version(),
            changes=self.read(shapes.FieldIn, partial=True),
            now=self.now,
        )
        return self.show(shapes.FieldOut, row)


class Blocks(FarmList):
    """Blocks in use and archived ones; ``archived=false`` leaves the latter out."""

    needs = READ_AND_ADD
    serializer_class = shapes.BlockOut
    queryset = Block.rows.none()
    filterset_class = BlockFilters

    def rows(self) -> QuerySet[Block]:
        return queries.all_blocks(self.farm)

    @extend_schema(request=shapes.BlockIn, responses={201: shapes.BlockSaved}, operation_id="add_block")
    def post(self, request: Request, farm: str) -> Response:
        row, notes = services.add_block(member=self.member, now=self.now, **self.read(shapes.BlockIn))
        return _saved(self, shapes.BlockSaved, row, notes, 201)


class OneBlock(FarmAPI):
    needs = READ_AND_EDIT

    @extend_schema(responses=shapes.BlockOut, operation_id="read_block")
    def get(self, request: Request, farm: str, block: int) -> Response:
        return self.show(shapes.BlockOut, queries.block(self.farm, block))

    @extend_schema(request=shapes.BlockIn, responses=shapes.BlockSaved, operation_id="edit_block")
    def patch(self, request: Request, farm: str, block: int) -> Response:
        row, notes = services.edit_block(
            member=self.member,
            block_id=block,
            expected_version=self.expected_version(),
            changes=self.read(shapes.BlockIn, partial=True),
            now=self.now,
        )
        return _saved(self, shapes.BlockSaved, row, notes)


class ArchiveBlock(FarmAPI):
    needs = {"POST": Can.EDIT_LAND}

    @extend_schema(request=None, responses=shapes.BlockOut, operation_id="archive_block")
    def post(self, request: Request, farm: str, block: int) -> Response:
        row = services.archive_block(member=self.member, block_id=block, now=self.now)
        return self.show(shapes.BlockOut, row)


class RestoreBlock(FarmAPI):
    needs = {"POST": Can.EDIT_LAND}

    @extend_schema(request=None, responses=shapes.BlockOut, operation_id="restore_block")
    def post(self, request: Request, farm: str, block: int) -> Response:
        row = services.restore_block(member=self.member, block_id=block, now=self.now)
        return self.show(shapes.BlockOut, row)


class SplitBlock(FarmAPI):
    """Several blocks of one; what hangs on the ground and planned jobs follow it."""

    needs = {"POST": Can.EDIT_LAND}

    @extend_schema(request=shapes.SplitIn, responses={201: shapes.ReshapedOut}, operation_id="split_block")
    def post(self, request: Request, farm: str, block: int) -> Response:
        asked = self.read(shapes.SplitIn)
        made = reshape.split_block(
            member=self.member,
            block_id=block,
            pieces=asked["pieces"],
            expected_version=asked.get("version"),
            now=self.now,
        )
        return self.show(shapes.ReshapedOut, {"blocks": made}, status=201)


class MergeBlocks(FarmAPI):
    """One block of several of the same field."""

    needs = {"POST": Can.EDIT_LAND}

    @extend_schema(request=shapes.MergeIn, responses={201: shapes.BlockOut}, operation_id="merge_blocks")
    def post(self, request: Request, farm: str) -> Response:
        made = reshape.merge_blocks(member=self.member, now=self.now, **self.read(shapes.MergeIn))
        return self.show(shapes.BlockOut, made, status=201)


class GroundHistory(FarmAPI):
    """The blocks this block's ground belonged to before it was split or merged."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.GroundHistoryOut, operation_id="read_ground_history")
    def get(self, request: Request, farm: str, block: int) -> Response:
        row = queries.block(self.farm, block)
        shares = queries.shared_history(self.farm, [row])[row.pk]
        named = queries.blocks_by_id(self.farm, shares)
        found = [
            {"block_id": pk, "code": named[pk].code, "name": named[pk].name, "share": round(share, 6)}
            for pk, share in shares.items()
        ]
        return self.show(shapes.GroundHistoryOut, {"blocks": found})


class Surroundings(FarmAPI):
    """Neighbouring blocks within some feet, and every sensitive place with its distance."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(
        parameters=[
            OpenApiParameter("within_ft", OpenApiTypes.INT, description=f"0 to {MOST_FT}; {NEAR_FT} if left out")
        ],
        responses=shapes.SurroundingsOut,
        operation_id="read_surroundings",
    )
    def get(self, request: Request, farm: str, block: int) -> Response:
        feet = _feet(request)
        row = queries.block(self.farm, block)
        found = {
            "within_ft": feet,
            "neighbours": queries.neighbours_within(row, feet),
            "sensitive": queries.nearest_sensitive(row),
        }
        return self.show(shapes.SurroundingsOut, found)


def _feet(request: Request) -> int:
    unknown = sorted(set(request.query_params) - {"within_ft"})
    if unknown:
        raise no_filters(unknown, ["within_ft"])
    feet = number(request.query_params.get("within_ft", NEAR_FT), field="within_ft", maximum=MOST_FT)
    if feet != int(feet):
        raise BadInput({"within_ft": gettext_noop("Must be whole feet.")})
    return int(feet)


class SensitivePlaces(FarmList):
    needs = READ_AND_ADD
    serializer_class = shapes.PlaceOut
    queryset = SensitivePlace.rows.none()
    filterset_class = PlaceFilters

    def rows(self) -> QuerySet[SensitivePlace]:
        return queries.sensitive_places(self.farm)

    @extend_schema(request=shapes.PlaceIn, responses={201: shapes.PlaceSaved}, operation_id="add_sensitive_place")
    def post(self, request: Request, farm: str) -> Response:
        row, notes = services.add_place(member=self.member, now=self.now, **self.read(shapes.PlaceIn))
        return _saved(self, shapes.PlaceSaved, row, notes, 201)


class OneSensitivePlace(FarmAPI):
    needs = READ_AND_EDIT

    @extend_schema(responses=shapes.PlaceOut, operation_id="read_sensitive_place")
    def get(self, request: Request, farm: str, place: int) -> Response:
        return self.show(shapes.PlaceOut, queries.sensitive_place(self.farm, place))

    @extend_schema(request=shapes.PlaceIn, responses=shapes.PlaceSaved, operation_id="edit_sensitive_place")
    def patch(self, request: Request, farm: str, place: int) -> Response:
        row, notes = services.edit_place(
            member=self.member,
            place_id=place,
            expected_version=self.expected_version(),
            changes=self.read(shapes.PlaceIn, partial=True),
            now=self.now,
        )
        return _saved(self, shapes.PlaceSaved, row, notes)


class RemoveSensitivePlace(FarmAPI):
    needs = {"POST": Can.EDIT_LAND}

    @extend_schema(request=None, responses=shapes.PlaceOut, operation_id="remove_sensitive_place")
    def post(self, request: Request, farm: str, place: int) -> Response:
        row = services.remove_place(member=self.member, place_id=place, now=self.now)
        return self.show(shapes.PlaceOut, row)


class FarmMap(FarmAPI):
    """The whole map as one GeoJSON FeatureCollection; what goes out can be brought in again."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses={(200, "application/geo+json"): shapes.GEOJSON}, operation_id="export_map")
    def get(self, request: Request, farm: str) -> Response:
        return Response(queries.farm_file(self.farm), content_type="application/geo+json")


class ImportMap(FarmAPI):
    needs = {"POST": Can.EDIT_LAND}

    @extend_schema(request=shapes.ImportIn, responses={201: shapes.ImportOut}, operation_id="import_map")
    def post(self, request: Request, farm: str) -> Response:
        done = map_import.import_geojson(member=self.member, now=self.now, **self.read(shapes.ImportIn))
        return self.show(shapes.ImportOut, done, status=200 if done.only_checked else 201)
