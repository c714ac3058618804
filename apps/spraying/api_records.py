"""API doors of signed records and of the farm's spray settings."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying import proof, queries, services, shapes
from apps.spraying import serializers as inputs
from apps.spraying.facts import settings_of
from apps.spraying.filters import RecordFilter
from apps.spraying.models import SprayRecord
from farmops.web import FarmAPI, FarmList


class SprayRecords(FarmList):
    """Signed records, newest first."""

    needs = {"GET": Can.READ_RECORDS}
    serializer_class = shapes.RecordRow
    queryset = SprayRecord.rows.none()
    filterset_class = RecordFilter

    def rows(self) -> Any:
        return queries.records(self.farm)


class OneSprayRecord(FarmAPI):
    needs = {"GET": Can.READ_RECORDS}

    @extend_schema(responses=shapes.RecordOut, operation_id="read_record")
    def get(self, request: Request, farm: str, seq: int) -> Response:
        return self.show(shapes.RecordOut, queries.record(self.farm, seq))


class VerifySprayRecords(FarmAPI):
    """Walk the farm's chain and name the first record that does not stand on the one before."""

    needs = {"GET": Can.READ_RECORDS}

    @extend_schema(responses=shapes.ChainOut, operation_id="verify_records")
    def get(self, request: Request, farm: str) -> Response:
        found = proof.chain(self.farm)
        return self.show(shapes.ChainOut, {"records": found.records, "head": found.head, "fault": found.fault})


class FarmSpraySettings(FarmAPI):
    """The advice the farm follows, since when its sprays are on record, its usual spray interval."""

    needs = {"GET": Can.READ_JOBS, "PATCH": Can.EDIT_FARM}

    @extend_schema(responses=shapes.SpraySettingsOut, operation_id="read_spray_settings")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.SpraySettingsOut, settings_of(self.farm))

    @extend_schema(
        request=inputs.SpraySettingsEdit, responses=shapes.SpraySettingsOut, operation_id="set_spray_settings"
    )
    def patch(self, request: Request, farm: str) -> Response:
        row = services.set_spray_settings(
            member=self.member,
            expected_version=self.expected_version(),
            changes=self.read(inputs.SpraySettingsEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.SpraySettingsOut, row)
