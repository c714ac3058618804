"""Forms of sprayers and the guided calibration. A point is the only decimal mark, in both languages."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.equipment.rules import DropletClass, Method
from apps.equipment.rules.calibration import LIFE_DAYS
from farmops.errors import BadInput, gettext_noop
from farmops.problems import in_words
from farmops.units import number

METHOD_NAMES = {
    Method.BOOM: gettext_noop("boom"),
    Method.HANDHELD: gettext_noop("by hand (knapsack, gun)"),
    Method.AIR_BLAST: gettext_noop("air-blast"),
    Method.AERIAL: gettext_noop("from the air"),
    Method.FUMIGANT: gettext_noop("fumigant"),
    Method.FOG: gettext_noop("smoke, mist or fog"),
    Method.DRIP: gettext_noop("drip line"),
    Method.SOIL_INJECTION: gettext_noop("injected into the soil"),
}
DROPLET_NAMES = {
    DropletClass.EXTREMELY_FINE: gettext_noop("extremely fine"),
    DropletClass.VERY_FINE: gettext_noop("very fine"),
    DropletClass.FINE: gettext_noop("fine"),
    DropletClass.MEDIUM: gettext_noop("medium"),
    DropletClass.COARSE: gettext_noop("coarse"),
    DropletClass.VERY_COARSE: gettext_noop("very coarse"),
    DropletClass.EXTREMELY_COARSE: gettext_noop("extremely coarse"),
    DropletClass.ULTRA_COARSE: gettext_noop("ultra coarse"),
}
DECIMAL, WHOLE, DATE = {"inputmode": "decimal"}, {"inputmode": "numeric"}, {"type": "date"}


class AmountField(forms.CharField):
    """A number as typed, with at most ``places`` decimals; cleaned to Decimal, or None when left empty."""

    def __init__(self, *, maximum: int, places: int = 2, above_zero: bool = True, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs=dict(DECIMAL)), **kwargs)
        self.maximum, self.places, self.above_zero = maximum, places, above_zero

    def to_python(self, value: Any) -> Decimal | None:
        text = str(value or "").strip()
        if not text:
            return None
        try:
            typed = number(text, field="typed", maximum=self.maximum)
        except BadInput as bad:
            raise ValidationError([in_words(s) for s in bad.errors["typed"]]) from None
        if self.above_zero and typed <= 0:
            raise ValidationError(gettext("Must be more than 0."))
        if typed != round(typed, self.places):
            raise ValidationError(gettext("At most %(n)d decimals.") % {"n": self.places})
        return typed


class SprayerForm(forms.Form):
    name = forms.CharField(label=_("Name of the sprayer"), max_length=80)
    method = forms.ChoiceField(label=_("How it applies"))
    tank_gal = AmountField(label=_("Tank, gallons"), maximum=99999)
    usable_gal = AmountField(
        label=_("Usable, gallons"),
        maximum=99999,
        help_text=_("What comes out of a full tank before the pump draws air."),
    )
    swath_ft = AmountField(
        label=_("Width sprayed in one pass, feet"), maximum=400, help_text=_("A boom on one side: that side only.")
    )
    nozzles = forms.IntegerField(
        label=_("Number of nozzles"), min_value=1, max_value=200, widget=forms.TextInput(attrs=WHOLE)
    )
    spacing_in = AmountField(label=_("Nozzle spacing, inches"), maximum=400, required=False)
    nozzle_name = forms.CharField(label=_("Kind of nozzle"), max_length=80, required=False)
    nozzle_new_gpm = AmountField(
        label=_("Flow of a new nozzle, gallons per minute"),
        maximum=200,
        places=4,
        required=False,
        help_text=_("From the nozzle's chart. Without it, wear cannot be told."),
    )
    nozzle_new_psi = AmountField(label=_("At this pressure, psi"), maximum=1000, required=False)
    droplet_class = forms.ChoiceField(
        label=_("Droplet class at your pressure"),
        required=False,
        help_text=_("From the nozzle's chart. Not known counts as finer than medium."),
    )
    release_height_in = AmountField(
        label=_("Height of release above the soil, inches"), maximum=1200, required=False, above_zero=False
    )
    pump_gpm = AmountField(label=_("The pump gives at work, gallons a minute"), maximum=9999, required=False)
    life_days = forms.IntegerField(
        label=_("Days a calibration counts"),
        min_value=1,
        max_value=730,
        initial=LIFE_DAYS,
        widget=forms.TextInput(attrs=WHOLE),
    )
    note = forms.CharField(label=_("Note"), max_length=300, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["method"].choices = [(m.value, gettext(n)) for m, n in METHOD_NAMES.items()]
        fields["droplet_class"].choices = [
            ("", gettext("not known")),
            *((c.value, gettext(n)) for c, n in DROPLET_NAMES.items()),
        ]


class NozzlesForm(forms.Form):
    changed_on = forms.DateField(label=_("Changed on"), widget=forms.DateInput(attrs=DATE))
    note = forms.CharField(
        label=_("What was changed"), max_length=200, required=False, help_text=_("For example: whole set replaced")
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class RetireForm(forms.Form):
    retired = forms.BooleanField(label=_("Out of use"), required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)


class VoidForm(forms.Form):
    because = forms.CharField(label=_("Why it does not count"), max_length=200)


RUNS = 3


class CalibrationForm(forms.Form):
    """One cup per nozzle, up to three timed runs. ``cups`` and ``runs`` are the bound fields, in order."""

    measured_on = forms.DateField(label=_("Measured on"), widget=forms.DateInput(attrs=DATE))
    pressure_psi = AmountField(
        label=_("Pressure at the far nozzle, psi"), maximum=1000, help_text=_("A gauge on the last nozzle body.")
    )
    gauge_psi = AmountField(label=_("The machine's own gauge shows, psi"), maximum=1000, required=False)
    liquid = forms.CharField(label=_("Liquid in the tank"), max_length=60, required=False, initial=_("water"))
    gear = forms.CharField(label=_("Gear and engine speed"), max_length=60, required=False)
    ground = forms.CharField(label=_("Ground"), max_length=60, required=False)
    course_ft = AmountField(label=_("Length of the course, feet"), maximum=99999)
    catch_unit = forms.ChoiceField(
        label=_("The cups are read in"),
        choices=[("floz", "fl oz"), ("ml", "mL")],
        widget=forms.RadioSelect,
        initial="floz",
    )
    seconds = AmountField(label=_("Each cup was held for, seconds"), maximum=3600, help_text=_("60 is usual."))
    wanted_gpa = AmountField(label=_("Rate you want, gallons per acre"), maximum=999, places=3, required=False)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)
    reason = forms.CharField(
        label=_("Why it may be used all the same"),
        max_length=300,
        required=False,
        help_text=_("Only if something below needs a look."),
    )

    def __init__(self, *args: Any, nozzles: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for n in range(1, RUNS + 1):
            label = gettext("Run %(n)d, seconds") % {"n": n}
            self.fields[f"run_{n}"] = AmountField(label=label, maximum=3600, required=n == 1)
        for n in range(1, nozzles + 1):
            label = gettext("Nozzle %(n)d") % {"n": n}
            self.fields[f"cup_{n}"] = AmountField(label=label, maximum=99999)
        self.cup_names = [f"cup_{n}" for n in range(1, nozzles + 1)]
        self.run_names = [f"run_{n}" for n in range(1, RUNS + 1)]

    @property
    def cups(self) -> list[forms.BoundField]:
        return [self[name] for name in self.cup_names]

    @property
    def runs(self) -> list[forms.BoundField]:
        return [self[name] for name in self.run_names]

    def asked(self) -> Mapping[str, Any]:
        """The cleaned form in the words of the interface: ``catches`` and ``run_seconds`` as lists."""
        cleaned = self.cleaned_data
        runs = [cleaned[name] for name in self.run_names if cleaned.get(name) is not None]
        return {**cleaned, "catches": [cleaned[name] for name in self.cup_names], "run_seconds": runs}
