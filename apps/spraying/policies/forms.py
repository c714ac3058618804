"""Forms of resistance advice."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apps.products.rules import Scheme
from apps.spraying.forms import PRESET_NAMES
from apps.spraying.policies.rules import CLASSES
from apps.spraying.rules import PRESETS

SCHEMES = {
    Scheme.FRAC: _("Fungicides (FRAC)"),
    Scheme.IRAC: _("Insecticides (IRAC)"),
    Scheme.HRAC: _("Herbicides (HRAC)"),
}


def _count(label: Any, **more: Any) -> forms.CharField:
    widget = forms.TextInput(attrs={"inputmode": "numeric"})
    return forms.CharField(label=label, required=False, max_length=4, widget=widget, **more)


class PresetForm(forms.Form):
    preset = forms.ChoiceField(label=_("Shipped table"), choices=[(p, PRESET_NAMES.get(p, p)) for p in sorted(PRESETS)])


class AdviceForm(forms.Form):
    """One rule of the farm's own table."""

    scheme = forms.ChoiceField(label=_("Whose groups"), choices=[(s.value, SCHEMES[s]) for s in Scheme])
    code = forms.CharField(
        label=_("Group"), max_length=6, required=False, help_text=_("As on the label. Empty: each group.")
    )
    target_classes = forms.MultipleChoiceField(
        label=_("Only against"),
        required=False,
        choices=[(c, c.replace("_", " ")) for c in CLASSES],
        widget=forms.CheckboxSelectMultiple,
        help_text=_("None ticked: whatever the target."),
    )
    max_in_a_row = _count(_("At most this many sprays in a row"))
    max_per_crop = _count(_("At most this many sprays in a crop"))
    max_per_year = _count(_("At most this many sprays a year on the same ground"))
    window_most = _count(_("At most this many …"))
    window_of = _count(_("… of any this many sprays in a row"))
    share_part = _count(_("As a share of all sprays, at most this many …"))
    share_whole = _count(_("… of this many"), help_text=_("1 of 3 is a third."))
    share_from = _count(_("The share counts from this many sprays on"))
    few = _count(_("With fewer sprays than that, at most"))
    generation_days = _count(_("Not in two neighbouring stretches of this many days"))
    needs_multisite = forms.BooleanField(label=_("Only with a multi-site product in the tank"), required=False)
    rest_equal = forms.BooleanField(label=_("After a run, at least as many sprays of other groups"), required=False)
    never_after_failure = forms.BooleanField(label=_("Never right after a spray that failed"), required=False)
    carry_over = forms.BooleanField(label=_("A run goes on into the next season"), required=False)
    source = forms.CharField(label=_("Where this advice stands"), max_length=300)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
