"""Forms of crops."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.crops.models import NAME_LENGTH, NOTE_LENGTH, Crop, Planting, Variety
from apps.crops.rules import EVENT_NAMES, FAMILY_NAMES, KNOWN_CROPS, EventKind, Purpose, Seen, StartedAs
from apps.crops.rules.stages import stages_in_order

WHOLE = {"inputmode": "numeric"}
PURPOSES = [(Purpose.CASH.value, _("Cash crop, to be harvested")), (Purpose.COVER.value, _("Cover crop"))]
STARTS = [(StartedAs.SEED.value, _("Sown as seed")), (StartedAs.TRANSPLANT.value, _("Set out as transplants"))]
SEEN = [(Seen.YES.value, _("Yes")), (Seen.NO.value, _("No")), (Seen.NOT_LOOKED.value, _("Did not look"))]


class Day(forms.DateField):
    """A farm-local day, typed or picked."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
        super().__init__(widget=widget, **kwargs)


class OptionalNumber(forms.TypedChoiceField):
    """A row chosen by its number, or none."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(coerce=int, empty_value=None, required=False, **kwargs)


def _rows(rows: Iterable[Any], empty: object = "") -> list[tuple[Any, Any]]:
    return [("", empty), *((row.pk, str(row)) for row in rows)]


class CropForm(forms.Form):
    known = forms.ChoiceField(
        label=_("Crop"), required=False, help_text=_("Choose one whose name and family are known, or fill in your own.")
    )
    name = forms.CharField(label=_("Own name"), max_length=NAME_LENGTH, required=False)
    code = forms.CharField(
        label=_("Own code"),
        max_length=40,
        required=False,
        help_text=_("Small letters and underscores, like winter_squash."),
    )
    family = forms.ChoiceField(label=_("Own family"), required=False)
    days_to_first_flower = forms.CharField(
        label=_("Earliest days from sowing seed to first flower"),
        required=False,
        help_text=_("Left empty, a planting counts as perhaps in bloom from its first day."),
        widget=forms.TextInput(attrs=WHOLE),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = sorted(KNOWN_CROPS.values(), key=lambda crop: gettext(crop.name))
        self.fields["known"].choices = [("", _("Own crop")), *((crop.code, gettext(crop.name)) for crop in known)]
        self.fields["family"].choices = [("", ""), *((f.value, gettext(name)) for f, name in FAMILY_NAMES.items())]

    def clean(self) -> dict[str, Any]:
        """A known crop brings its code and family; its name may still be the farm's own."""
        cleaned: dict[str, Any] = super().clean() or {}
        known = KNOWN_CROPS.get(cleaned.pop("known", ""))
        if known is None:
            return cleaned
        name = cleaned.get("name") or known.name
        return {**cleaned, "code": known.code, "family": known.family.value, "name": name}


class CropEditForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=NAME_LENGTH)
    days_to_first_flower = forms.CharField(
        label=_("Earliest days from sowing seed to first flower"),
        required=False,
        help_text=_("Left empty, a planting counts as perhaps in bloom from its first day."),
        widget=forms.TextInput(attrs=WHOLE),
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class VarietyForm(forms.Form):
    name = forms.CharField(label=_("Name of the variety"), max_length=NAME_LENGTH)


class PlantingForm(forms.Form):
    crop_id = forms.TypedChoiceField(label=_("Crop"), coerce=int)
    variety_id = OptionalNumber(label=_("Variety"))
    purpose = forms.ChoiceField(label=_("Purpose"), choices=PURPOSES, widget=forms.RadioSelect)
    started_as = forms.ChoiceField(
        label=_("Started as"), choices=STARTS, widget=forms.RadioSelect, initial=StartedAs.SEED.value
    )
    planned_on = Day(label=_("Sowing or setting-out day, as planned"))
    first_flower_on = Day(
        label=_("Earliest day flowers may open"),
        required=False,
        help_text=_("Left empty, it is counted from the crop's days, or not known."),
    )
    terminate_planned_on = Day(label=_("Termination, as planned"), required=False)
    harvest_from = Day(label=_("First harvest day expected"), required=False)
    harvest_to = Day(label=_("Last harvest day expected"), required=False)
    note = forms.CharField(label=_("Note"), max_length=NOTE_LENGTH, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, crops: Iterable[Crop], varieties: Iterable[Variety], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["crop_id"].choices = _rows(crops)
        self.fields["variety_id"].choices = [("", ""), *((v.pk, f"{v.crop.name}: {v.name}") for v in varieties)]


class EventForm(forms.Form):
    kind = forms.ChoiceField(label=_("What happened"))
    on = Day(label=_("On which day"))
    note = forms.CharField(label=_("Note"), max_length=NOTE_LENGTH, required=False)

    def __init__(self, *args: Any, kinds: Iterable[EventKind], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = [("", ""), *((kind.value, gettext(EVENT_NAMES[kind])) for kind in kinds)]


class ReasonForm(forms.Form):
    reason = forms.CharField(label=_("Why this entry is wrong"), max_length=NOTE_LENGTH)


class ScoutForm(forms.Form):
    looked_on = Day(label=_("Day of the look"))
    crop_in_bloom = forms.ChoiceField(
        label=_("Is the crop in bloom?"), choices=SEEN, widget=forms.RadioSelect, initial=Seen.NOT_LOOKED.value
    )
    weeds_in_bloom = forms.ChoiceField(
        label=_("Are weeds in bloom?"), choices=SEEN, widget=forms.RadioSelect, initial=Seen.NOT_LOOKED.value
    )
    planting_id = OptionalNumber(label=_("Only about this planting"))
    stage = forms.CharField(
        label=_("Growth stage (Zadoks, 0 to 99)"),
        required=False,
        help_text=_("For rye and other grasses; 61 is the start of flowering."),
        widget=forms.TextInput(attrs=WHOLE),
    )
    stage_name = forms.ChoiceField(label=_("Growth stage by name"), required=False)
    bbch = forms.CharField(
        label=_("Growth stage (BBCH, 0 to 99)"), required=False, max_length=2, widget=forms.TextInput(attrs=WHOLE)
    )
    height_in = forms.CharField(
        label=_("Crop height, inches"), required=False, widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    all_mature = forms.ChoiceField(
        label=_("Is all fruit ripe?"),
        choices=SEEN,
        required=False,
        widget=forms.RadioSelect,
        initial=Seen.NOT_LOOKED.value,
    )
    text = forms.CharField(
        label=_("What else you saw"), max_length=NOTE_LENGTH, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args: Any, plantings: Iterable[Planting], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["planting_id"].choices = [
            ("", _("The whole block")),
            *((row.pk, row.crop.name) for row in plantings),
        ]
        named = [(code, code.replace("_", " ")) for code in stages_in_order()]
        self.fields["stage_name"].choices = [("", ""), *named]

    def clean(self) -> dict[str, Any]:
        """One stage code of the two ways to state it; a BBCH number outweighs a name."""
        cleaned: dict[str, Any] = super().clean() or {}
        bbch, name = cleaned.pop("bbch", ""), cleaned.pop("stage_name", "")
        ripe = cleaned.get("all_mature") or Seen.NOT_LOOKED.value
        return {**cleaned, "all_mature": ripe, "stage_code": f"b{bbch}" if bbch else name}
