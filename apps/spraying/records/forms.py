"""Forms of record rules and of explanations."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apps.spraying.records.rules import ELEMENT_NAMES, Applicators, Asks, DueBy, Element, KeepFrom, Products

ASKS = {Asks.RECORD: _("a record"), Asks.DISPLAY: _("a display for workers"), Asks.REPORT: _("a report to an office")}
PRODUCTS = {Products.ALL: _("every product"), Products.RESTRICTED: _("restricted-use products")}
APPLICATORS = {
    Applicators.ANY: _("everybody"),
    Applicators.PRIVATE: _("private applicators"),
    Applicators.COMMERCIAL: _("commercial applicators"),
}
DUE = {
    DueBy.NONE: _("no time is set"),
    DueBy.HOURS_AFTER_END: _("hours after the end"),
    DueBy.DAYS_AFTER: _("days after the application"),
    DueBy.DAY_OF_NEXT_MONTH: _("day of the next month"),
}
KEEP = {KeepFrom.APPLICATION: _("from the application"), KeepFrom.ENTRY_END: _("from the end of the entry interval")}


def _whole(**options: Any) -> forms.IntegerField:
    return forms.IntegerField(
        required=False, min_value=1, widget=forms.TextInput(attrs={"inputmode": "numeric"}), **options
    )


def _day(**options: Any) -> forms.DateField:
    return forms.DateField(required=False, widget=forms.DateInput(attrs={"type": "date"}), **options)


class RuleForm(forms.Form):
    """A rule of the farm's own."""

    name = forms.CharField(label=_("Name"), max_length=200)
    code = forms.CharField(label=_("Short code"), max_length=40, help_text=_("Such as buyer_record"))
    jurisdiction = forms.CharField(label=_("Who asks for it"), max_length=20, help_text=_("A state, or a buyer"))
    source = forms.CharField(label=_("Where it is written"), max_length=200)
    asks = forms.ChoiceField(label=_("It asks for"), choices=list(ASKS.items()))
    products = forms.ChoiceField(label=_("About"), choices=list(PRODUCTS.items()))
    applicators = forms.ChoiceField(label=_("Binds"), choices=list(APPLICATORS.items()))
    elements = forms.MultipleChoiceField(
        label=_("The record must hold"),
        choices=[(e.value, _(ELEMENT_NAMES[e])) for e in Element],
        widget=forms.CheckboxSelectMultiple,
    )
    due_by = forms.ChoiceField(label=_("Due, counted as"), choices=list(DUE.items()))
    due = _whole(label=_("Due, number"))
    keep_years = _whole(label=_("Kept for, years"))
    keep_from = forms.ChoiceField(label=_("Kept"), choices=list(KEEP.items()))
    valid_from = _day(label=_("In force from"))
    valid_to = _day(label=_("First day it is no longer in force"))
    note = forms.CharField(label=_("Note"), required=False, max_length=500)


class ExplainForm(forms.Form):
    words = forms.CharField(
        label=_("Why it was late, or why this stays blank"),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
    )
