"""The form of a number."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from apps.safety.phones.rules import PURPOSE_NAMES


class NumberForm(forms.Form):
    purpose = forms.ChoiceField(label=_("What it is for"), widget=forms.RadioSelect)
    name = forms.CharField(label=_("Whom or what it reaches"), max_length=120)
    number = forms.CharField(label=_("Number"), max_length=30, widget=forms.TextInput(attrs={"inputmode": "tel"}))
    note = forms.CharField(label=_("When to call, or where it is (optional)"), max_length=200, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["purpose"].choices = [(p.value, _(n)) for p, n in PURPOSE_NAMES.items()]  # type: ignore[attr-defined]
