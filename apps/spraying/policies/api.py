"""API doors of the farm's resistance advice."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying.facts import settings_of
from apps.spraying.policies import queries, services
from apps.spraying.policies import serializers as shapes
from farmops.web import FarmAPI


class _Advice(FarmAPI):
    def answer(self, status: int = 200) -> Response:
        house = settings_of(self.farm)
        body = {"preset": house.preset, "own_advice": house.own_advice, "rules": queries.shown(house)}
        return self.show(shapes.AdviceOut, body, status=status)


class Advice(_Advice):
    """The table of resistance advice the farm follows."""

    needs = {"GET": Can.READ_JOBS}

    @extend_schema(responses=shapes.AdviceOut, operation_id="read_spray_advice")
    def get(self, request: Request, farm: str) -> Response:
        return self.answer()


class CopyAdvice(_Advice):
    """Take a shipped table as the farm's own, to be edited; the farm's own rows before are replaced."""

    needs = {"POST": Can.EDIT_FARM}

    @extend_schema(request=shapes.PresetIn, responses=shapes.AdviceOut, operation_id="copy_spray_advice")
    def post(self, request: Request, farm: str) -> Response:
        services.copy_advice(member=self.member, now=self.now, **self.read(shapes.PresetIn))
        return self.answer()


class FollowShipped(_Advice):
    """Follow a shipped table as it is; the farm's own rows go."""

    needs = {"POST": Can.EDIT_FARM}

    @extend_schema(request=shapes.PresetIn, responses=shapes.AdviceOut, operation_id="follow_shipped_advice")
    def post(self, request: Request, farm: str) -> Response:
        services.follow_shipped(member=self.member, now=self.now, **self.read(shapes.PresetIn))
        return self.answer()


class AdviceRules(_Advice):
    """Add a rule to the farm's own table."""

    needs = {"POST": Can.EDIT_FARM}

    @extend_schema(request=shapes.AdviceIn, responses={201: shapes.AdviceOut}, operation_id="add_spray_advice")
    def post(self, request: Request, farm: str) -> Response:
        services.add_advice(member=self.member, values=self.read(shapes.AdviceIn), now=self.now)
        return self.answer(201)


class OneAdviceRule(_Advice):
    """Change a rule of the farm's own table."""

    needs = {"PATCH": Can.EDIT_FARM}

    @extend_schema(request=shapes.AdviceIn, responses=shapes.AdviceOut, operation_id="change_spray_advice")
    def patch(self, request: Request, farm: str, rule: int) -> Response:
        services.change_advice(
            member=self.member,
            rule_id=rule,
            expected_version=self.expected_version(),
            changes=self.read(shapes.AdviceIn, partial=True),
            now=self.now,
        )
        return self.answer()


class DropAdvice(_Advice):
    """Take a rule out of the farm's own table; the trail keeps what it said."""

    needs = {"POST": Can.EDIT_FARM}

    @extend_schema(request=shapes.DropIn, responses=shapes.AdviceOut, operation_id="drop_spray_advice")
    def post(self, request: Request, farm: str, rule: int) -> Response:
        version = self.read(shapes.DropIn)["version"]
        services.drop_advice(member=self.member, rule_id=rule, expected_version=version, now=self.now)
        return self.answer()
