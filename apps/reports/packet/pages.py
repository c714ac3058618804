"""Pages of packets: ask for one, see how far it is, fetch its files."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import reverse

from apps.land import queries as land
from apps.people.rules import Can
from apps.reports.packet import forms, queries, services
from apps.reports.packet.api import download
from apps.reports.packet.rules import AUDIENCE_NAMES, LAW, LEFT_OUT, LIFE, STATE_NAMES, Audience, PacketState, read_ask
from apps.reports.packet.serializers import ask_of
from farmops.web import FarmPage, FormPage

SHOWN = 30


class Packets(FormPage):
    """Ask, and the packets asked for before."""

    needs = {"GET": Can.READ_FARM, "POST": Can.READ_FARM}
    template_name = "reports/packets.html"

    def form(self, data: Any = None) -> forms.PacketForm:
        known = self.member.can(Can.READ_RECORDS)
        return forms.PacketForm(
            data,
            member=self.member,
            blocks=[(b.pk, str(b)) for b in land.all_blocks(self.farm)],
            products=queries.products(self.farm) if known else [],
        )

    def context(self) -> dict[str, Any]:
        rows = list(queries.packets(self.member)[:SHOWN])
        for row in rows:
            describe(row)
        return {"packets": rows, "days_kept": LIFE.days, "law": LAW[Audience.WORKER]}

    def act(self, cleaned: dict[str, Any]) -> str:
        ask = ask_of({"audience": Audience.WORKER, **cleaned})
        row = services.ask_packet(member=self.member, ask=ask, now=self.now)
        services.make_if_small(farm=self.farm, packet_id=row.pk, now=self.now)
        return reverse("reports:packet", args=[self.farm.slug, row.pk])


def describe(row: Any) -> Any:
    """A packet with its words beside it."""
    row.asked = read_ask(row.ask)
    row.audience_name = AUDIENCE_NAMES[row.asked.audience]
    row.state_name = STATE_NAMES[PacketState(row.state)]
    row.open = row.state in (PacketState.WAITING, PacketState.MAKING)
    return row


class OnePacket(FarmPage):
    needs = {"GET": Can.READ_FARM}
    template_name = "reports/packet.html"

    def get(self, request: HttpRequest, farm: str, packet: int) -> HttpResponseBase:
        row = describe(queries.packet(self.member, packet))
        audience = row.asked.audience
        return self.page({"packet": row, "law": LAW[audience], "left_out": LEFT_OUT[audience]})


class PacketFile(FarmPage):
    needs = {"GET": Can.READ_FARM}

    def get(self, request: HttpRequest, farm: str, packet: int, name: str) -> HttpResponseBase:
        return download(*services.fetch(member=self.member, packet_id=packet, name=name, now=self.now))
