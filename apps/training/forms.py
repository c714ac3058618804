"""Forms of certificates and trainings."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.training.rules import KIND_NAMES, TRAINING_NAMES
from farmops.errors import gettext_noop

DATE = {"type": "date"}
STATE_NAMES = {
    "valid": gettext_noop("valid"),
    "ended": gettext_noop("ended"),
    "not_begun": gettext_noop("not begun"),
    "suspended": gettext_noop("suspended"),
}


class CertificateEditForm(forms.Form):
    number = forms.CharField(label=_("Certificate number"), max_length=40)
    jurisdiction = forms.CharField(label=_("State or province that issued it"), max_length=20)
    kind = forms.ChoiceField(label=_("Kind"), widget=forms.RadioSelect)
    categories = forms.CharField(
        label=_("Categories"),
        max_length=400,
        required=False,
        help_text=_("As on the card, with a comma between: general, aerial"),
    )
    valid_from = forms.DateField(label=_("Valid from"), widget=forms.DateInput(attrs=DATE))
    valid_to = forms.DateField(label=_("Last day it is valid"), widget=forms.DateInput(attrs=DATE))
    credits_needed = forms.DecimalField(
        label=_("Credits needed to renew it"),
        max_digits=5,
        decimal_places=2,
        min_value=Decimal("0.01"),
        required=False,
        help_text=_("As the issuer says; empty if it asks for none"),
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
    )
    note = forms.CharField(label=_("Note"), max_length=300, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["kind"].choices = [(k.value, gettext(n)) for k, n in KIND_NAMES.items()]

    def clean_categories(self) -> list[str]:
        return [word for word in str(self.cleaned_data["categories"]).split(",") if word.strip()]


class CertificateForm(CertificateEditForm):
    person_id = forms.TypedChoiceField(label=_("Person"), coerce=int)
    field_order = ["person_id"]

    def __init__(self, *args: Any, people: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["person_id"].choices = [("", "–"), *people]


class SuspendForm(forms.Form):
    from_on = forms.DateField(label=_("Suspended from"), widget=forms.DateInput(attrs=DATE))
    reason = forms.CharField(label=_("Why"), max_length=200)


class LiftForm(forms.Form):
    lifted_on = forms.DateField(label=_("First day on which it counts again"), widget=forms.DateInput(attrs=DATE))


class TrainingForm(forms.Form):
    person_id = forms.TypedChoiceField(label=_("Person"), coerce=int)
    kind = forms.ChoiceField(label=_("Training"), widget=forms.RadioSelect)
    topic = forms.CharField(
        label=_("Topic, for product training"),
        max_length=64,
        required=False,
        help_text=_("As the label names it, for example paraquat"),
    )
    trained_on = forms.DateField(label=_("Trained on"), widget=forms.DateInput(attrs=DATE))
    trainer = forms.CharField(label=_("Trainer"), max_length=120, required=False)
    note = forms.CharField(label=_("Note (nothing medical)"), max_length=300, required=False)

    def __init__(self, *args: Any, people: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["person_id"].choices = [("", "–"), *people]
        fields["kind"].choices = [(k.value, gettext(n)) for k, n in TRAINING_NAMES.items()]


class StrikeForm(forms.Form):
    because = forms.CharField(label=_("Why it does not count"), max_length=200)
