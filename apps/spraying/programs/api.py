"""API doors of season programs."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying import queries as jobs
from apps.spraying import shapes as job_shapes
from apps.spraying.models import Program, ProgramDecision
from apps.spraying.programs import queries, services
from apps.spraying.programs import serializers as shapes
from apps.spraying.programs.checking import check_program
from apps.spraying.rules.states import open_steps
from farmops import clock
from farmops.errors import refusals
from farmops.web import FarmAPI, FarmList

READ = {"GET": Can.READ_JOBS}


class Programs(FarmList):
    """The farm's programs that are followed, newest first."""

    needs = {"GET": Can.READ_JOBS, "POST": Can.PLAN_JOBS}
    serializer_class = shapes.ProgramOut
    queryset = Program.rows.none()

    def rows(self) -> Any:
        return queries.programs(self.farm).order_by("-id")

    @extend_schema(request=shapes.ProgramIn, responses={201: shapes.ProgramOut}, operation_id="set_up_program")
    def post(self, request: Request, farm: str) -> Response:
        typed = self.read(shapes.ProgramIn)
        blocks, passes = typed.pop("blocks"), [mix["products"] for mix in typed.pop("passes")]
        row = services.set_up_program(member=self.member, values=typed, blocks=blocks, passes=passes, now=self.now)
        return self.show(shapes.ProgramOut, row, status=201)


class OneProgram(FarmAPI):
    needs = {**READ, "PATCH": Can.PLAN_JOBS}

    @extend_schema(responses=shapes.ProgramOut, operation_id="read_program")
    def get(self, request: Request, farm: str, program: int) -> Response:
        return self.show(shapes.ProgramOut, queries.program(self.farm, program))

    @extend_schema(request=shapes.ProgramEdit, responses=shapes.ProgramOut, operation_id="change_program")
    def patch(self, request: Request, farm: str, program: int) -> Response:
        changes = self.read(shapes.ProgramEdit, partial=True)
        if "passes" in changes:
            changes["passes"] = [mix["products"] for mix in changes["passes"]]
        row = services.change_program(
            member=self.member,
            program_id=program,
            expected_version=self.expected_version(),
            changes=changes,
            now=self.now,
        )
        return self.show(shapes.ProgramOut, row)


class PutProgramAway(FarmAPI):
    """Follow it no longer; it stays to be read."""

    needs = {"POST": Can.PLAN_JOBS}

    @extend_schema(request=None, responses=shapes.ProgramOut, operation_id="put_program_away")
    def post(self, request: Request, farm: str, program: int) -> Response:
        row = services.put_program_away(
            member=self.member, program_id=program, expected_version=self.expected_version(), now=self.now
        )
        return self.show(shapes.ProgramOut, row)


class ProgramCourse(FarmAPI):
    """Where a program stands on each of its blocks: windows behind, next and ahead, questions, the end."""

    needs = READ

    @extend_schema(responses=shapes.ProgramCourseOut(many=True), operation_id="read_program_course")
    def get(self, request: Request, farm: str, program: int) -> Response:
        row = queries.program(self.farm, program)
        found = queries.followed(self.farm, self.now, [row])
        context = {"today": clock.to_local(self.now, self.farm.time_zone).date(), "farm": self.farm}
        return Response(shapes.ProgramCourseOut(found, many=True, context=context).data)


class CheckProgram(FarmAPI):
    """The whole program against the labels, the history, the harvest and the shed; nothing is written."""

    needs = READ

    @extend_schema(responses=shapes.SeasonCheckOut, operation_id="check_program")
    def get(self, request: Request, farm: str, program: int) -> Response:
        found = check_program(queries.program(self.farm, program), self.now)
        body = {"refused": bool(refusals(found.everything)), "whole": found.whole, "blocks": found.blocks}
        return self.show(shapes.SeasonCheckOut, body)


class ProgramDecisions(FarmList):
    """What was decided, newest first."""

    needs = {"GET": Can.READ_JOBS, "POST": Can.PLAN_JOBS}
    serializer_class = shapes.ProgramDecisionOut
    queryset = ProgramDecision.rows.none()

    def rows(self) -> Any:
        return queries.decisions(queries.program(self.farm, self.kwargs["program"])).order_by("-id")

    @extend_schema(
        request=shapes.ProgramDecisionIn,
        responses={201: shapes.ProgramDecisionOut(many=True)},
        operation_id="decide_program",
    )
    def post(self, request: Request, farm: str, program: int) -> Response:
        typed = self.read(shapes.ProgramDecisionIn)
        made = services.decide(
            member=self.member,
            program_id=program,
            block_ids=typed["blocks"],
            choice=typed["choice"],
            reason=typed["reason"],
            now=self.now,
        )
        return self.show(shapes.ProgramDecisionOut, made, many=True, status=201)


class PlanProgramJob(FarmAPI):
    """Plan the job of the next window on blocks that wait for the same pass; the mix is the program's."""

    needs = {"POST": Can.PLAN_JOBS}

    @extend_schema(request=shapes.PlanWindowIn, responses={201: job_shapes.JobDetail}, operation_id="plan_program_job")
    def post(self, request: Request, farm: str, program: int) -> Response:
        typed = self.read(shapes.PlanWindowIn)
        made = services.plan_window_job(
            member=self.member, program_id=program, block_ids=typed.pop("blocks"), now=self.now, **typed
        )
        row = jobs.job(self.farm, made.pk)
        steps = open_steps(row.state, roles=self.member.roles, named=jobs.names(row, self.member.person_id))
        return self.show(job_shapes.JobDetail, job_shapes.job_detail(row, steps), status=201)
