"""API doors of credits."""

from __future__ import annotations

from typing import Any

import django_filters as filters
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.training.credits import queries, services
from apps.training.credits import serializers as shapes
from apps.training.models import Credit
from farmops.web import FarmAPI, FarmList


class CreditFilters(filters.FilterSet):
    person = filters.NumberFilter(field_name="person_id")

    class Meta:
        model = Credit
        fields: list[str] = []


class Credits(FarmList):
    needs = {"GET": Can.READ_CERTIFICATES, "POST": Can.EDIT_CERTIFICATES}
    serializer_class = shapes.CreditOut
    queryset = Credit.rows.none()
    filterset_class = CreditFilters

    def rows(self) -> Any:
        return queries.credits(self.farm).order_by("-id")

    @extend_schema(request=shapes.CreditIn, responses={201: shapes.CreditOut}, operation_id="record_credit")
    def post(self, request: Request, farm: str) -> Response:
        row = services.record_credit(member=self.member, now=self.now, **self.read(shapes.CreditIn))
        return self.show(shapes.CreditOut, row, status=201)


class StrikeCredit(FarmAPI):
    needs = {"POST": Can.EDIT_CERTIFICATES}

    @extend_schema(request=shapes.CreditStrikeIn, responses=shapes.CreditOut, operation_id="strike_credit")
    def post(self, request: Request, farm: str, credit: int) -> Response:
        row = services.strike_credit(
            member=self.member, credit_id=credit, now=self.now, **self.read(shapes.CreditStrikeIn)
        )
        return self.show(shapes.CreditOut, row)
