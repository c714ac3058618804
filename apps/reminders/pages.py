"""Pages of reminders."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import get_language, gettext

from apps.people.rules import Can
from apps.reminders import letters, queries, rules, services
from apps.reminders.models import Notice
from farmops import clock
from farmops.errors import BadInput, gettext_noop
from farmops.web import FarmPage

ON_A_PAGE = 50


@dataclass(frozen=True)
class Line:
    """A notice as it is read."""

    notice: Notice
    level: str
    sentence: str
    on: date


def number(raw: str | None, *, field: str) -> int | None:
    """A whole number from the address or a form; ``BadInput`` on ``field`` if it is something else."""
    if not raw:
        return None
    if not (raw.isascii() and raw.isdigit() and len(raw) < 19):
        raise BadInput({field: gettext_noop("Must be the number of a notice.")})
    return int(raw)


class Notices(FarmPage):
    """What I was told, newest first, by day."""

    needs = {"GET": Can.READ_FARM}
    template_name = "reminders/notices.html"

    def line(self, notice: Notice) -> Line:
        level = rules.level_of(notice.kind, urgent=notice.urgent)
        return Line(
            notice=notice,
            level=gettext(rules.LEVEL_NAMES[level]),
            sentence=letters.said(notice, get_language() or "en"),
            on=clock.to_local(notice.created_at, self.farm.time_zone).date(),
        )

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        mine = queries.notices_of(self.farm, self.member.person_id)
        if before := number(request.GET.get("before"), field="before"):
            mine = mine.filter(id__lt=before)
        shown = list(mine[: ON_A_PAGE + 1])
        lines = [self.line(notice) for notice in shown[:ON_A_PAGE]]
        context: dict[str, Any] = {
            "days": [(on, list(of_day)) for on, of_day in groupby(lines, key=lambda line: line.on)],
            "unseen": queries.unseen_count(self.farm, self.member.person_id),
            "newest": shown[0].pk if shown and not before else None,
            "older": lines[-1].notice.pk if len(shown) > ON_A_PAGE else None,
        }
        if self.member.can(Can.MANAGE_PEOPLE):
            context["health"] = queries.health(self.farm, self.now)
        return self.page(context)


class Seen(FarmPage):
    needs = {"POST": Can.READ_FARM}

    def post(self, request: HttpRequest, farm: str, notice: int) -> HttpResponse:
        services.mark_seen(member=self.member, notice_id=notice, now=self.now)
        return redirect("reminders:notices", farm)


class AllSeen(FarmPage):
    needs = {"POST": Can.READ_FARM}

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        up_to = number(request.POST.get("up_to"), field="up_to")
        if up_to is None:
            raise BadInput({"up_to": gettext_noop("Must be the number of a notice.")})
        services.mark_all_seen(member=self.member, up_to=up_to, now=self.now)
        messages.success(request, gettext("All marked as seen."))
        return redirect("reminders:notices", farm)
