"""Pages of the label library."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.products import forms, queries, services
from apps.products.filters import ProductFilter
from apps.products.models import LabelVersion, Product
from apps.products.sds.queries import sheets as safety_sheets
from apps.products.sheets import LabelSheet
from farmops.errors import BadInput, Refused, Stale
from farmops.web import FarmPage, FormPage


class LabelPage(FarmPage):
    """Shared by the pages of one product or label version."""

    @property
    def today(self) -> date:
        return queries.today(self.farm, self.now)

    def product(self) -> Product:
        return queries.product_in(self.farm, self.kwargs["product"], self.today)

    def label(self) -> LabelVersion:
        return queries.version_in(self.farm, self.kwargs["label"])

    def address(self, name: str, *args: Any) -> str:
        return reverse(f"products:{name}", args=[self.farm.slug, *args])


class Library(LabelPage):
    """Every product with the label in force; retired ones on request."""

    needs = {"GET": Can.READ_FARM}
    template_name = "products/library.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        asked = request.GET.copy()
        asked["retired"] = "true" if request.GET.get("retired") else "false"
        found = ProductFilter(asked, queryset=queries.products(self.farm, self.today))
        labels = queries.labels_in_force(self.farm, [p.pk for p in found.qs], self.today)
        rows = [(product, labels.get(product.pk)) for product in found.qs]
        return self.page({"rows": rows, "asked": request.GET, "today": self.today})


class AddProduct(LabelPage, FormPage):
    needs = {"GET": Can.EDIT_LABELS, "POST": Can.EDIT_LABELS}
    template_name = "products/product_form.html"
    done = _("The product is in the library. Enter its label next.")

    def form(self, data: Any = None) -> forms.ProductForm:
        return forms.ProductForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.add_product(member=self.member, now=self.now, **cleaned)
        return self.address("product", row.pk)


class EditProduct(LabelPage, FormPage):
    needs = {"GET": Can.EDIT_LABELS, "POST": Can.EDIT_LABELS}
    template_name = "products/product_form.html"
    done = _("The product is changed.")

    def context(self) -> dict[str, Any]:
        return {"product": self.product()}

    def form(self, data: Any = None) -> forms.ProductEditForm:
        row = self.product()
        names = ("name", "kind", "registration_number", "version")
        start = {**{n: getattr(row, n) for n in names}, "retired": row.retired_at is not None}
        return forms.ProductEditForm(data, initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version")
        row = services.edit_product(
            member=self.member,
            product_id=self.kwargs["product"],
            expected_version=version,
            changes=cleaned,
            now=self.now,
        )
        return self.address("product", row.pk)


class OneProduct(LabelPage):
    """The label in force, who checked it, what it says; and every version there was."""

    needs = {"GET": Can.READ_FARM}
    template_name = "products/product.html"

    def get(self, request: HttpRequest, farm: str, product: int) -> HttpResponse:
        row = self.product()
        versions = list(queries.versions_of(self.farm, row.pk))
        current = next((v for v in versions if v.pk == row.label_in_force_id), None)
        sheets = list(safety_sheets(self.farm).filter(product=row))
        shown = {"product": row, "version": current, "versions": versions, "sheets": sheets, "today": self.today}
        return self.page(shown)


class OneLabel(LabelPage):
    """One label version read back in full."""

    needs = {"GET": Can.READ_FARM}
    template_name = "products/label.html"

    def get(self, request: HttpRequest, farm: str, label: int) -> HttpResponse:
        return self.page({"version": self.label()})


class LabelEditor(LabelPage):
    """Shared by the pages that fill in a label sheet. What was typed always comes back."""

    needs = {"GET": Can.EDIT_LABELS, "POST": Can.EDIT_LABELS}
    template_name = "products/label_form.html"

    def sheet(self, data: Any = None, more: str = "") -> LabelSheet:
        raise NotImplementedError

    def save(self, about: dict[str, Any], body: dict[str, Any]) -> LabelVersion:
        raise NotImplementedError

    def context(self) -> dict[str, Any]:
        raise NotImplementedError

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return self.page({"sheet": self.sheet(), **self.context()})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if more := request.POST.get("more"):
            return self.page({"sheet": self.sheet(request.POST, more), "adding": more, **self.context()})
        sheet = self.sheet(request.POST)
        if not sheet.is_valid():
            return self._back(sheet, 400)
        try:
            response = self.act_once(lambda: self._saved(sheet))
        except BadInput as bad:
            sheet.put(bad)
            return self._back(sheet, 400)
        except Refused as no:
            return self._back(sheet, 409, findings=no.findings)
        except Stale as late:
            return self._back(sheet, 412, late=str(late))
        messages.success(request, gettext("The draft is saved. It cannot be used until it is checked."))
        return response

    def _saved(self, sheet: LabelSheet) -> str:
        return self.address("label", self.save(dict(sheet.about.cleaned_data), sheet.body()).pk)

    def _back(self, sheet: LabelSheet, status: int, **more: Any) -> HttpResponse:
        return self.page({"sheet": sheet, "problems": sheet.problems, **self.context(), **more}, status=status)


class DraftLabel(LabelEditor):
    """A new label version; starts from the newest one there is."""

    def context(self) -> dict[str, Any]:
        return {"product": self.product()}

    def sheet(self, data: Any = None, more: str = "") -> LabelSheet:
        row = self.product()
        newest = queries.versions_of(self.farm, row.pk).first()
        body = newest.body if newest else None
        return LabelSheet(kind=row.kind, data=data, body=body, about={"effective_on": self.today}, more=more)

    def save(self, about: dict[str, Any], body: dict[str, Any]) -> LabelVersion:
        about.pop("version")
        return services.draft_label(
            member=self.member, product_id=self.kwargs["product"], body=body, now=self.now, **about
        )


class EditDraft(LabelEditor):
    def context(self) -> dict[str, Any]:
        row = self.label()
        return {"version": row, "product": row.product}

    def sheet(self, data: Any = None, more: str = "") -> LabelSheet:
        row = self.label()
        about = {n: getattr(row, n) for n in ("effective_on", "note", "version")}
        return LabelSheet(kind=row.product.kind, data=data, body=row.body, about=about, more=more)

    def save(self, about: dict[str, Any], body: dict[str, Any]) -> LabelVersion:
        version = about.pop("version") or 0
        return services.edit_draft(
            member=self.member,
            label_id=self.kwargs["label"],
            expected_version=version,
            changes={**about, "body": body},
            now=self.now,
        )


class CheckLabel(LabelPage, FormPage):
    """The whole label read back, and the button that says it was compared with the paper."""

    needs = {"GET": Can.CHECK_LABELS, "POST": Can.CHECK_LABELS}
    template_name = "products/check.html"
    done = _("Checked. This version never changes from now on.")

    def context(self) -> dict[str, Any]:
        row = self.label()
        return {"version": row, "same_person": row.transcribed_by_id == self.member.person_id}

    def form(self, data: Any = None) -> forms.CheckForm:
        return forms.CheckForm(data, initial={"body_hash": self.label().body_hash})

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.check_label(member=self.member, label_id=self.kwargs["label"], now=self.now, **cleaned)
        return self.address("label", row.pk)


class WithdrawLabel(LabelPage, FormPage):
    needs = {"GET": Can.CHECK_LABELS, "POST": Can.CHECK_LABELS}
    template_name = "products/withdraw.html"
    done = _("The label version is withdrawn.")

    def context(self) -> dict[str, Any]:
        return {"version": self.label()}

    def form(self, data: Any = None) -> forms.WithdrawForm:
        return forms.WithdrawForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.withdraw_label(member=self.member, label_id=self.kwargs["label"], now=self.now, **cleaned)
        return self.address("product", row.product_id)
