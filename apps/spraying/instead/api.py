"""API doors: a mix checked without saving it, what to do instead, the first evening."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying import queries
from apps.spraying import serializers as inputs
from apps.spraying.api import one_job
from apps.spraying.checked import check_body
from apps.spraying.instead import serializers as shapes
from apps.spraying.instead.drafts import unsaved_job
from apps.spraying.instead.queries import DAYS_AHEAD, MOST_EVENINGS, first_evening, instead_of
from apps.spraying.instead.services import adopt_way
from apps.spraying.shapes import JobDetail
from farmops.errors import BadInput, Said, gettext_noop
from farmops.web import FarmAPI


class CheckMix(FarmAPI):
    """Check this mix: everything the check says about a plan that is not saved. Nothing is written."""

    needs = {"POST": Can.PLAN_JOBS}

    @extend_schema(request=inputs.JobIn, responses=shapes.CheckMixOut, operation_id="check_mix")
    def post(self, request: Request, farm: str) -> Response:
        job = unsaved_job(member=self.member, now=self.now, **self.read(inputs.JobIn))
        body = check_body(job, self.now) | {"instead": shapes.instead_body(instead_of(job, self.now))}
        return self.show(shapes.CheckMixOut, body)


class JobInstead(FarmAPI):
    """For each refusal the nearest lawful change, and complete ways out, each checked again."""

    needs = {"GET": Can.READ_JOBS}

    @extend_schema(responses=shapes.InsteadOut, operation_id="read_job_alternatives")
    def get(self, request: Request, farm: str, job: int) -> Response:
        found = instead_of(queries.job(self.farm, job), self.now)
        return self.show(shapes.InsteadOut, shapes.instead_body(found))


class AdoptWay(FarmAPI):
    """Take a suggestion over: the draft is changed as it says, checked again first; refused, nothing is written."""

    needs = {"POST": Can.PLAN_JOBS}

    @extend_schema(request=shapes.AdoptIn, responses=JobDetail, operation_id="adopt_job_alternative")
    def post(self, request: Request, farm: str, job: int) -> Response:
        asked = self.read(shapes.AdoptIn)
        adopt_way(member=self.member, job_id=job, expected_version=asked["version"], plan=asked["plan"], now=self.now)
        return one_job(self, job)


class FirstEvening(FarmAPI):
    """When is the first evening this mix may go on these blocks?"""

    needs = {"POST": Can.PLAN_JOBS}

    @extend_schema(request=shapes.EveningIn, responses=shapes.FirstEveningOut, operation_id="find_first_evening")
    def post(self, request: Request, farm: str) -> Response:
        asked = self.read(shapes.EveningIn)
        days = asked.pop("days", DAYS_AHEAD)
        found = first_evening(unsaved_job(member=self.member, now=self.now, **asked), self.now, days=days)
        return self.show(shapes.FirstEveningOut, found)


class JobFirstEvening(FarmAPI):
    """The same for a job that is in the book."""

    needs = {"GET": Can.READ_JOBS}

    @extend_schema(
        parameters=[OpenApiParameter("days", int, description=f"How many evenings, {DAYS_AHEAD} if left out")],
        responses=shapes.FirstEveningOut,
        operation_id="find_first_evening_of_job",
    )
    def get(self, request: Request, farm: str, job: int) -> Response:
        days = days_asked(request.query_params)
        return self.show(shapes.FirstEveningOut, first_evening(queries.job(self.farm, job), self.now, days=days))


def days_asked(query: Any) -> int:
    """``?days=`` as a number of evenings."""
    text = str(query.get("days", DAYS_AHEAD)).strip()
    if not (text.isascii() and text.isdigit()) or not 1 <= int(text[:6]) <= MOST_EVENINGS:
        raise BadInput({"days": Said(gettext_noop("Use {least} to {most}."), least=1, most=MOST_EVENINGS)})
    return int(text)
