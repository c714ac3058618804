"""API doors: may this crop be planted after all that was sprayed here?"""

from __future__ import annotations

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.land import queries as land
from apps.people.rules import Can
from apps.spraying.planting.asking import USES, asked
from apps.spraying.planting.queries import planned_answers, planting_answer
from apps.spraying.planting.serializers import PlantingAnswerOut
from farmops.web import FarmAPI


class PlantingCheck(FarmAPI):
    """One crop on one day, judged by every spray on the ground of the block."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(
        parameters=[
            OpenApiParameter("crop", str, required=True, description="Site code, such as pumpkin"),
            OpenApiParameter("on", str, required=True, description="Day of planting, such as 2027-06-01"),
            OpenApiParameter("use", str, enum=list(USES), description="harvest if left out"),
        ],
        responses=PlantingAnswerOut,
        operation_id="check_planting",
    )
    def get(self, request: Request, farm: str, block: int) -> Response:
        row = land.block(self.farm, block)
        return self.show(PlantingAnswerOut, planting_answer(self.farm, row, asked(request.query_params)))


class PlannedPlantings(FarmAPI):
    """The same for every planting that is planned on the block, the next first."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=PlantingAnswerOut(many=True), operation_id="list_planting_answers")
    def get(self, request: Request, farm: str, block: int) -> Response:
        row = land.block(self.farm, block)
        return self.show(PlantingAnswerOut, planned_answers(self.farm, row, self.now), many=True)
