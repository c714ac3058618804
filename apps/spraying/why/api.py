"""API doors: why may I, for a job in the book and for a plan that is not saved."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying import queries
from apps.spraying import serializers as inputs
from apps.spraying.instead.drafts import unsaved_job
from apps.spraying.why.explaining import explained
from apps.spraying.why.serializers import ExplainedOut
from farmops.web import FarmAPI


class ExplainJob(FarmAPI):
    """Every rule that was asked about the job, passed ones too, with the arithmetic and where it stands."""

    needs = {"GET": Can.READ_JOBS}

    @extend_schema(responses=ExplainedOut, operation_id="explain_job")
    def get(self, request: Request, farm: str, job: int) -> Response:
        return self.show(ExplainedOut, explained(queries.job(self.farm, job), self.now))


class ExplainMix(FarmAPI):
    """The same for a plan that is not saved. Nothing is written."""

    needs = {"POST": Can.PLAN_JOBS}

    @extend_schema(request=inputs.JobIn, responses=ExplainedOut, operation_id="explain_mix")
    def post(self, request: Request, farm: str) -> Response:
        job = unsaved_job(member=self.member, now=self.now, **self.read(inputs.JobIn))
        return self.show(ExplainedOut, explained(job, self.now))
