"""API doors of the trail and of the files to take away."""

from __future__ import annotations

from typing import Any, ClassVar

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from apps.audit.models import AuditEvent
from apps.people.rules import Can
from apps.reports import files, queries
from apps.reports import serializers as shapes
from apps.reports.filters import AuditFilter
from farmops.pagination import no_filters
from farmops.web import FarmAPI, FarmList

DAYS = [
    OpenApiParameter("from", OpenApiTypes.DATE, description="First farm day counted in"),
    OpenApiParameter("to", OpenApiTypes.DATE, description="Last farm day counted in"),
]
CSV = {(200, "text/csv"): OpenApiTypes.STR}


class AuditEvents(FarmList):
    """Who did what, newest first."""

    needs = {"GET": Can.READ_AUDIT}
    serializer_class = shapes.AuditOut
    queryset = AuditEvent.objects.none()
    filterset_class = AuditFilter

    def rows(self) -> Any:
        return queries.trail(self.farm)


class CsvRenderer(JSONRenderer):
    """Lets a client ask for text/csv; what it renders itself is only an error, and that is JSON."""

    media_type = "text/csv"
    format = "csv"


class CsvFile(FarmAPI):
    """Base of the files: CSV in UTF-8 with its mark, streamed, with an ``as_of`` column."""

    renderer_classes: ClassVar[list[Any]] = [JSONRenderer, CsvRenderer]

    def file(self, make: files.Made) -> HttpResponseBase:
        unknown = set(self.request.query_params) - {"from", "to", "format"}
        if unknown:
            raise no_filters(unknown, ["from", "to"])
        return files.made(make, self.farm, self.request.query_params, self.now)


class SprayRecordsFile(CsvFile):
    needs = {"GET": Can.READ_RECORDS}

    @extend_schema(parameters=DAYS, responses=CSV, operation_id="export_spray_records")
    def get(self, request: Request, farm: str) -> HttpResponseBase:
        return self.file(files.spray_records)


class SprayProductsFile(CsvFile):
    needs = {"GET": Can.READ_RECORDS}

    @extend_schema(parameters=DAYS, responses=CSV, operation_id="export_spray_products")
    def get(self, request: Request, farm: str) -> HttpResponseBase:
        return self.file(files.spray_products)


class StockLedgerFile(CsvFile):
    needs = {"GET": Can.READ_SHED}

    @extend_schema(parameters=DAYS, responses=CSV, operation_id="export_stock_ledger")
    def get(self, request: Request, farm: str) -> HttpResponseBase:
        return self.file(files.stock_ledger)
