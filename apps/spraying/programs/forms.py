"""Forms of season programs. Every form works without scripts; what is typed goes to the services as it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.crops.forms import WHOLE, Day
from apps.products.rules import RateBasis
from apps.spraying.forms import BASIS_NAMES, LINES, USUAL
from apps.spraying.programs.rules import CHOICE_NAMES, HEAVY_RAIN_IN, START_NAMES, STOP_DAYS, Choice
from farmops.units import unit_name

Choices = Sequence[tuple[Any, Any]]
DECIMAL = {"inputmode": "decimal", "autocomplete": "off"}


def _whole(**options: Any) -> forms.CharField:
    return forms.CharField(max_length=4, widget=forms.TextInput(attrs={**WHOLE, "autocomplete": "off"}), **options)


def _number(**options: Any) -> forms.CharField:
    return forms.CharField(max_length=20, widget=forms.TextInput(attrs=DECIMAL), **options)


class ProgramForm(forms.Form):
    """The program without its mixes: crop, blocks, trigger, interval, last day."""

    name = forms.CharField(label=_("Name"), max_length=80, help_text=_("Like: squash, powdery mildew 2027"))
    crop_id = forms.TypedChoiceField(label=_("Crop"), coerce=int)
    blocks = forms.TypedMultipleChoiceField(label=_("Blocks"), coerce=int, widget=forms.CheckboxSelectMultiple)
    targets = forms.CharField(
        label=_("Against what"),
        required=False,
        help_text=_("Pests or diseases, with commas between: powdery mildew, squash bug"),
    )
    start_kind = forms.ChoiceField(label=_("It begins"), widget=forms.RadioSelect)
    start_on = Day(label=_("The day it begins"), required=False)
    start_days = _whole(label=_("Days after planting, bloom or stage"), required=False)
    start_stage = forms.CharField(
        label=_("Growth stage"),
        required=False,
        max_length=24,
        help_text=_("Like first flower, z37 (Zadoks) or b61 (BBCH)"),
    )
    start_threshold = forms.ChoiceField(label=_("The threshold"), required=False)
    reckoned_on = Day(
        label=_("Expected to begin about"),
        required=False,
        help_text=_("For a beginning no calendar knows: it is laid over the calendar from this day."),
    )
    from_days = _whole(label=_("Next spray, days after the last, from"))
    to_days = _whole(label=_("Next spray, days after the last, through"))
    last_on = Day(label=_("Last day of the program"))
    repeats = forms.BooleanField(label=_("After the last mix begin again with the first"), required=False)
    rain_inches = _number(
        label=_("Rain within a day that asks for a decision, inches"),
        required=False,
        initial=HEAVY_RAIN_IN,
        help_text=_("After a protectant. One inch is common practice, no source."),
    )
    stop_days = _whole(
        label=_("Last days before harvest in which a spray no longer pays"),
        required=False,
        initial=STOP_DAYS,
        help_text=_("7 to 10 days (Michigan State University). Empty = it always pays."),
    )
    spray_gpa = _number(label=_("Spray volume, gallons per acre"), required=False)
    notes = forms.CharField(label=_("Notes"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3}))
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, crops: Choices, blocks: Choices, thresholds: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["crop_id"].choices = [("", "—"), *crops]
        fields["blocks"].choices = blocks
        fields["start_kind"].choices = [(kind.value, gettext(name)) for kind, name in START_NAMES.items()]
        fields["start_threshold"].choices = [("", "—"), *thresholds]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        cleaned["targets"] = [t for t in str(cleaned.get("targets", "")).split(",") if t.strip()]
        return cleaned


class PassForm(forms.Form):
    """One mix: up to four products."""

    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, products: Choices, removable: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        units = [("", "—"), *((unit, unit_name(unit)) for unit in (*USUAL, "%vv"))]
        for n in LINES:
            self.fields[f"product_{n}"] = forms.TypedChoiceField(
                label=_("Product %(n)s") % {"n": n},
                coerce=int,
                empty_value=None,
                required=n == 1 and not removable,
                choices=[("", "—"), *products],
            )
            self.fields[f"amount_{n}"] = _number(label=_("Rate of product %(n)s") % {"n": n}, required=False)
            self.fields[f"unit_{n}"] = forms.ChoiceField(
                label=_("Unit of product %(n)s") % {"n": n}, required=False, choices=units
            )
            self.fields[f"basis_{n}"] = forms.ChoiceField(
                label=_("Rate of product %(n)s is") % {"n": n},
                required=False,
                choices=[(b.value, BASIS_NAMES[b]) for b in RateBasis],
            )
        if removable:
            self.fields["remove"] = forms.BooleanField(label=_("Take this pass out"), required=False)

    @property
    def lines(self) -> list[list[forms.BoundField]]:
        return [[self[f"{part}_{n}"] for part in ("product", "amount", "unit", "basis")] for n in LINES]

    @property
    def rest(self) -> list[forms.BoundField]:
        return [self[name] for name in ("remove", "version") if name in self.fields]

    def products(self) -> list[dict[str, Any]]:
        """The lines filled in, as ``set_up_program`` takes them."""
        typed = self.cleaned_data
        return [
            {
                "product_id": typed[f"product_{n}"],
                "rate_amount": typed[f"amount_{n}"],
                "rate_unit": typed[f"unit_{n}"],
                "rate_basis": typed[f"basis_{n}"],
            }
            for n in LINES
            if typed[f"product_{n}"] is not None
        ]


class DecideForm(forms.Form):
    """What is decided, for which blocks, and why."""

    blocks = forms.TypedMultipleChoiceField(label=_("Blocks"), coerce=int, widget=forms.CheckboxSelectMultiple)
    choice = forms.ChoiceField(label=_("What you decide"), widget=forms.RadioSelect)
    reason = forms.CharField(label=_("Why"), max_length=2000, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, blocks: Choices, possible: Sequence[Choice], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["blocks"].choices = blocks
        fields["choice"].choices = [(c.value, gettext(CHOICE_NAMES[c])) for c in possible]
