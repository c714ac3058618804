"""API doors of scans of cards."""

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
from apps.training.models import CertificateScan
from apps.training.scans import queries, services
from apps.training.scans import serializers as shapes
from farmops.web import FarmAPI, FarmList, content_of, kept_file


def picture(row: CertificateScan) -> HttpResponse:
    """A scan to keep."""
    return kept_file(bytes(row.content), row.media, f"card-{row.pk}")


class Scans(FarmList):
    """Scans that may be seen: managers see all, others those of their own cards."""

    needs = {"GET": Can.READ_FARM}
    serializer_class = shapes.ScanOut
    queryset = CertificateScan.rows.none()

    def rows(self) -> Any:
        return queries.scans(self.member)


class AddScan(FarmAPI):
    needs = {"POST": Can.EDIT_CERTIFICATES}
    parser_classes: ClassVar[list[Any]] = [MultiPartParser, JSONParser]

    @extend_schema(
        request={"multipart/form-data": shapes.ScanIn}, responses={201: shapes.ScanOut}, operation_id="add_scan"
    )
    def post(self, request: Request, farm: str, certificate: int) -> Response:
        given = self.read(shapes.ScanIn)
        row = services.add_scan(
            member=self.member,
            certificate_id=certificate,
            content=content_of(given["scan"]),
            signed=given["signed"],
            now=self.now,
        )
        return self.show(shapes.ScanOut, row, status=201)


class ScanFile(FarmAPI):
    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY}, operation_id="fetch_scan")
    def get(self, request: Request, farm: str, scan: int) -> HttpResponseBase:
        return picture(services.fetch_scan(member=self.member, scan_id=scan, now=self.now))


class RemoveScan(FarmAPI):
    needs = {"POST": Can.EDIT_CERTIFICATES}

    @extend_schema(request=shapes.ScanRemoveIn, responses=shapes.ScanOut, operation_id="remove_scan")
    def post(self, request: Request, farm: str, scan: int) -> Response:
        row = services.remove_scan(member=self.member, scan_id=scan, now=self.now, **self.read(shapes.ScanRemoveIn))
        return self.show(shapes.ScanOut, row)
