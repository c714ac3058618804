"""Pages of scans of cards."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.training.pages import CardForm
from apps.training.scans import forms, queries, services
from apps.training.scans.api import picture
from farmops.web import FarmPage, content_of


class AddScan(CardForm):
    template_name = "training/scan.html"
    title = _("Add a picture of the card")
    button = _("Keep the picture")
    done = _("The picture is kept.")

    def form(self, data: Any = None) -> forms.ScanForm:
        return forms.ScanForm(data, self.request.FILES if data is not None else None)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.add_scan(
            member=self.member,
            certificate_id=self.kwargs["certificate"],
            content=content_of(cleaned["scan"]),
            signed=cleaned["signed"],
            now=self.now,
        )
        return self.to_card(row.certificate.person_id)


class RemoveScan(CardForm):
    title = _("Take a picture away")
    button = _("Take it away")
    done = _("The picture is taken away.")

    def form(self, data: Any = None) -> forms.RemoveForm:
        return forms.RemoveForm(data)

    def context(self) -> dict[str, Any]:
        return {**super().context(), "certificate": queries.scan(self.member, self.kwargs["scan"]).certificate}

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.remove_scan(member=self.member, scan_id=self.kwargs["scan"], now=self.now, **cleaned)
        return self.to_card(row.certificate.person_id)


class ScanFile(FarmPage):
    needs = {"GET": Can.READ_FARM}

    def get(self, request: HttpRequest, farm: str, scan: int) -> HttpResponseBase:
        return picture(services.fetch_scan(member=self.member, scan_id=scan, now=self.now))
