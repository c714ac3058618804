"""Pages of resistance advice: the table the farm follows, and one rule of its own."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext, gettext_noop

from apps.people.rules import Can
from apps.spraying.facts import settings_of
from apps.spraying.forms import PRESET_NAMES
from apps.spraying.policies import queries, services
from apps.spraying.policies.forms import AdviceForm, PresetForm
from farmops.web import FormPage

DONE = {
    "copy": gettext_noop("The table is the farm's own now and can be changed."),
    "follow": gettext_noop("The farm follows the shipped table."),
    "drop": gettext_noop("The rule is taken out."),
}


class AdvicePage(FormPage):
    """The table; a manager makes it the farm's own, goes back to a shipped one, or takes a rule out."""

    needs = {"GET": Can.READ_JOBS, "POST": Can.EDIT_FARM}
    template_name = "spraying/advice.html"

    def form(self, data: Any = None) -> PresetForm:
        dropping = data is not None and data.get("do") == "drop"
        form = PresetForm(data, initial={"preset": settings_of(self.farm).preset})
        if dropping:
            form.fields.clear()
        return form

    def context(self) -> dict[str, Any]:
        house = settings_of(self.farm)
        return {
            "own": house.own_advice,
            "preset_name": PRESET_NAMES.get(house.preset, house.preset),
            "rules": queries.shown(house),
        }

    def act(self, cleaned: dict[str, Any]) -> str:
        do, member, now = self.request.POST.get("do", ""), self.member, self.now
        if do == "drop":
            rule, version = (self._number(name) for name in ("rule", "version"))
            services.drop_advice(member=member, rule_id=rule, expected_version=version, now=now)
        elif do == "copy":
            services.copy_advice(member=member, preset=cleaned["preset"], now=now)
        else:
            services.follow_shipped(member=member, preset=cleaned["preset"], now=now)
        messages.success(self.request, gettext(DONE.get(do, DONE["follow"])))
        return reverse("spraying:advice", args=[self.farm.slug])

    def _number(self, name: str) -> int:
        text = self.request.POST.get(name, "")
        return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else 0


class NewAdvice(FormPage):
    needs = {"GET": Can.EDIT_FARM, "POST": Can.EDIT_FARM}
    template_name = "spraying/advice_rule.html"
    done = gettext_noop("The rule is added.")

    def form(self, data: Any = None) -> AdviceForm:
        return AdviceForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.add_advice(member=self.member, values=cleaned, now=self.now)
        return reverse("spraying:advice", args=[self.farm.slug])


class EditAdvice(NewAdvice):
    done = gettext_noop("The rule is changed.")

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        queries.own_rule(self.farm, self.kwargs["rule"])
        return super().get(request, *args, **kwargs)

    def form(self, data: Any = None) -> AdviceForm:
        row = queries.own_rule(self.farm, self.kwargs["rule"])
        return AdviceForm(data, initial={**queries.values_of(row), "version": row.version})

    def act(self, cleaned: dict[str, Any]) -> str:
        services.change_advice(
            member=self.member,
            rule_id=self.kwargs["rule"],
            expected_version=cleaned.pop("version") or 0,
            changes=cleaned,
            now=self.now,
        )
        return reverse("spraying:advice", args=[self.farm.slug])
