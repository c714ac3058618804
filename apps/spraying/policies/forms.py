"""Forms of the spray settings and of resistance advice."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.products.rules import Scheme
from apps.spraying.forms import PRESET_NAMES, VersionForm, _number
from apps.spraying.policies.rules import CLASSES
from apps.spraying.rules import PRESETS
from apps.spraying.rules.house import CERTIFICATE, LIMITS
from farmops.errors import Severity
from farmops.units import show

SCHEMES = {
    Scheme.FRAC: _("Fungicides (FRAC)"),
    Scheme.IRAC: _("Insecticides (IRAC)"),
    Scheme.HRAC: _("Herbicides (HRAC)"),
}

SEVERITY_NAMES = {
    Severity.NOTE: _("only say it"),
    Severity.JUSTIFY: _("ask for a reason"),
    Severity.REFUSE: _("refuse"),
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


class SpraySettingsForm(VersionForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _add_house_numbers(self)

    preset = forms.ChoiceField(
        label=_("Advice the check follows"), choices=[(p, PRESET_NAMES.get(p, p)) for p in sorted(PRESETS)]
    )
    history_known_from = forms.DateField(
        label=_("Every spray is in this book since"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text=_("Season limits are counted from here. Empty = not known."),
    )
    interval_from_days = forms.IntegerField(
        label=_("Days after a spray when the next one is due, from"),
        min_value=1,
        max_value=60,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    interval_to_days = forms.IntegerField(
        label=_("Days after a spray when the next one is due, through"),
        min_value=1,
        max_value=60,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )


def _add_house_numbers(form: SpraySettingsForm) -> None:
    """One field a number of the house, its bounds, shipped value and source beside it; empty = as shipped."""
    hint = _("{least} to {most} {unit}; empty = {shipped} {unit} as shipped. It can only ask earlier. Source: {source}")
    for limit in LIMITS:
        said = {"least": show(limit.least), "most": show(limit.most), "shipped": show(limit.shipped)}
        form.fields[limit.name] = _number(
            label=f"{gettext(limit.words)} ({limit.unit})",
            required=False,
            help_text=str(hint).format(unit=limit.unit, source=limit.source, **said),
        )
    form.fields[CERTIFICATE] = forms.ChoiceField(
        label=_("General-use product and no valid certificate"),
        required=False,
        choices=[(s.value, SEVERITY_NAMES[s]) for s in SEVERITY_NAMES],
        help_text=_("Federal law asks for no certificate here; a state may."),
    )
