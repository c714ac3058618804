"""Forms of credits."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

DATE = {"type": "date"}


class CreditForm(forms.Form):
    person_id = forms.TypedChoiceField(label=_("Person"), coerce=int)
    jurisdiction = forms.CharField(label=_("State or province whose certificate they count toward"), max_length=20)
    held_on = forms.DateField(label=_("Held on"), widget=forms.DateInput(attrs=DATE))
    amount = forms.DecimalField(
        label=_("Credits"), max_digits=5, decimal_places=2, widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    course = forms.CharField(label=_("Course"), max_length=160)
    course_number = forms.CharField(label=_("Course number"), max_length=60, required=False)

    def __init__(self, *args: Any, people: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["person_id"].choices = [("", "–"), *people]
