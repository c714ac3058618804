"""Pages of the shed, for managers and applicators."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.inventory import forms, queries, services
from apps.people.rules import Can
from apps.products.queries import products, today
from farmops.web import FarmPage, FormPage

LINES = 50


class Shed(FarmPage):
    """What runs out first on top."""

    needs = {"GET": Can.READ_SHED}
    template_name = "inventory/shed.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.page({"rows": queries.shed(self.farm, self.now), "today": today(self.farm, self.now)})


class OneStock(FarmPage):
    """One product: balance, promises, lots and ledger, ``LINES`` lines a page."""

    needs = {"GET": Can.READ_SHED}
    template_name = "inventory/stock.html"

    def get(self, request: HttpRequest, farm: str, product: int) -> HttpResponse:
        row = queries.stock_row(self.farm, product, self.now)
        lines = queries.ledger(self.farm).filter(product=product)
        if request.GET.get("before", "").isdigit():
            lines = lines.filter(pk__lt=int(request.GET["before"][:18]))
        shown = list(lines[: LINES + 1])
        return self.page(
            {
                "row": row,
                "promises": queries.promises(self.farm, product),
                "lots": queries.lots(self.farm).filter(product=product).order_by("-on_hand", "expires_on"),
                "lines": shown[:LINES],
                "older": shown[LINES - 1].pk if len(shown) > LINES else None,
                "today": today(self.farm, self.now),
            }
        )


class Delivery(FormPage):
    needs = {"GET": Can.EDIT_SHED, "POST": Can.EDIT_SHED}
    template_name = "inventory/delivery.html"
    done = _("The delivery is in the book.")

    def form(self, data: Any = None) -> forms.DeliveryForm:
        here = today(self.farm, self.now)
        offered = products(self.farm, here).filter(retired_at=None)
        start = {"product_id": self.kwargs.get("product"), "received_on": here.isoformat()}
        return forms.DeliveryForm(data, products=[(p.pk, p.name) for p in offered], initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.receive_delivery(member=self.member, now=self.now, **cleaned)
        return reverse("inventory:stock", args=[self.farm.slug, row.product_id])


class LotPage(FormPage):
    """Shared by the pages of one lot."""

    needs = {"GET": Can.EDIT_SHED, "POST": Can.EDIT_SHED}

    def context(self) -> dict[str, Any]:
        return {"lot": queries.lot_in(self.farm, self.kwargs["lot"])}

    def home(self) -> str:
        return reverse("inventory:stock", args=[self.farm.slug, self.context()["lot"].product_id])


class Count(LotPage):
    template_name = "inventory/count.html"
    done = _("The count is in the book.")

    def form(self, data: Any = None) -> forms.CountForm:
        return forms.CountForm(data, initial={"unit": self.context()["lot"].product.stock.unit})

    def act(self, cleaned: dict[str, Any]) -> str:
        counted = cleaned.pop("quantity")
        services.count(member=self.member, lot_id=self.kwargs["lot"], counted=counted, now=self.now, **cleaned)
        return self.home()


class EditLot(LotPage):
    template_name = "inventory/edit_lot.html"
    done = _("The lot is corrected.")

    def form(self, data: Any = None) -> forms.LotForm:
        lot = self.context()["lot"]
        return forms.LotForm(data, initial={n: getattr(lot, n) for n in forms.LotForm.base_fields})

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version")
        services.edit_lot(
            member=self.member, lot_id=self.kwargs["lot"], expected_version=version, changes=cleaned, now=self.now
        )
        return self.home()
