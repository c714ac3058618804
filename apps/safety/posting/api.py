"""API doors of notices."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.safety.posting import queries, services
from apps.safety.posting import serializers as shapes
from apps.safety.posting.models import Posting
from farmops.web import FarmAPI

MOST = 200


class Signs(FarmAPI):
    """What is still owed or still stands, the latest application first."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.SignsOut, operation_id="list_signs")
    def get(self, request: Request, farm: str) -> Response:
        rows = list(queries.standing(self.farm, self.now)[:MOST])
        return self.show(shapes.SignsOut, {"signs": queries.shown(rows, self.now)})


class _Act(FarmAPI):
    needs = {"POST": Can.POST_NOTICES}

    def shown(self, row: Posting) -> Response:
        (said,) = queries.shown([queries.posting(self.farm, row.pk)], self.now)
        return self.show(shapes.PostingOut, said)


class SignUp(_Act):
    """A warning sign stands; its block is closed until it is down."""

    @extend_schema(request=shapes.SignUpIn, responses=shapes.PostingOut, operation_id="put_up_sign")
    def post(self, request: Request, farm: str, posting: int) -> Response:
        asked = self.read(shapes.SignUpIn)
        row = services.put_up_sign(member=self.member, posting_id=posting, up_at=asked.get("up_at"), now=self.now)
        return self.shown(row)


class SignDown(_Act):
    """A warning sign is down or covered."""

    @extend_schema(request=None, responses=shapes.PostingOut, operation_id="take_down_sign")
    def post(self, request: Request, farm: str, posting: int) -> Response:
        return self.shown(services.take_down_sign(member=self.member, posting_id=posting, now=self.now))


class WorkersTold(_Act):
    """The workers were told by mouth."""

    @extend_schema(request=None, responses=shapes.PostingOut, operation_id="tell_workers")
    def post(self, request: Request, farm: str, posting: int) -> Response:
        return self.shown(services.tell_workers(member=self.member, posting_id=posting, now=self.now))
