"""API doors of the home pages and charts."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.dashboard import queries
from apps.dashboard import serializers as shapes
from apps.people.rules import Can
from farmops.web import FarmAPI


class Today(FarmAPI):
    """What is closed now, what needs a manager, what is next."""

    needs = {"GET": Can.READ_CHARTS}

    @extend_schema(responses=shapes.TodayOut, operation_id="read_today")
    def get(self, request: Request, farm: str) -> Response:
        found = queries.home(self.farm, self.now)
        return self.show(shapes.TodayOut, {**vars(found), "as_of": self.now})


class MyDay(FarmAPI):
    """One's own next job, certificate and tasks."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.MyDayOut, operation_id="read_my_day")
    def get(self, request: Request, farm: str) -> Response:
        found = queries.my_day(self.member, self.now)
        return self.show(shapes.MyDayOut, {**vars(found), "as_of": self.now})


class Charts(FarmAPI):
    """Which charts there are, each with its answer in one sentence."""

    needs = {"GET": Can.READ_CHARTS}

    @extend_schema(responses=shapes.ChartName(many=True), operation_id="list_charts")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.ChartName, queries.charts(self.farm, self.now), many=True)


class OneChart(FarmAPI):
    """A figure and the table it was drawn from; the page draws exactly this."""

    needs = {"GET": Can.READ_CHARTS}

    @extend_schema(responses=shapes.ChartOut, operation_id="read_chart")
    def get(self, request: Request, farm: str, name: str) -> Response:
        found = queries.chart(self.farm, name, self.now)
        return self.show(shapes.ChartOut, {"chart": found, "as_of": self.now, "time_zone": self.farm.time_zone})
