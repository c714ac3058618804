"""API doors of bringing the past in."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying.bringing import queries, services
from apps.spraying.bringing import serializers as shapes
from apps.spraying.bringing.models import BroughtFile, BroughtSpray
from farmops.web import FarmAPI, FarmList


class CheckBrought(FarmAPI):
    """The dry run: every row of the file answered, nothing written."""

    needs = {"POST": Can.PLAN_JOBS}

    @extend_schema(request=shapes.BringIn, responses=shapes.ExaminedOut, operation_id="check_past_applications")
    def post(self, request: Request, farm: str) -> Response:
        asked = self.read(shapes.BringIn)
        return self.show(shapes.ExaminedOut, services.examine(self.farm, asked["text"], self.now))


class BroughtFiles(FarmList):
    """Files brought in, newest first; post one to bring it in, all rows or none."""

    needs = {"GET": Can.READ_RECORDS, "POST": Can.PLAN_JOBS}
    serializer_class = shapes.BroughtFileOut
    queryset = BroughtFile.rows.none()

    def rows(self) -> Any:
        return queries.files(self.farm)

    @extend_schema(
        request=shapes.BringIn, responses={201: shapes.BroughtFileOut}, operation_id="bring_past_applications"
    )
    def post(self, request: Request, farm: str) -> Response:
        asked = self.read(shapes.BringIn)
        row = services.bring_in(member=self.member, now=self.now, **asked)
        return self.show(shapes.BroughtFileOut, queries.file_in(self.farm, row.pk), status=201)


class BroughtSprays(FarmList):
    """Every application brought in, oldest first. None of them is signed here."""

    needs = {"GET": Can.READ_RECORDS}
    serializer_class = shapes.BroughtSprayOut
    queryset = BroughtSpray.rows.none()

    def rows(self) -> Any:
        return queries.brought(self.farm)
