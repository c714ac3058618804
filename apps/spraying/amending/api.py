"""API doors of corrections."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying import queries, shapes
from apps.spraying.amending import queries as amending
from apps.spraying.amending import serializers as inputs
from apps.spraying.amending import services
from apps.spraying.amending.models import CorrectionRequest
from apps.spraying.api import CorrectJob, SignJob
from apps.spraying.serializers import NotAppliedIn
from apps.spraying.services import void_signature
from farmops.web import FarmAPI, FarmList


class AmendJob(CorrectJob):
    """Correct a signed record. It is unsigned until the correction is signed; the old edition stays."""

    needs = {"POST": Can.SIGN}

    @extend_schema(request=inputs.AmendIn, responses=shapes.JobDetail, operation_id="amend_job")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.take(job, services.amend_job, inputs.AmendIn)

    def sorted_out(self, asked: dict[str, Any]) -> dict[str, Any]:
        readings = asked.pop("readings", None)
        return {**super().sorted_out(asked), "readings": readings}


class VoidSignature(SignJob):
    """Withdraw the signature under a job's record: it is unsigned again, not gone."""

    @extend_schema(request=NotAppliedIn, responses={201: shapes.RecordOut}, operation_id="void_signature")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.signed(void_signature, NotAppliedIn, job)


class JobEditions(FarmAPI):
    """Every edition of a job's record, with what each changed."""

    needs = {"GET": Can.READ_RECORDS}

    @extend_schema(responses=inputs.RecordEditionOut(many=True), operation_id="list_editions")
    def get(self, request: Request, farm: str, job: int) -> Response:
        found = amending.side_by_side(queries.job(self.farm, job))
        return self.show(inputs.RecordEditionOut, found, many=True)


class AskCorrection(FarmAPI):
    """Ask the applicator for a correction. Changes no record."""

    needs = {"POST": Can.ASSIGN_JOBS}

    @extend_schema(
        request=inputs.AskCorrectionIn, responses={201: inputs.CorrectionRequestOut}, operation_id="ask_correction"
    )
    def post(self, request: Request, farm: str, job: int) -> Response:
        row = services.ask_correction(member=self.member, job_id=job, now=self.now, **self.read(inputs.AskCorrectionIn))
        return self.show(inputs.CorrectionRequestOut, amending.request_in(self.farm, row.pk), status=201)


class CorrectionRequests(FarmList):
    """What managers have asked to have corrected, the open ones first."""

    needs = {"GET": Can.READ_RECORDS}
    serializer_class = inputs.CorrectionRequestOut
    queryset = CorrectionRequest.rows.none()

    def rows(self) -> Any:
        return amending.requests(self.farm)


class DeclineCorrection(FarmAPI):
    """The applicator says why the record stays as it is."""

    needs = {"POST": Can.SIGN}

    @extend_schema(
        request=inputs.DeclineCorrectionIn, responses=inputs.CorrectionRequestOut, operation_id="decline_correction"
    )
    def post(self, request: Request, farm: str, asked: int) -> Response:
        row = services.decline_correction(
            member=self.member, request_id=asked, now=self.now, **self.read(inputs.DeclineCorrectionIn)
        )
        return self.show(inputs.CorrectionRequestOut, amending.request_in(self.farm, row.pk))
