"""API doors of safety data sheets. Everybody on the farm may read them (40 CFR 170.311(b))."""

from __future__ import annotations

from typing import Any, ClassVar

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.parsers import JSONParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.products.models import SafetySheet
from apps.products.sds import queries, services
from apps.products.sds import serializers as shapes
from farmops.errors import Unknown, gettext_noop
from farmops.web import FarmAPI, FarmList, content_of, kept_file


def paper(row: SafetySheet) -> HttpResponse:
    """The kept file; ``Unknown`` when the sheet only hangs somewhere."""
    if row.content is None:
        raise Unknown(gettext_noop("There is no file of this sheet: it hangs where the book says."))
    return kept_file(bytes(row.content), row.media, f"safety-data-sheet-{row.pk}")


class Sheets(FarmList):
    """Every safety data sheet on file, the last entered first."""

    needs = {"GET": Can.READ_FARM}
    serializer_class = shapes.SheetOut
    queryset = SafetySheet.rows.none()

    def rows(self) -> Any:
        return queries.sheets(self.farm)


class KeepSheet(FarmAPI):
    needs = {"POST": Can.EDIT_LABELS}
    parser_classes: ClassVar[list[Any]] = [MultiPartParser, JSONParser]

    @extend_schema(
        request={"multipart/form-data": shapes.SheetIn},
        responses={201: shapes.SheetOut},
        operation_id="keep_safety_sheet",
    )
    def post(self, request: Request, farm: str, product: int) -> Response:
        given = self.read(shapes.SheetIn)
        file = given.pop("file", None)
        content = None if file is None else content_of(file)
        row = services.keep_sheet(member=self.member, product_id=product, content=content, now=self.now, **given)
        return self.show(shapes.SheetOut, row, status=201)


class SheetFile(FarmAPI):
    needs = {"GET": Can.READ_FARM}

    @extend_schema(
        responses={(200, "application/octet-stream"): OpenApiTypes.BINARY}, operation_id="fetch_safety_sheet"
    )
    def get(self, request: Request, farm: str, sheet: int) -> HttpResponseBase:
        return paper(queries.sheet_in(self.farm, sheet))


class RemoveSheet(FarmAPI):
    needs = {"POST": Can.EDIT_LABELS}

    @extend_schema(request=shapes.SheetRemoveIn, responses=shapes.SheetOut, operation_id="remove_safety_sheet")
    def post(self, request: Request, farm: str, sheet: int) -> Response:
        row = services.remove_sheet(member=self.member, sheet_id=sheet, now=self.now, **self.read(shapes.SheetRemoveIn))
        return self.show(shapes.SheetOut, row)
