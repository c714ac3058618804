"""The form of a sum, built from what it asks."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.equipment.sums.rules import Asked, Kind, Sum
from farmops.units import unit_name

DECIMAL = {"inputmode": "decimal", "autocomplete": "off"}


class SumForm(forms.Form):
    """A box for each thing asked, and beside an amount the choice of its unit."""

    def __init__(self, *args: Any, made: Sum, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for box in made.asked:
            self.fields[box.name] = field = _box(box)
            field.needed = box.needed  # the sum itself says what is missing, and how it should look
            if box.units and box.kind is not Kind.ANY:
                field.part = "amount"
                self.fields[f"{box.name}_unit"] = _unit(box)


def _box(box: Asked) -> forms.Field:
    label, hint = gettext(box.label), gettext(box.hint) if box.hint else ""
    if box.kind is Kind.CHOICE:
        choices = [(code, gettext(words)) for code, words in box.choices]
        widget = forms.RadioSelect if len(choices) <= 3 else forms.Select
        return forms.ChoiceField(label=label, choices=choices, required=False, initial=box.start, widget=widget)
    attrs = {"autocomplete": "off"} if box.kind in (Kind.ANY, Kind.TEXT, Kind.SEVERAL) else DECIMAL
    return forms.CharField(
        label=label,
        required=False,
        initial=box.start,
        help_text=hint,
        max_length=2000,
        widget=forms.TextInput(attrs=attrs | ({"data-optional": "1"} if not box.needed else {})),
    )


def _unit(box: Asked) -> forms.ChoiceField:
    choices = [(unit, unit_name(unit)) for unit in box.units]
    if box.kind is Kind.PRODUCT:
        choices.insert(0, ("", gettext("choose the unit")))
    named = gettext("Unit: %(what)s") % {"what": gettext(box.label)}
    widget = forms.Select(attrs={"aria-label": named})  # on the page it stands beside its amount
    field = forms.ChoiceField(label=gettext("Unit"), choices=choices, required=False, widget=widget)
    field.needed, field.part = True, "unit"
    return field


GROUP_NAMES = {
    "calibrate": _("Calibrating"),
    "nozzles": _("Nozzles and pressure"),
    "boom": _("Boom, crop and people"),
    "loads": _("Loads and time"),
    "product": _("Product and units"),
}
