"""The page with the numbers, kept on phones, and what stands in when there is no reception."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.safety import wording
from apps.safety.phones import forms, queries, services
from farmops.web import FarmPage, FormPage


class Phones(FarmPage):
    """Whom to call. Read without reception."""

    needs = {"GET": Can.READ_FARM}
    template_name = "safety/phones/phones.html"
    keep_offline = True

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.page({"numbers": queries.numbers(self.farm), "fixed": wording})


class NoConnection(FarmPage):
    """Shown by the phone in place of any page it cannot fetch: keep out, not confirmed, call."""

    needs = {"GET": Can.READ_FARM}
    template_name = "safety/phones/no_connection.html"
    keep_offline = True

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.page({"numbers": queries.urgent(self.farm), "fixed": wording})


class AddNumber(FormPage):
    needs = {"GET": Can.EDIT_FARM, "POST": Can.EDIT_FARM}
    template_name = "safety/phones/number.html"
    done = _("The number is on the list.")

    def form(self, data: Any = None) -> forms.NumberForm:
        return forms.NumberForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned.pop("version")
        services.add_number(member=self.member, values=cleaned, now=self.now)
        return reverse("safety:phones", args=[self.farm.slug])


class EditNumber(FormPage):
    needs = {"GET": Can.EDIT_FARM, "POST": Can.EDIT_FARM}
    template_name = "safety/phones/number.html"
    done = _("The number is changed.")

    def context(self) -> dict[str, Any]:
        return {"number": queries.number(self.farm, self.kwargs["number"])}

    def form(self, data: Any = None) -> forms.NumberForm:
        row = queries.number(self.farm, self.kwargs["number"])
        return forms.NumberForm(data, initial={n: getattr(row, n) for n in forms.NumberForm.base_fields})

    def act(self, cleaned: dict[str, Any]) -> str:
        services.edit_number(
            member=self.member,
            number_id=self.kwargs["number"],
            expected_version=cleaned.pop("version") or 0,
            changes=cleaned,
            now=self.now,
        )
        return reverse("safety:phones", args=[self.farm.slug])


class RemoveNumber(FarmPage):
    needs = {"POST": Can.EDIT_FARM}

    def post(self, request: HttpRequest, farm: str, number: int) -> HttpResponse:
        services.remove_number(member=self.member, number_id=number, now=self.now)
        return redirect("safety:phones", farm)
