"""Forms of counts and thresholds, for a phone in the field and without scripts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.crops.forms import WHOLE, Day, OptionalNumber
from apps.crops.models import NAME_LENGTH, NOTE_LENGTH, Planting
from apps.crops.rules import MEASURE_NAMES, SURETY_NAMES, TRAPS, UNIT_NAMES, Threshold

EXTRA_PLACES = 2


def _whole(**options: Any) -> forms.CharField:
    return forms.CharField(max_length=6, widget=forms.TextInput(attrs={**WHOLE, "autocomplete": "off"}), **options)


def _number(value: str) -> int:
    try:
        return int(value)
    except ValueError:
        raise ValidationError(gettext("Must be a whole number.")) from None


class CountForm(forms.Form):
    """One line for each stop of the walk; a line without a number found was not looked at."""

    looked_on = Day(label=_("Day of the look"))

    def __init__(self, *args: Any, rule: Threshold, plantings: Iterable[Planting], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rule, self.stops = rule, range(1, min(rule.places + EXTRA_PLACES, 40) + 1)
        unit = gettext(UNIT_NAMES[rule.unit])
        for n in self.stops:
            said = {"n": n, "unit": unit}
            self.fields[f"examined_{n}"] = _whole(
                label=_("Place %(n)s: %(unit)s looked at") % said, required=False, initial=rule.per_place
            )
            self.fields[f"found_{n}"] = _whole(label=_("Place %(n)s: found") % said, required=False)
        if rule.measure in TRAPS:
            self.fields["nights"] = _whole(label=_("How many nights the traps hung"))
        self.fields["planting_id"] = OptionalNumber(label=_("Only about this planting"))
        self.fields["planting_id"].choices = [("", _("The whole block")), *((p.pk, p.crop.name) for p in plantings)]
        self.fields["text"] = forms.CharField(
            label=_("What else you saw"), max_length=NOTE_LENGTH, required=False, widget=forms.Textarea({"rows": 2})
        )

    @property
    def lines(self) -> list[list[forms.BoundField]]:
        return [[self[f"examined_{n}"], self[f"found_{n}"]] for n in self.stops]

    @property
    def rest(self) -> list[forms.BoundField]:
        return [self[name] for name in ("nights", "planting_id", "text") if name in self.fields]

    def clean(self) -> dict[str, Any]:
        """``places`` from the lines that were filled in."""
        cleaned: dict[str, Any] = super().clean() or {}
        places = []
        for n in self.stops:
            examined, found = cleaned.pop(f"examined_{n}", ""), cleaned.pop(f"found_{n}", "")
            if found == "":
                continue
            try:
                places.append({"examined": _number(examined), "found": _number(found)})
            except ValidationError as error:
                self.add_error(f"found_{n}", error)
        if not places and not self.errors:
            self.add_error("found_1", gettext("Enter what was found at one place at least; 0 if nothing."))
        if "nights" in cleaned:
            try:
                cleaned["nights"] = _number(cleaned["nights"])
            except ValidationError as error:
                self.add_error("nights", error)
        return {**cleaned, "places": places}

    def place_errors(self, errors: dict[str, list[str]]) -> dict[str, list[str]]:
        """A service's faults of lines at the fields that show them."""
        filled = [n for n in self.stops if self.data.get(f"found_{n}", "").strip() != ""]
        found: dict[str, list[str]] = {}
        for name, said in errors.items():
            kind, *rest = name.split(".")
            if kind == "places" and len(rest) == 2:
                name = f"{rest[1]}_{filled[int(rest[0])]}"
            elif kind == "places":
                name = "found_1"
            found.setdefault(name, []).extend(said)
        return found


class ThresholdForm(forms.Form):
    """A threshold of the farm; whose word it is must be said."""

    name = forms.CharField(label=_("Pest or disease"), max_length=NAME_LENGTH)
    pest = forms.CharField(
        label=_("Word on labels and jobs"), max_length=40, help_text=_("Like powdery mildew or cucumber beetle")
    )
    when = forms.CharField(label=_("Crop stage or time"), max_length=NAME_LENGTH, required=False)
    crops = forms.CharField(
        label=_("Crops"), required=False, help_text=_("Crop codes with commas between; empty = any crop")
    )
    measure = forms.ChoiceField(label=_("What is compared"))
    unit = forms.ChoiceField(label=_("What is looked at"))
    treat_at = forms.CharField(label=_("Act from"), widget=forms.TextInput(attrs={"inputmode": "decimal"}))
    sample_min = _whole(label=_("How many make a sample"))
    places_min = _whole(label=_("At how many places at least"))
    places = _whole(label=_("Places proposed"))
    per_place = _whole(label=_("At each place"))
    walk = forms.CharField(
        label=_("How to walk"), max_length=NOTE_LENGTH, required=False, widget=forms.Textarea({"rows": 3})
    )
    hold_days = _whole(
        label=_("Days after emergence in which seed treatment covers the crop"),
        required=False,
        help_text=_("The alert waits so long. Empty = it does not wait."),
    )
    source = forms.CharField(label=_("Whose word this is"), max_length=200)
    surety = forms.ChoiceField(label=_("How sure it is"))
    active = forms.BooleanField(label=_("Offer it here"), required=False, initial=True)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, words in (("measure", MEASURE_NAMES), ("unit", UNIT_NAMES), ("surety", SURETY_NAMES)):
            self.fields[name].choices = [(code.value, gettext(said)) for code, said in words.items()]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        cleaned["crops"] = [c.strip() for c in str(cleaned.get("crops", "")).split(",") if c.strip()]
        return cleaned


class NewThresholdForm(ThresholdForm):
    code = forms.CharField(label=_("Own code"), max_length=40, help_text=_("Small letters and underscores."))
    field_order = ["code"]
