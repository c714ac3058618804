"""API doors of the mix sheet."""

from __future__ import annotations

from typing import Any, ClassVar

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying import queries as jobs
from apps.spraying.mix import pdf, serializers, services
from apps.spraying.mix.queries import mix_sheet
from farmops.web import FarmAPI

EVEN = OpenApiParameter("even", bool, description="Every load alike instead of full loads and a last one")


def wants_even(value: str) -> bool:
    """Whether the sheet of even loads is asked for."""
    return value.lower() in {"1", "true", "yes"}


class JobMixSheet(FarmAPI):
    """The mix sheet: what goes into each load, in order, with what is ticked."""

    needs = {"GET": Can.READ_JOBS}

    @extend_schema(parameters=[EVEN], responses=serializers.MixSheetOut, operation_id="read_mix_sheet")
    def get(self, request: Request, farm: str, job: int) -> Response:
        even = wants_even(request.query_params.get("even", ""))
        return self.show(serializers.MixSheetOut, mix_sheet(jobs.job(self.farm, job), even=even))


class MixTicks(FarmAPI):
    needs = {"POST": Can.SPRAY}

    @extend_schema(request=serializers.TickIn, responses={201: serializers.TickOut}, operation_id="tick_mix_step")
    def post(self, request: Request, farm: str, job: int) -> Response:
        """Tick a step, or take its tick back. The same press sent again is answered with what is there."""
        row = services.tick(member=self.member, job_id=job, now=self.now, **self.read(serializers.TickIn))
        return self.show(serializers.TickOut, row, status=201)


class PdfRenderer(BaseRenderer):
    """Lets a client ask for ``application/pdf``; the PDF itself is made by the door."""

    media_type, format, charset, render_style = "application/pdf", "pdf", None, "binary"

    def render(self, data: Any, media_type: str | None = None, context: Any = None) -> bytes:
        return JSONRenderer().render(data)  # only what went wrong comes this way


class MixSheetPaper(FarmAPI):
    needs = {"GET": Can.READ_JOBS}
    renderer_classes: ClassVar[list[Any]] = [JSONRenderer, PdfRenderer]

    @extend_schema(
        parameters=[EVEN], responses={(200, "application/pdf"): OpenApiTypes.BINARY}, operation_id="print_mix_sheet"
    )
    def get(self, request: Request, farm: str, job: int) -> HttpResponse:
        """The sheet on paper: an accessible, archival PDF in the reader's language."""
        even = wants_even(request.query_params.get("even", ""))
        return pdf.answer(mix_sheet(jobs.job(self.farm, job), even=even), now=self.now)
