"""Forms of corrections."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apps.spraying.forms import Choices, DoneForm, NotAppliedForm, ReadingsForm, _number, _text, _units
from farmops.units import PRODUCT_UNITS


class CorrectForm(DoneForm):
    """The same, filled in, with the people of the job: they too may have been written down wrong."""

    def __init__(self, *args: Any, people: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = {p.pk: p.full_name for p in (self.job.applicator, self.job.supervisor) if p is not None} | dict(people)
        for name, label, none in (
            ("applicator_id", _("Applied by"), []),
            ("supervisor_id", _("Supervised by"), [("", _("nobody"))]),
        ):
            self.fields[name] = forms.TypedChoiceField(
                label=label, coerce=int, empty_value=None, required=not none, choices=[*none, *known.items()]
            )
            self.initial[name] = getattr(self.job, name)
        self.fields["applicator_id"].help_text = _(
            "Change these two only if somebody else did it. Only they can sign then; whoever was named is told."
        )
        self.fields["reason"] = _text(label=_("Why somebody else is named"), required=False)
        self.order_fields(["applicator_id", "supervisor_id", "reason"])

    def named(self) -> dict[str, int | None]:
        """Who did and who supervised it, as chosen."""
        return {name: self.cleaned_data[name] for name in ("applicator_id", "supervisor_id")}


class AmendForm(CorrectForm):
    """What was signed, filled in, to be changed where it was wrong; one block and one product may be added."""

    def __init__(
        self, *args: Any, blocks: Choices, products: Choices, readings_needed: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if readings_needed:
            self.fields |= dict(ReadingsForm().fields)
        self.fields["reason"] = _text(label=_("Why the record is corrected"))
        self.fields["other_block"] = forms.TypedChoiceField(
            label=_("Another block that was sprayed"),
            coerce=int,
            empty_value=None,
            required=False,
            choices=[("", "—"), *blocks],
        )
        self.fields["other_acres"] = _number(label=_("Acres treated there"), required=False)
        self.fields["other_product"] = forms.TypedChoiceField(
            label=_("Another product that was in the tank"),
            coerce=int,
            empty_value=None,
            required=False,
            choices=[("", "—"), *products],
        )
        self.fields["other_amount"] = _number(label=_("Amount used of it in all"), required=False)
        self.fields["other_unit"] = forms.ChoiceField(
            label=_("Its unit"), required=False, choices=[("", "—"), *_units(PRODUCT_UNITS)]
        )
        self.order_fields(["reason", "applicator_id", "supervisor_id", "started_at", "ended_at"])

    def done(self) -> dict[str, Any]:
        """As typed, with the added lines behind the job's own."""
        found, typed = super().done(), self.cleaned_data
        if typed["other_block"]:
            found["blocks"].append({"block_id": typed["other_block"], "treated_acres": typed["other_acres"]})
        if typed["other_product"]:
            line = {"product_id": typed["other_product"], "amount": typed["other_amount"], "unit": typed["other_unit"]}
            found["products"].append(line)
        return found


class VoidForm(NotAppliedForm):
    reason = _text(label=_("Why the signature is withdrawn"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["checked"].label = _("I checked which record this is.")


class AskForm(forms.Form):
    words = _text(label=_("What should be corrected, and why"))


class DeclineForm(forms.Form):
    reason = _text(label=_("Why the record stays as it is"))
