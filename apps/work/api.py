"""API doors of work: tasks, and what may be done with each."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.work import queries, rules, services
from apps.work import serializers as shapes
from apps.work.filters import TaskFilter
from apps.work.models import Task
from apps.work.rules import OPEN, State
from farmops.web import FarmAPI, FarmList


class Tasks(FarmList):
    """Every task of the farm; ``mine=true`` for the caller's own."""

    needs = {"GET": Can.READ_FARM, "POST": Can.PLAN_TASKS}
    serializer_class = shapes.TaskOut
    filterset_class = TaskFilter
    queryset = Task.rows.none()

    def rows(self) -> Any:
        return queries.tasks(self.farm)

    @extend_schema(request=shapes.TaskIn, responses={201: shapes.TaskOut}, operation_id="plan_task")
    def post(self, request: Request, farm: str) -> Response:
        row = services.plan_task(member=self.member, now=self.now, **self.read(shapes.TaskIn))
        return self.show(shapes.TaskOut, queries.task(self.farm, row.pk), status=201)


class OneTask(FarmAPI):
    """A task with its history and, while it is open, what the board says about its ground now."""

    needs = {"GET": Can.READ_FARM, "PATCH": Can.PLAN_TASKS}

    @extend_schema(responses=shapes.TaskDetail, operation_id="read_task")
    def get(self, request: Request, farm: str, task: int) -> Response:
        row = queries.task(self.farm, task)
        row.board = self.board(row) if row.state in OPEN else None
        own = row.assigned_to_id == self.member.person_id
        asked = row.state == State.PLANNED and (own or self.member.can(Can.PLAN_TASKS))
        row.training = queries.training_needed(row, now=self.now) if asked else []
        return self.show(shapes.TaskDetail, row)

    def board(self, row: Task) -> dict[str, Any]:
        said = queries.standing(row, now=self.now)
        return {
            "answer": said.word,
            "may_start": said.may_start and row.state == State.PLANNED,
            "opens_at": said.opens_at,
            "as_of": self.now,
            "good_until": said.good_until,
            "because": rules.findings(said, block=str(row.block), zone=self.farm.time_zone),
        }

    @extend_schema(request=shapes.TaskEdit, responses=shapes.TaskOut, operation_id="edit_task")
    def patch(self, request: Request, farm: str, task: int) -> Response:
        row = services.edit_task(
            member=self.member,
            task_id=task,
            expected_version=self.expected_version(),
            changes=self.read(shapes.TaskEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.TaskOut, row)


class StartTask(FarmAPI):
    """Refused, with the board's reasons, while the board says no or unknown."""

    needs = {"POST": Can.DO_TASKS}

    @extend_schema(request=None, responses=shapes.TaskOut, operation_id="start_task")
    def post(self, request: Request, farm: str, task: int) -> Response:
        return self.show(shapes.TaskOut, services.start_task(member=self.member, task_id=task, now=self.now))


class FinishTask(FarmAPI):
    needs = {"POST": Can.DO_TASKS}

    @extend_schema(request=shapes.FinishTaskIn, responses=shapes.TaskOut, operation_id="finish_task")
    def post(self, request: Request, farm: str, task: int) -> Response:
        said = self.read(shapes.FinishTaskIn)
        row = services.finish_task(member=self.member, task_id=task, now=self.now, note=said["note"])
        return self.show(shapes.TaskOut, row)


class CallOffTask(FarmAPI):
    needs = {"POST": Can.PLAN_TASKS}

    @extend_schema(request=shapes.CallOffTaskIn, responses=shapes.TaskOut, operation_id="call_off_task")
    def post(self, request: Request, farm: str, task: int) -> Response:
        said = self.read(shapes.CallOffTaskIn)
        row = services.call_off_task(member=self.member, task_id=task, now=self.now, reason=said["reason"])
        return self.show(shapes.TaskOut, row)
