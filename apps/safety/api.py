"""API doors of the board. No answer may be kept by a cache."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import Any

from django.http import QueryDict
from django.utils.translation import get_language
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.land import queries as land
from apps.people.rules import Can
from apps.safety import queries, reading, services, wording
from apps.safety import serializers as shapes
from apps.safety.asked import moment_asked, only_known, rest_asked, work_asked
from apps.safety.filters import ClosureFilters
from apps.safety.models import Closure
from apps.safety.rules import Activity, Answer, may_enter, may_harvest
from apps.safety.seen.rules import How
from apps.safety.seen.services import keep_answer
from farmops.errors import FarmError
from farmops.lean import LeanAPI
from farmops.web import FarmAPI, FarmList

log = logging.getLogger(__name__)

_WORK = OpenApiParameter(
    "activity", str, enum=[a.value for a in Activity], description="Kind of work. Left out: judged by the strictest."
)
_AT = OpenApiParameter(
    "at", str, description="Now or later, ISO 8601; without an offset it is farm-local. Left out: now."
)
_PART = OpenApiParameter(
    "part", str, enum=["rest"], description="rest: the ground outside every mapped part. Left out: the whole block."
)


class _Answering(LeanAPI):
    """Common to both questions about one block. Whatever breaks on the way, the answer is unknown."""

    needs = {"GET": Can.READ_FARM}
    rule: Callable[..., Answer]
    usual_work: str | None = None

    def told(self, query: QueryDict, **address: Any) -> dict[str, Any]:
        block_id = address["block"]
        only_known(query)
        activity = work_asked(query)
        at = moment_asked(query, self.farm, self.now)
        rest = rest_asked(query)
        try:
            return self._said(block_id, activity, at, rest)
        except FarmError:
            raise
        except Exception:
            log.exception("the board could not answer over the API")
            return self._fault(block_id, activity, at)

    def _said(self, block_id: int, activity: str | None, at: datetime, rest: bool) -> dict[str, Any]:
        ground, hung = reading.ground_and_hung(self.farm, block_id, self.now)
        rule = partial(type(self).rule, rest=True) if rest else type(self).rule
        said = queries.answer(ground, hung, rule, activity=activity or self.usual_work, at=at, now=self.now)
        named = {"block_id": block_id, "block": str(ground), "activity": activity, "at": at}
        body = {**named, **shapes.answer_json(said, wording.zone_of(self.farm))}
        self.keep(ground, said, activity, rest)
        return body

    def keep(self, ground: reading.Ground, said: Answer, activity: str | None, rest: bool) -> None:
        """Nothing, unless the question was about entry."""

    def _fault(self, block_id: int, activity: str | None, at: datetime) -> dict[str, Any]:
        said = queries.fault_answer(self.farm, at=at, now=self.now)
        named = {"block_id": block_id, "block": "", "activity": activity, "at": at}
        return {**named, **shapes.answer_json(said, "UTC")}


class Entry(_Answering):
    """May this block be entered? Only ``yes`` permits anything."""

    rule = staticmethod(may_enter)

    @extend_schema(parameters=[_WORK, _AT, _PART], responses=shapes.BlockAnswerOut, operation_id="ask_entry")
    def get(self, request: Request, farm: str, block: int) -> Response:
        return self.answer(request, block=block)

    def keep(self, ground: reading.Ground, said: Answer, activity: str | None, rest: bool) -> None:
        keep_answer(
            member=self.member, block=ground, answer=said, activity=activity, rest=rest, how=How.API, now=self.now
        )


class HarvestHold(_Answering):
    """May the crop of this block be picked? Counts the wait before harvest and the pickers' entry.

    ``activity`` is how it is picked: ``picking_by_hand`` (if left out) or ``driving_closed_cab``; any other is
    judged by the strictest restriction.
    """

    rule = staticmethod(may_harvest)
    usual_work = Activity.PICKING_BY_HAND

    @extend_schema(parameters=[_WORK, _AT, _PART], responses=shapes.BlockAnswerOut, operation_id="ask_harvest")
    def get(self, request: Request, farm: str, block: int) -> Response:
        return self.answer(request, block=block)


class Board(LeanAPI):
    """Both answers for every block, in a constant number of queries. Harvest is for picking by hand."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(parameters=[_WORK, _AT], responses=shapes.BoardOut, operation_id="read_board")
    def get(self, request: Request, farm: str) -> Response:
        return self.answer(request)

    def told(self, query: QueryDict, **address: Any) -> dict[str, Any]:
        only_known(query, but={"part"})
        activity = work_asked(query)
        at = moment_asked(query, self.farm, self.now)
        lines = queries.board(self.farm, activity=activity, at=at, now=self.now)
        zone, language = wording.zone_of(self.farm), get_language()
        return {
            "as_of": self.now,
            "at": at,
            "activity": activity,
            "blocks": [shapes.line_json(line, zone, language) for line in lines],
        }


class Activities(FarmAPI):
    """The kinds of work one can ask about."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.ActivityOut(many=True), operation_id="list_activities")
    def get(self, request: Request, farm: str) -> Response:
        names = wording.ACTIVITY_NAMES.items()
        return Response([{"code": code.value, "name_en": both.en, "name_es": both.es} for code, both in names])


class BlockClosures(FarmList):
    """Everything that hangs or hung on a block, newest first."""

    needs = {"GET": Can.READ_JOBS}
    serializer_class = shapes.ClosureOut
    queryset = Closure.rows.none()
    filterset_class = ClosureFilters

    def rows(self) -> Any:
        block = land.block(self.farm, self.kwargs["block"])
        return Closure.objects.for_farm(self.farm).filter(block=block)


class Attest(FarmAPI):
    """A named applicator has seen that the label's condition is met."""

    needs = {"POST": Can.SPRAY}

    @extend_schema(request=None, responses=shapes.ClosureOut, operation_id="attest_condition")
    def post(self, request: Request, farm: str, closure: int) -> Response:
        row = services.attest_condition(member=self.member, closure_id=closure, now=self.now)
        return self.show(shapes.ClosureOut, row)
