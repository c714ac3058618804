"""Forms of the shed."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from farmops.errors import BadInput
from farmops.units import PRODUCT_UNITS, Quantity, quantity, unit_name


class QuantityForm(forms.Form):
    """An amount as typed with its unit; ``cleaned_data["quantity"]`` joins them."""

    amount = forms.CharField(label=_("Amount"), widget=forms.TextInput(attrs={"inputmode": "decimal"}))
    unit = forms.ChoiceField(label=_("Unit"))

    def __init__(self, *args: Any, units: tuple[str, ...] = PRODUCT_UNITS, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["unit"].choices = [("", "–"), *((u, unit_name(u)) for u in units)]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        found: dict[str, Any] = super().clean() or {}
        if "amount" in found and "unit" in found:
            found["quantity"] = self._joined(found.pop("amount"), found.pop("unit"))
        return found

    def _joined(self, amount: str, unit: str) -> Quantity | None:
        try:
            return quantity(amount, unit)
        except BadInput as bad:
            self.add_error("amount", bad.errors["amount"])
            return None


class DeliveryForm(QuantityForm):
    product_id = forms.TypedChoiceField(label=_("Product"), coerce=int)
    lot_number = forms.CharField(label=_("Lot number on the container"), max_length=60)
    received_on = forms.DateField(label=_("Delivered on"), widget=forms.DateInput(attrs={"type": "date"}))
    expires_on = forms.DateField(label=_("Expires on"), required=False, widget=forms.DateInput(attrs={"type": "date"}))
    supplier = forms.CharField(label=_("Supplier"), required=False, max_length=160)
    field_order = ["product_id", "lot_number", "amount", "unit", "received_on", "expires_on", "supplier"]

    def __init__(self, *args: Any, products: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["product_id"].choices = [("", "–"), *products]  # type: ignore[attr-defined]


class CountForm(QuantityForm):
    amount = forms.CharField(
        label=_("Amount that is there now"), widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    reason = forms.CharField(
        label=_("Why you counted"), help_text=_("For example: monthly count, spill"), max_length=300
    )


class LotForm(forms.Form):
    lot_number = forms.CharField(label=_("Lot number on the container"), max_length=60)
    expires_on = forms.DateField(
        label=_("Expires on"), required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    supplier = forms.CharField(label=_("Supplier"), required=False, max_length=160)
    version = forms.IntegerField(widget=forms.HiddenInput)
