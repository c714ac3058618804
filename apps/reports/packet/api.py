"""API doors of packets: ask, look how far it is, fetch."""

from __future__ import annotations

import base64
from typing import Any

from django.http import FileResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.reports.models import Packet
from apps.reports.packet import queries, services
from apps.reports.packet import serializers as shapes
from farmops.web import FarmAPI, FarmList


def download(path: Any, listed: dict[str, Any]) -> FileResponse:
    """A file to keep: never shown in the browser, never guessed at, never cached."""
    response = FileResponse(path.open("rb"), as_attachment=True, filename=listed["name"], content_type=listed["media"])
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "no-store"
    response["Repr-Digest"] = f"sha-256=:{_base64(listed['sha256'])}:"  # RFC 9530
    return response


def _base64(hexed: str) -> str:
    return base64.b64encode(bytes.fromhex(hexed)).decode()


class Packets(FarmList):
    """Packets of signed records: the asker's own, and all of the farm for those who read records."""

    needs = {"GET": Can.READ_FARM, "POST": Can.READ_FARM}
    serializer_class = shapes.PacketOut
    queryset = Packet.rows.none()

    def rows(self) -> Any:
        return queries.packets(self.member)

    @extend_schema(request=shapes.PacketIn, responses={201: shapes.PacketOut}, operation_id="ask_for_packet")
    def post(self, request: Request, farm: str) -> Response:
        """A short packet is ready in the answer; a long one is made in the background and told when it is."""
        row = services.ask_packet(member=self.member, ask=shapes.ask_of(self.read(shapes.PacketIn)), now=self.now)
        services.make_if_small(farm=self.farm, packet_id=row.pk, now=self.now)
        return self.show(shapes.PacketOut, queries.packet(self.member, row.pk), status=201)


class OnePacket(FarmAPI):
    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.PacketOut, operation_id="read_packet")
    def get(self, request: Request, farm: str, packet: int) -> Response:
        return self.show(shapes.PacketOut, queries.packet(self.member, packet))


class AnyFileRenderer(BaseRenderer):
    """Lets a client ask for the file's own type; what it renders itself is only an error, and that is JSON."""

    media_type = "*/*"
    format = "file"

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> Any:
        return JSONRenderer().render(data, accepted_media_type, renderer_context)


class PacketFile(FarmAPI):
    needs = {"GET": Can.READ_FARM}
    renderer_classes = [JSONRenderer, AnyFileRenderer]

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY}, operation_id="fetch_packet_file")
    def get(self, request: Request, farm: str, packet: int, name: str) -> HttpResponseBase:
        return download(*services.fetch(member=self.member, packet_id=packet, name=name, now=self.now))
