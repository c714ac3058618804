"""Forms of scans."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _


class ScanForm(forms.Form):
    scan = forms.FileField(
        label=_("Picture of the card"),
        help_text=_("JPEG, PNG or PDF of at most 4 MB, both sides if both are written on."),
        allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,application/pdf"}),
    )
    signed = forms.BooleanField(label=_("I have seen that the card is signed"), required=False)


class RemoveForm(forms.Form):
    because = forms.CharField(label=_("Why it is taken away"), max_length=200)
