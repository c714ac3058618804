"""API doors of reminders: one's own notices and wishes, other programs' targets, and whether the sweep runs."""

from __future__ import annotations

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.reminders import feeds, queries, services
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


class Wishes(FarmAPI):
    """What the caller wishes to hear on this farm, and when."""

    needs = {"GET": Can.READ_FARM, "PUT": Can.READ_FARM}

    @extend_schema(responses=shapes.NoticeWishesOut, operation_id="read_notice_wishes")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.NoticeWishesOut, queries.wishes(self.farm, [self.member.person_id]).popitem()[1])

    @extend_schema(request=shapes.NoticeWishesIn, responses=shapes.NoticeWishesOut, operation_id="set_notice_wishes")
    def put(self, request: Request, farm: str) -> Response:
        services.set_wishes(member=self.member, **self.read(shapes.NoticeWishesIn), now=self.now)
        return self.get(request, farm)


class Calendar(FarmAPI):
    """The caller's own secret calendar address."""

    needs = {"POST": Can.READ_FARM, "DELETE": Can.READ_FARM}
    shown_once = frozenset({"address"})

    @extend_schema(request=None, responses={201: shapes.CalendarOut}, operation_id="open_calendar")
    def post(self, request: Request, farm: str) -> Response:
        secret = services.open_calendar(member=self.member, now=self.now)
        return Response({"address": feeds.address(secret)}, status=201)

    @extend_schema(responses={204: None}, operation_id="close_calendar")
    def delete(self, request: Request, farm: str) -> Response:
        services.close_calendar(member=self.member, now=self.now)
        return Response(status=204)


class Webhooks(FarmAPI):
    """Other programs that are told the farm's notices, in the open Standard Webhooks form."""

    needs = {"GET": Can.EDIT_FARM, "POST": Can.EDIT_FARM}
    shown_once = frozenset({"secret"})

    @extend_schema(responses=shapes.WebhookOut(many=True), operation_id="list_webhooks")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.WebhookOut, queries.endpoints(self.farm), many=True)

    @extend_schema(request=shapes.WebhookIn, responses={201: shapes.WebhookSecretOut}, operation_id="add_webhook")
    def post(self, request: Request, farm: str) -> Response:
        row, _ = services.add_endpoint(member=self.member, **self.read(shapes.WebhookIn), now=self.now)
        return self.show(shapes.WebhookSecretOut, row, status=201)


class Webhook(FarmAPI):
    """Turn a target off or on."""

    needs = {"PUT": Can.EDIT_FARM}

    @extend_schema(request=shapes.WebhookSwitchIn, responses=shapes.WebhookOut, operation_id="switch_webhook")
    def put(self, request: Request, farm: str, webhook: int) -> Response:
        on = self.read(shapes.WebhookSwitchIn)["on"]
        row = services.turn_endpoint(member=self.member, endpoint_id=webhook, on=on, now=self.now)
        return self.show(shapes.WebhookOut, row)


class WebhookSecret(FarmAPI):
    """A new secret; the old one signs beside it for two days."""

    needs = {"POST": Can.EDIT_FARM}
    shown_once = frozenset({"secret"})

    @extend_schema(request=None, responses=shapes.WebhookSecretOut, operation_id="renew_webhook_secret")
    def post(self, request: Request, farm: str, webhook: int) -> Response:
        row, _ = services.new_secret(member=self.member, endpoint_id=webhook, now=self.now)
        return self.show(shapes.WebhookSecretOut, row)


class Sweep(FarmAPI):
    """Whether reminders are being made and sent."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.SweepHealthOut, operation_id="read_sweep_health")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.SweepHealthOut, queries.health(self.farm, self.now))
