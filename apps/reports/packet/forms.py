"""What is typed to ask for a packet."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import get_language, gettext
from django.utils.translation import gettext_lazy as _

from apps.people.queries import Member
from apps.people.rules import Can
from apps.reports.packet.rules import AUDIENCE_NAMES, Audience

DATE = {"type": "date"}


class PacketForm(forms.Form):
    """Everything, for those who may read records; a worker chooses only the days and the language."""

    audience = forms.ChoiceField(label=_("For"), widget=forms.RadioSelect)
    first_on = forms.DateField(label=_("Sprayed from, first day"), required=False, widget=forms.DateInput(attrs=DATE))
    last_on = forms.DateField(label=_("Sprayed through, last day"), required=False, widget=forms.DateInput(attrs=DATE))
    block_id = forms.TypedChoiceField(label=_("Block"), coerce=int, empty_value=None, required=False)
    product_id = forms.TypedChoiceField(label=_("Product"), coerce=int, empty_value=None, required=False)
    about = forms.CharField(
        label=_("Worker or handler it is about"),
        max_length=120,
        required=False,
        help_text=_("Not asked for when an inspector gets it."),
    )
    asked_for_by = forms.CharField(
        label=_("Who asks for it, and where to reach them"),
        max_length=200,
        required=False,
        help_text=_("The representative or the doctor."),
    )
    named_on = forms.DateField(
        label=_("Day on which the worker named the representative in writing"),
        required=False,
        widget=forms.DateInput(attrs=DATE),
    )
    language = forms.ChoiceField(
        label=_("Language"), choices=[("en", "English"), ("es", "Español")], widget=forms.RadioSelect
    )

    def __init__(
        self, data: Any, *, member: Member, blocks: list[tuple[int, str]], products: list[tuple[int, str]]
    ) -> None:
        super().__init__(data, initial={"audience": Audience.INSPECTOR, "language": (get_language() or "en")[:2]})
        fields: Any = self.fields
        fields["block_id"].choices = [("", gettext("all")), *blocks]
        if member.can(Can.READ_RECORDS):
            fields["audience"].choices = [(a.value, gettext(name)) for a, name in AUDIENCE_NAMES.items()]
            fields["product_id"].choices = [("", gettext("all")), *products]
            return
        for name in ("audience", "product_id", "about", "asked_for_by", "named_on"):
            del fields[name]
        fields["first_on"].required = fields["last_on"].required = True
