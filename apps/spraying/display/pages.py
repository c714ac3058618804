"""Pages of the central display: the list every worker may read, one sheet, and the same on paper."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.spraying import queries as jobs
from apps.spraying.display import pdf, queries, services
from farmops.web import FarmPage, FormPage


class Displays(FarmPage):
    """The sheets of the applications of the last months, newest first."""

    needs = {"GET": Can.READ_FARM}
    template_name = "spraying/display/displays.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return self.page({"sheets": [queries.sheet(job) for job in queries.displayed(self.farm, self.now)]})


class SdsForm(forms.Form):
    """One box for each product: its safety data sheet hangs beside the sheet."""

    sds_for = forms.TypedMultipleChoiceField(
        label=_("These safety data sheets hang beside the sheet"),
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, products: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sds_for"].choices = products


class JobDisplay(FormPage):
    """One sheet; whoever hangs it up says that the safety data sheets hang beside it."""

    needs = {"GET": Can.READ_FARM, "POST": Can.POST_NOTICES}
    template_name = "spraying/display/sheet.html"
    done = _("Recorded: the sheet hangs at the central place.")

    def form(self, data: Any = None) -> SdsForm:
        row = jobs.job(self.farm, self.kwargs["job"])
        return SdsForm(data, products=[(p.product_id, p.product.name) for p in row.job_products.all()])

    def context(self) -> dict[str, Any]:
        said = queries.sheet(jobs.job(self.farm, self.kwargs["job"]))
        may = self.member.can(Can.POST_NOTICES)
        return {
            "said": said,
            "times": pdf.times(said),
            "safety_sheets": pdf.safety_sheets(said),
            "may_put_up": may and said.display is None and said.ended_at,
        }

    def act(self, cleaned: dict[str, Any]) -> str:
        services.put_up(member=self.member, job_id=self.kwargs["job"], sds_for=cleaned["sds_for"], now=self.now)
        return reverse("spraying:displays", args=[self.farm.slug])


class DisplayPaper(FarmPage):
    """The sheet to print."""

    needs = {"GET": Can.READ_FARM}

    def get(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        return pdf.answer(queries.sheet(jobs.job(self.farm, job)), self.now)


class TakeDownDisplay(FarmPage):
    needs = {"POST": Can.POST_NOTICES}

    def post(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        def act() -> str:
            services.take_down(member=self.member, job_id=job, now=self.now)
            return reverse("spraying:displays", args=[self.farm.slug])

        return self.act_once(act)
