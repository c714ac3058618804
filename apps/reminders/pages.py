"""Pages of reminders."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import get_language, gettext

from apps.people.rules import Can
from apps.reminders import feeds, forms, letters, queries, rules, services
from apps.reminders.models import Notice
from apps.reminders.rules import names
from farmops import clock
from farmops.errors import BadInput, gettext_noop
from farmops.web import FarmPage, FormPage

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
    """What I was told: what is dangerous and unanswered first, then the newest, by day."""

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
        every = queries.notices_of(self.farm, self.member.person_id)
        urgent = list(every.filter(urgent=True, seen_at=None)[:ON_A_PAGE])
        mine = every.exclude(pk__in=[notice.pk for notice in urgent])
        if before := number(request.GET.get("before"), field="before"):
            mine = mine.filter(id__lt=before)
        shown = list(mine[: ON_A_PAGE + 1])
        lines = [self.line(notice) for notice in shown[:ON_A_PAGE]]
        newest = max((notice.pk for notice in [*urgent, *shown]), default=None)
        context: dict[str, Any] = {
            "urgent": [] if before else [self.line(notice) for notice in urgent],
            "days": [(on, list(of_day)) for on, of_day in groupby(lines, key=lambda line: line.on)],
            "unseen": queries.unseen_count(self.farm, self.member.person_id),
            "newest": None if before else newest,
            "older": lines[-1].notice.pk if len(shown) > ON_A_PAGE else None,
        }
        return self.page(context)


class Seen(FarmPage):
    needs = {"POST": Can.READ_FARM}

    def post(self, request: HttpRequest, farm: str, notice: int) -> HttpResponse:
        row = services.mark_seen(member=self.member, notice_id=notice, now=self.now)
        if row.urgent:
            messages.success(request, gettext("You have it. Nobody else is called about it now."))
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


# ---- what I wish to hear ---------------------------------------------------------------


class Wishes(FormPage):
    """My quiet hours, my morning e-mail, and which kinds come how; beside it, my calendar address."""

    needs = {"GET": Can.READ_FARM, "POST": Can.READ_FARM}
    template_name = "reminders/wishes.html"
    done = gettext_noop("Saved. What waits follows your new wish.")

    def form(self, data: Any = None) -> forms.WishesForm:
        wishes = queries.wishes(self.farm, [self.member.person_id])[self.member.person_id]
        return forms.WishesForm(data, initial=forms.WishesForm.initial_from(wishes))

    def act(self, cleaned: dict[str, Any]) -> str:
        services.set_wishes(member=self.member, **self.form().wanted(cleaned), now=self.now)
        return reverse("reminders:wishes", args=[self.farm.slug])

    def context(self) -> dict[str, Any]:
        address = queries.calendar_address(self.farm, self.member.person_id)
        return {"address": address, "shown": self.request.session.pop("calendar_address", "")}


class Calendar(FarmPage):
    """Make a new calendar address (the old one ends), or end it."""

    needs = {"POST": Can.READ_FARM}

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        if request.POST.get("end"):
            services.close_calendar(member=self.member, now=self.now)
            messages.success(request, gettext("The calendar address no longer works."))
        else:
            secret = services.open_calendar(member=self.member, now=self.now)
            request.session["calendar_address"] = feeds.address(secret)
        return redirect("reminders:wishes", farm)


# ---- other programs --------------------------------------------------------------------


class Webhooks(FormPage):
    """Where the farm's notices go besides people. Managers only."""

    needs = {"GET": Can.EDIT_FARM, "POST": Can.EDIT_FARM}
    template_name = "reminders/webhooks.html"

    def form(self, data: Any = None) -> forms.WebhookForm:
        return forms.WebhookForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        _row, secret = services.add_endpoint(member=self.member, **cleaned, now=self.now)
        self.request.session["webhook_secret"] = secret
        return reverse("reminders:webhooks", args=[self.farm.slug])

    def context(self) -> dict[str, Any]:
        shown = self.request.session.pop("webhook_secret", "") if self.request.method == "GET" else ""
        rows = list(queries.endpoints(self.farm))
        for row in rows:
            row.kind_names = [gettext(names.name_of(kind)) for kind in row.kinds]
        return {"endpoints": rows, "secret": shown}


class SwitchWebhook(FarmPage):
    needs = {"POST": Can.EDIT_FARM}

    def post(self, request: HttpRequest, farm: str, webhook: int) -> HttpResponse:
        on = request.POST.get("on") == "1"
        services.turn_endpoint(member=self.member, endpoint_id=webhook, on=on, now=self.now)
        return redirect("reminders:webhooks", farm)


class RenewSecret(FarmPage):
    needs = {"POST": Can.EDIT_FARM}

    def post(self, request: HttpRequest, farm: str, webhook: int) -> HttpResponse:
        _row, secret = services.new_secret(member=self.member, endpoint_id=webhook, now=self.now)
        request.session["webhook_secret"] = secret
        return redirect("reminders:webhooks", farm)


class Sweep(FarmPage):
    """Are reminders running?"""

    needs = {"GET": Can.MANAGE_PEOPLE}
    template_name = "reminders/sweep.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.page({"health": queries.health(self.farm, self.now)})
