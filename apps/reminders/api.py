"""API doors of reminders: one's own notices, and whether the sweep runs."""

from __future__ import annotations

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.reminders import queries, services
from apps.reminders import serializers as shapes
from apps.reminders.models import Notice
from farmops.web import FarmAPI, FarmList


class NoticeFilter(django_filters.FilterSet):
    unseen = django_filters.BooleanFilter(field_name="seen_at", lookup_expr="isnull")
    kind = django_filters.CharFilter()

    class Meta:
        model = Notice
        fields: list[str] = []


class Notices(FarmList):
    """What the caller was told on this farm, newest first. Never anybody else's."""

    needs = {"GET": Can.READ_FARM}
    serializer_class = shapes.NoticeOut
    filterset_class = NoticeFilter
    queryset = Notice.rows.none()

    def rows(self) -> Any:
        return queries.notices_of(self.farm, self.member.person_id)


class NoticeSeen(FarmAPI):
    needs = {"POST": Can.READ_FARM}

    @extend_schema(request=None, responses=shapes.NoticeOut, operation_id="mark_notice_seen")
    def post(self, request: Request, farm: str, notice: int) -> Response:
        return self.show(shapes.NoticeOut, services.mark_seen(member=self.member, notice_id=notice, now=self.now))


class AllSeen(FarmAPI):
    needs = {"POST": Can.READ_FARM}

    @extend_schema(request=shapes.NoticesSeenIn, responses=shapes.NoticesSeenOut, operation_id="mark_notices_seen")
    def post(self, request: Request, farm: str) -> Response:
        asked = self.read(shapes.NoticesSeenIn)
        seen = services.mark_all_seen(member=self.member, up_to=asked["up_to"], now=self.now)
        return Response({"seen": seen})


class Sweep(FarmAPI):
    """Whether reminders are being made and sent."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.SweepHealthOut, operation_id="read_sweep_health")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.SweepHealthOut, queries.health(self.farm, self.now))
