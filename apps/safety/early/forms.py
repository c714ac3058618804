"""The supervisor's form. Nothing is ticked beforehand."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apps.safety.rules.early import BRIEFING_NAMES, Briefing, Route

ROUTE_NAMES = {
    Route.NO_CONTACT: _("No contact with anything treated"),
    Route.SHORT_TERM: _("Short task, at most one hour in 24"),
    Route.LIMITED_CONTACT: _("Unforeseen, slight contact or irrigation, at most 8 hours in 24"),
    Route.EMERGENCY: _("Emergency declared by an agency"),
    Route.HANDLER: _("Handler task by a trained handler"),
}


class EarlyEntryForm(forms.Form):
    worker_id = forms.TypedChoiceField(label=_("Worker"), coerce=int)
    route = forms.ChoiceField(
        label=_("Which exception"), choices=[("", ""), *((r.value, name) for r, name in ROUTE_NAMES.items())]
    )
    task = forms.CharField(label=_("Which task"), max_length=200)
    minutes = forms.IntegerField(
        label=_("Minutes, from now"),
        min_value=1,
        max_value=1440,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    hand_labor = forms.BooleanField(label=_("It is hand labor"), required=False)
    touches_treated = forms.BooleanField(label=_("Something treated will be touched"), required=False)
    relies_on_gear = forms.BooleanField(label=_("Contact is kept off by gear only"), required=False)
    contact_limited = forms.BooleanField(
        label=_("Contact is slight: feet, lower legs, hands and forearms only"), required=False
    )
    unforeseen = forms.BooleanField(label=_("The need could not have been foreseen"), required=False)
    real_loss = forms.BooleanField(
        label=_("A delay means a substantial loss, and there is no other way"), required=False
    )
    declaration = forms.CharField(label=_("Agency's declaration, number and date"), max_length=200, required=False)
    trained_handler = forms.BooleanField(label=_("The worker is a trained handler"), required=False)
    briefed = forms.MultipleChoiceField(
        label=_("I told the worker, in a way they understand"),
        choices=[(b.value, _(BRIEFING_NAMES[b])) for b in Briefing],
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    gear = forms.CharField(label=_("Protective equipment that was given"), max_length=400, required=False)
    gear_given = forms.BooleanField(
        label=_("I gave the worker the equipment that the label names for early entry"), required=False
    )

    def __init__(self, *args: Any, workers: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["worker_id"].choices = [("", ""), *workers]
