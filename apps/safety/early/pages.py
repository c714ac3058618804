"""The supervisor's page for early entry. It shows what is ruled out; it never says yes."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.land import queries as land
from apps.people.rules import Can
from apps.safety import queries as board
from apps.safety import wording
from apps.safety.early import forms, queries, services
from apps.safety.rules.early import FIRST_HOURS
from farmops.web import FarmPage, FormPage


class EarlyEntryPage(FormPage):
    """What keeps the block shut, what the law rules out, and the supervisor's decision."""

    needs = {"GET": Can.SUPERVISE_ENTRY, "POST": Can.SUPERVISE_ENTRY}
    template_name = "safety/early/decide.html"
    done = _("Your decision is recorded under your name. The board itself still says keep out.")

    def form(self, data: Any = None) -> forms.EarlyEntryForm:
        return forms.EarlyEntryForm(data, workers=queries.workers(self.farm))

    def context(self) -> dict[str, Any]:
        ground = land.block(self.farm, self.kwargs["block"])
        known = queries.ground_of(ground, self.now, self.now)
        zone = wording.zone_of(self.farm)
        said = board.entry_answer(ground, activity=None, at=self.now, now=self.now)
        return {
            "ground": ground,
            "known": known,
            "shut": said.keep_out,
            "reasons": [wording.sentence(b, zone) for b in said.because],
            "contact_from": known.ended_at and known.ended_at + FIRST_HOURS,
            "gear": queries.gear_on_labels(ground, self.now),
            "button": _("Record my decision under my name"),
        }

    def act(self, cleaned: dict[str, Any]) -> str:
        stated = {name: cleaned.pop(name) for name in services.STATEMENTS}
        block = self.kwargs["block"]
        services.decide(member=self.member, block_id=block, starts_at=self.now, stated=stated, now=self.now, **cleaned)
        return reverse("safety:early_entries", args=[self.farm.slug])


class EarlyEntries(FarmPage):
    """Decisions of the last days, and a button for when the worker has left."""

    needs = {"GET": Can.SUPERVISE_ENTRY, "POST": Can.SUPERVISE_ENTRY}
    template_name = "safety/early/entries.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        rows = queries.entries(self.farm)[:100]
        return self.page({"rows": [(row, forms.ROUTE_NAMES[row.route]) for row in rows]})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        def act() -> str:
            entry = request.POST.get("entry", "")
            services.left(member=self.member, entry_id=int(entry) if entry.isdecimal() else 0, now=self.now)
            return reverse("safety:early_entries", args=[self.farm.slug])

        return self.act_once(act)
