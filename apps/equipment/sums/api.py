"""API doors of the sums: one operation for each method."""

from __future__ import annotations

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.equipment.sums.rules import SUMS, Sum, work_out
from apps.equipment.sums.serializers import SHAPES, WorkedOut
from apps.people.rules import Can
from farmops.web import FarmAPI


class SumAPI(FarmAPI):
    """Shared by every sum. Nothing is stored."""

    needs = {"POST": Can.READ_FARM}
    made: Sum

    def answer(self) -> Response:
        worked = work_out(self.made, self.read(SHAPES[self.made.code]))
        body = {
            "results": worked.results,
            "formula": self.made.formula,
            "working": worked.working,
            "source": self.made.source,
            "findings": worked.findings,
        }
        return self.show(WorkedOut, body)


def view_of(made: Sum) -> type[SumAPI]:
    """The door of one method."""

    @extend_schema(
        request=SHAPES[made.code],
        responses=WorkedOut,
        operation_id=f"work_out_{made.code.replace('-', '_')}_sum",
        description=f"{made.title}: {made.formula}. Nothing is stored.",
    )
    def post(self: Any, request: Request, farm: str) -> Response:
        answer: Response = self.answer()
        return answer

    name = "".join(part.capitalize() for part in made.code.split("-"))
    return type(f"{name}SumAPI", (SumAPI,), {"made": made, "post": post, "__doc__": made.title})


def addresses(prefix: str) -> list[Any]:
    """An address for each method below ``prefix``."""
    return [
        path(f"{prefix}sums/{code}/", view_of(made).as_view(), name=f"api_sum_{code.replace('-', '_')}")
        for code, made in SUMS.items()
    ]
