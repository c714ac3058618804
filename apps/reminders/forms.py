"""Forms of reminders."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.reminders import rules
from apps.reminders.rules import names, timing

USUAL, OFF_CALENDAR = "usual", "_calendar"


def _time() -> forms.TimeInput:
    return forms.TimeInput(format="%H:%M", attrs={"type": "time"})


class WishesForm(forms.Form):
    """Hours, then for each kind how its e-mail comes and whether it stands in the calendar."""

    quiet_from = forms.TimeField(
        label=_("Quiet from"), widget=_time(), help_text=_("Farm time. The same hour twice: no quiet hours.")
    )
    quiet_to = forms.TimeField(label=_("Quiet ends"), widget=_time())
    digest_at = forms.TimeField(label=_("Morning e-mail at"), widget=_time())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for kind, level in rules.kinds():
            if level is rules.Level.CALL_NOW:
                continue
            usual = gettext(timing.MODE_NAMES[timing.USUAL[level]])
            choices = [(USUAL, gettext("As usual (%s)") % usual)]
            choices += [(mode.value, gettext(said)) for mode, said in timing.MODE_NAMES.items()]
            self.fields[kind] = forms.ChoiceField(
                label=gettext(names.name_of(kind)), choices=choices, required=False, initial=USUAL
            )
        self.fields["calendar"] = forms.MultipleChoiceField(
            label=_("Leave out of my calendar"),
            required=False,
            widget=forms.CheckboxSelectMultiple,
            choices=sorted(((k, gettext(names.name_of(k))) for k, _level in rules.kinds()), key=lambda c: c[1]),
        )

    @staticmethod
    def initial_from(wishes: timing.Wishes) -> dict[str, Any]:
        hours = {"quiet_from": wishes.quiet_from, "quiet_to": wishes.quiet_to, "digest_at": wishes.digest_at}
        return {**hours, **wishes.email, "calendar": list(wishes.not_in_calendar)}

    def wanted(self, cleaned: dict[str, Any]) -> dict[str, Any]:
        """As ``services.set_wishes`` takes it."""
        kinds = [kind for kind, _level in rules.kinds() if cleaned.get(kind) not in {None, "", USUAL}]
        hours = {name: cleaned[name] for name in ("quiet_from", "quiet_to", "digest_at")}
        return {**hours, "email": {k: cleaned[k] for k in kinds}, "not_in_calendar": cleaned["calendar"]}


class WebhookForm(forms.Form):
    url = forms.CharField(
        label=_("Address"),
        max_length=500,
        widget=forms.TextInput(attrs={"inputmode": "url", "autocomplete": "off"}),
        help_text=_("Begins with https. Notices go there as signed messages in the open Standard Webhooks form."),
    )
    kinds = forms.MultipleChoiceField(
        label=_("Only these notices"), required=False, widget=forms.CheckboxSelectMultiple, help_text=_("None: all.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        named = ((kind, gettext(names.name_of(kind))) for kind, _level in rules.kinds())
        self.fields["kinds"].choices = sorted(named, key=lambda c: c[1])  # type: ignore[attr-defined]
