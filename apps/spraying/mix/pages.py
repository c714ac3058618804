"""The mix sheet in the yard: a checklist on the phone, and the same on paper."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext

from apps.people.rules import Can
from apps.spraying import queries as jobs
from apps.spraying.mix import forms, pdf, services, wording
from apps.spraying.mix.api import wants_even
from apps.spraying.mix.queries import MixSheet, mix_sheet
from farmops.errors import BadInput
from farmops.web import FarmPage


class MixPage(FarmPage):
    """Shared by page and paper."""

    needs = {"GET": Can.READ_JOBS}

    @property
    def even(self) -> bool:
        return wants_even(self.request.GET.get("even", ""))

    def made(self) -> MixSheet:
        return mix_sheet(jobs.job(self.farm, self.kwargs["job"]), even=self.even)


class MixSheetPage(MixPage):
    """The checklist, load by load. Without scripts each tick is a form; with them it also works without reception."""

    needs = {"GET": Can.READ_JOBS, "POST": Can.SPRAY}
    template_name = "spraying/mix_sheet.html"
    keep_offline = True

    def get(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        return self.page(self.context())

    def context(self) -> dict[str, Any]:
        made = self.made()
        return {
            "made": made,
            "job": made.job,
            "sheet": made.sheet,
            "summary": wording.summary(made),
            "groups": wording.groups(made),
            "order": [(row, wording.because(row)) for row in made.sheet.order],
            "gear": wording.wear(made),
            "entry": wording.entry_words(made),
            "pump": wording.pump_words(made),
            "may_tick": self.member.can(Can.SPRAY) and made.job.state not in services.NOT_MIXED,
            "as_of": self.now,
        }

    def post(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        form = forms.TickForm(request.POST)
        if not form.is_valid():
            raise BadInput({name: [str(e) for e in said] for name, said in form.errors.items()})
        typed = form.cleaned_data
        place = reverse("spraying:mix_sheet", args=[farm, job]) + ("?even=1" if self.even else "")

        def act() -> str:
            services.tick(member=self.member, job_id=job, even=self.even, now=self.now, **typed)
            return f"{place}#load-{typed['load']}" if typed["load"] else place

        response = self.act_once(act)
        messages.success(request, gettext("Saved.") if typed["done"] else gettext("The tick is taken back."))
        return response


class MixSheetPaper(MixPage):
    """The sheet as a PDF."""

    def get(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        return pdf.answer(self.made(), now=self.now)
