"""API door of who may do what today."""

from __future__ import annotations

from datetime import date

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.training.queries import today
from apps.training.today import queries
from apps.training.today.serializers import PersonLeavesOut
from farmops.errors import BadInput, gettext_noop
from farmops.web import FarmAPI

DAY = OpenApiParameter("on", OpenApiTypes.DATE, description="Farm day; today when left out")


class WhoMay(FarmAPI):
    needs = {"GET": Can.READ_CERTIFICATES}

    @extend_schema(parameters=[DAY], responses=PersonLeavesOut(many=True), operation_id="list_who_may")
    def get(self, request: Request, farm: str) -> Response:
        """Everybody who works here: what they may do on a day, why not, and until when."""
        day = asked_day(request.query_params.get("on", "")) or today(self.farm, self.now)
        return self.show(PersonLeavesOut, queries.who_may(self.farm, day), many=True)


def asked_day(text: str) -> date | None:
    """A day from an address; ``BadInput`` on ``on`` when it is none."""
    try:
        return date.fromisoformat(text.strip()) if text.strip() else None
    except ValueError:
        raise BadInput({"on": gettext_noop("Must be a day like 2026-06-03.")}) from None
