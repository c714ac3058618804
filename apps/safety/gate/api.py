"""API doors of gate codes. The answer itself needs no account and is asked for at its own address."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.safety.gate import services
from apps.safety.gate.models import GateCode
from apps.safety.gate.serializers import GateCodeOut
from farmops.web import FarmAPI, FarmList


class GateCodes(FarmList):
    """Every code ever issued on the farm, newest first."""

    needs = {"GET": Can.EDIT_LAND}
    serializer_class = GateCodeOut
    queryset = GateCode.rows.none()

    def rows(self) -> Any:
        return GateCode.objects.for_farm(self.farm)


class IssueGateCode(FarmAPI):
    """A new code for a block; the one in force goes dead."""

    needs = {"POST": Can.EDIT_LAND}

    @extend_schema(request=None, responses={201: GateCodeOut}, operation_id="issue_gate_code")
    def post(self, request: Request, farm: str, block: int) -> Response:
        row = services.issue_code(member=self.member, block_id=block, now=self.now)
        return self.show(GateCodeOut, row, status=201)


class RevokeGateCode(FarmAPI):
    needs = {"POST": Can.EDIT_LAND}

    @extend_schema(request=None, responses=GateCodeOut, operation_id="revoke_gate_code")
    def post(self, request: Request, farm: str, gate_code: int) -> Response:
        row = services.revoke_code(member=self.member, code_id=gate_code, now=self.now)
        return self.show(GateCodeOut, row)
