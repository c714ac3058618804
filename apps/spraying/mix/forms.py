"""The one form of the mix sheet: a tick."""

from __future__ import annotations

from django import forms


class TickForm(forms.Form):
    load = forms.IntegerField(min_value=0, max_value=1000)
    step = forms.CharField(max_length=40)
    done = forms.TypedChoiceField(choices=[("1", "1"), ("0", "0")], coerce=lambda said: said == "1")
    sheet = forms.CharField(max_length=16, required=False)
