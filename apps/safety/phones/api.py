"""API doors of the numbers to call."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.safety.phones import queries, services
from apps.safety.phones.models import PhoneNumber
from apps.safety.phones.serializers import NumberIn, NumberOut
from farmops.web import FarmAPI, FarmList


class Numbers(FarmList):
    """The numbers the farm typed."""

    needs = {"GET": Can.READ_FARM, "POST": Can.EDIT_FARM}
    serializer_class = NumberOut
    queryset = PhoneNumber.rows.none()

    def rows(self) -> Any:
        return PhoneNumber.objects.for_farm(self.farm)

    @extend_schema(request=NumberIn, responses={201: NumberOut}, operation_id="add_phone_number")
    def post(self, request: Request, farm: str) -> Response:
        row = services.add_number(member=self.member, values=self.read(NumberIn), now=self.now)
        return self.show(NumberOut, row, status=201)


class OneNumber(FarmAPI):
    needs = {"GET": Can.READ_FARM, "PATCH": Can.EDIT_FARM}

    @extend_schema(responses=NumberOut, operation_id="read_phone_number")
    def get(self, request: Request, farm: str, number: int) -> Response:
        return self.show(NumberOut, queries.number(self.farm, number))

    @extend_schema(request=NumberIn, responses=NumberOut, operation_id="edit_phone_number")
    def patch(self, request: Request, farm: str, number: int) -> Response:
        row = services.edit_number(
            member=self.member,
            number_id=number,
            expected_version=self.expected_version(),
            changes=self.read(NumberIn, partial=True),
            now=self.now,
        )
        return self.show(NumberOut, row)


class RemoveNumber(FarmAPI):
    needs = {"POST": Can.EDIT_FARM}

    @extend_schema(request=None, responses={204: None}, operation_id="remove_phone_number")
    def post(self, request: Request, farm: str, number: int) -> Response:
        services.remove_number(member=self.member, number_id=number, now=self.now)
        return Response(status=204)
