"""Pages of safety data sheets; what is on file stands on the page of its product."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.products.pages import LabelPage
from apps.products.sds import queries, services
from apps.products.sds.api import paper
from farmops.web import FarmPage, FormPage, content_of


class SheetForm(forms.Form):
    sheet_on = forms.DateField(label=_("Date printed on the sheet"), widget=forms.DateInput(attrs={"type": "date"}))
    hangs_at = forms.CharField(label=_("Where it hangs"), required=False, max_length=200)
    file = forms.FileField(
        label=_("The sheet itself"),
        help_text=_("JPEG, PNG or PDF of at most 4 MB. May be left out if you say where it hangs."),
        required=False,
        allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,application/pdf"}),
    )


class RemoveForm(forms.Form):
    because = forms.CharField(label=_("Why it is taken away"), max_length=200)


class KeepSheet(LabelPage, FormPage):
    needs = {"GET": Can.EDIT_LABELS, "POST": Can.EDIT_LABELS}
    template_name = "products/safety_sheet.html"
    done = _("The safety data sheet is on file.")

    def context(self) -> dict[str, Any]:
        return {"product": self.product()}

    def form(self, data: Any = None) -> SheetForm:
        return SheetForm(data, self.request.FILES if data is not None else None)

    def act(self, cleaned: dict[str, Any]) -> str:
        file = cleaned.pop("file")
        content = None if file is None else content_of(file)
        product = self.kwargs["product"]
        services.keep_sheet(member=self.member, product_id=product, content=content, now=self.now, **cleaned)
        return self.address("product", product)


class RemoveSheet(LabelPage, FormPage):
    needs = {"GET": Can.EDIT_LABELS, "POST": Can.EDIT_LABELS}
    template_name = "products/safety_sheet.html"
    done = _("The safety data sheet is taken off the file.")

    def context(self) -> dict[str, Any]:
        row = queries.sheet_in(self.farm, self.kwargs["sheet"])
        return {"product": row.product, "sheet": row}

    def form(self, data: Any = None) -> RemoveForm:
        return RemoveForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.remove_sheet(member=self.member, sheet_id=self.kwargs["sheet"], now=self.now, **cleaned)
        return self.address("product", row.product_id)


class SheetFile(FarmPage):
    needs = {"GET": Can.READ_FARM}

    def get(self, request: HttpRequest, farm: str, sheet: int) -> HttpResponseBase:
        return paper(queries.sheet_in(self.farm, sheet))
