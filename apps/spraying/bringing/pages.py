"""Pages of bringing the past in: pick a file, read the answer to every row, then bring it in."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.spraying.bringing import queries, services
from apps.spraying.bringing.rules import NEEDED, OPTIONAL
from farmops.csv_doors import SHOWN, AskAboutFile, ConfirmFile, FileForm
from farmops.errors import gettext_noop
from farmops.web import FarmPage


class PastForm(FileForm):
    hint = _("One row for each product on each block, at most 1 MB.")


class Bring(AskAboutFile):
    """The file, and the answer to every row of it. Nothing is written here."""

    needs = {"GET": Can.PLAN_JOBS, "POST": Can.PLAN_JOBS}
    template_name = "spraying/bring.html"
    form_class = PastForm

    def examine(self, text: str) -> Any:
        return services.examine(self.farm, text, self.now)

    def context(self) -> dict[str, Any]:
        files = queries.files(self.farm)[:SHOWN]
        return {"files": files, "needed": ", ".join(NEEDED), "optional": ", ".join(OPTIONAL)}


class BringConfirmed(ConfirmFile):
    """All rows or none, after they were answered."""

    needs = {"POST": Can.PLAN_JOBS}
    template_name = "spraying/bring_confirm.html"
    done = gettext_noop("Brought in. It counts from now on in limits, rotation and waits.")

    def act(self, cleaned: dict[str, Any]) -> str:
        file = services.bring_in(member=self.member, name=cleaned["name"], text=cleaned["text"], now=self.now)
        return reverse("spraying:brought", args=[self.farm.slug, file.pk])


class Brought(FarmPage):
    """What one file brought in, row by row: not signed here."""

    needs = {"GET": Can.READ_RECORDS}
    template_name = "spraying/brought.html"

    def get(self, request: HttpRequest, farm: str, file: int) -> HttpResponse:
        row = queries.file_in(self.farm, file)
        return self.page({"file": row, "sprays": queries.brought(self.farm).filter(file=row).order_by("row")})
