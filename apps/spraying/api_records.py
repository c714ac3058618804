"""API doors of signed records and of the farm's spray settings."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying import heads, proof, queries, services, shapes
from apps.spraying import serializers as inputs
from apps.spraying.facts import settings_of
from apps.spraying.filters import RecordFilter
from apps.spraying.models import SprayRecord
from apps.spraying.rules.record import Head, read_head
from farmops.errors import BadInput, gettext_noop
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


class ChainHead(FarmAPI):
    """The head of the farm's book now, to be kept elsewhere; post one back later and it is held against the book."""

    needs = {"GET": Can.READ_RECORDS, "POST": Can.READ_RECORDS}

    @extend_schema(responses=shapes.HeadOut, operation_id="read_chain_head")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.HeadOut, heads.head_of(self.farm, self.now).as_json())

    @extend_schema(request=inputs.HeadIn, responses=shapes.AgainstOut, operation_id="check_against_head")
    def post(self, request: Request, farm: str) -> Response:
        kept = read_kept(self.read(inputs.HeadIn), self.farm.slug)
        return self.show(shapes.AgainstOut, {"fault": heads.compare(self.farm, kept)})


def read_kept(given: dict[str, Any], farm: str) -> Head:
    """A kept head of this farm, or ``BadInput``."""
    try:
        kept = read_head({**given, "farm": given.get("farm", farm)})
    except ValueError:
        raise BadInput({"head": gettext_noop("This is not a chain head as this book writes it.")}) from None
    if kept.farm != farm:
        raise BadInput({"farm": gettext_noop("This is the head of another farm's book.")})
    return kept


class VerifySprayRecords(FarmAPI):
    """Walk the farm's chain and name the first record that does not stand on the one before.

    ``thorough=true`` also derives ledger, board and labels again, as ``manage.py check_records`` does.
    """

    needs = {"GET": Can.READ_RECORDS}

    @extend_schema(
        parameters=[OpenApiParameter("thorough", bool)], responses=shapes.ChainOut, operation_id="verify_records"
    )
    def get(self, request: Request, farm: str) -> Response:
        found = proof.chain(self.farm)
        fault = found.fault
        if fault is None and request.query_params.get("thorough") in ("true", "1"):
            fault = next(proof.farm_faults(self.farm), None)
        return self.show(shapes.ChainOut, {"records": found.records, "head": found.head, "fault": fault})


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
