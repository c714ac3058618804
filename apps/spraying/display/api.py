"""API doors of the central display. Every worker may read it."""

from __future__ import annotations

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying import queries as jobs
from apps.spraying.display import pdf, queries, services
from apps.spraying.display import serializers as shapes
from farmops.web import FarmAPI


class Displays(FarmAPI):
    """What the central place shows, newest first."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.DisplaysOut, operation_id="list_displays")
    def get(self, request: Request, farm: str) -> Response:
        found = [queries.sheet(job) for job in queries.displayed(self.farm, self.now)]
        return self.show(shapes.DisplaysOut, {"sheets": found})


class JobDisplay(FarmAPI):
    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.DisplayOut, operation_id="read_display")
    def get(self, request: Request, farm: str, job: int) -> Response:
        return self.show(shapes.DisplayOut, queries.sheet(jobs.job(self.farm, job)))


class DisplayPaper(FarmAPI):
    """The sheet to print (PDF). It is no warning sign."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY}, operation_id="print_display")
    def get(self, request: Request, farm: str, job: int) -> HttpResponse:
        return pdf.answer(queries.sheet(jobs.job(self.farm, job)), self.now)


class PutUpDisplay(FarmAPI):
    needs = {"POST": Can.POST_NOTICES}

    @extend_schema(request=shapes.PutUpIn, responses=shapes.DisplayOut, operation_id="put_up_display")
    def post(self, request: Request, farm: str, job: int) -> Response:
        services.put_up(member=self.member, job_id=job, now=self.now, **self.read(shapes.PutUpIn))
        return self.show(shapes.DisplayOut, queries.sheet(jobs.job(self.farm, job)))


class TakeDownDisplay(FarmAPI):
    needs = {"POST": Can.POST_NOTICES}

    @extend_schema(request=None, responses=shapes.DisplayOut, operation_id="take_down_display")
    def post(self, request: Request, farm: str, job: int) -> Response:
        services.take_down(member=self.member, job_id=job, now=self.now)
        return self.show(shapes.DisplayOut, queries.sheet(jobs.job(self.farm, job)))
