"""API doors of lists of trainings."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.training.lists import serializers as shapes
from apps.training.lists import services
from farmops.web import FarmAPI


class CheckTrainingList(FarmAPI):
    """The dry run: every row of the list answered, nothing written."""

    needs = {"POST": Can.EDIT_CERTIFICATES}

    @extend_schema(request=shapes.TrainingListIn, responses=shapes.TrainingListOut, operation_id="check_training_list")
    def post(self, request: Request, farm: str) -> Response:
        text = self.read(shapes.TrainingListIn)["text"]
        return self.show(shapes.TrainingListOut, services.examine(self.farm, text, self.now))


class RecordTrainingList(FarmAPI):
    """Record every training of the list that is new, or none of them."""

    needs = {"POST": Can.EDIT_CERTIFICATES}

    @extend_schema(
        request=shapes.TrainingListIn, responses={201: shapes.TrainingListOut}, operation_id="record_training_list"
    )
    def post(self, request: Request, farm: str) -> Response:
        found = services.record_list(member=self.member, now=self.now, **self.read(shapes.TrainingListIn))
        return self.show(shapes.TrainingListOut, found, status=201)
