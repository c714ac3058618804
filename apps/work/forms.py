"""Forms of work."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apps.safety.wording import ACTIVITY_NAMES
from apps.work.models import said
from apps.work.rules import NOTES_LENGTH, TITLE_LENGTH
from farmops import clock

LOCAL = "%Y-%m-%dT%H:%M"


class FarmTimeField(forms.CharField):
    """A farm-local date and time as the browser's own control gives it; cleaned to a naive time."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"type": "datetime-local"}), **kwargs)

    def to_python(self, value: Any) -> datetime | None:
        typed = str(value or "").strip()
        if not typed:
            return None
        try:
            return datetime.strptime(typed[:16].replace(" ", "T"), LOCAL)  # noqa: DTZ007 - the zone is the farm's
        except ValueError:
            raise forms.ValidationError(
                _("Must be a date and a time, like 2026-06-03 07:30 for half past seven in the morning.")
            ) from None


def local(instant: datetime | None, zone: str) -> str:
    """An instant as the browser's control wants it."""
    return clock.to_local(instant, zone).strftime(LOCAL) if instant else ""


class TaskForm(forms.Form):
    title = forms.CharField(
        label=_("What is to be done"),
        max_length=TITLE_LENGTH,
        error_messages={"required": _("Enter what is to be done.")},
    )
    block_id = forms.TypedChoiceField(label=_("Block"), coerce=int, error_messages={"required": _("Select the block.")})
    activity = forms.ChoiceField(
        label=_("Kind of work"), widget=forms.RadioSelect, error_messages={"required": _("Select the kind of work.")}
    )
    is_harvest = forms.BooleanField(
        label=_("This is harvest"), required=False, help_text=_("Picking by hand is harvest in any case.")
    )
    assigned_to_id = forms.TypedChoiceField(
        label=_("Who does it"), coerce=int, error_messages={"required": _("Select who does it.")}
    )
    starts_at = FarmTimeField(label=_("Starts"), error_messages={"required": _("Enter when it starts.")})
    ends_at = FarmTimeField(label=_("Ends"), required=False)
    notes = forms.CharField(
        label=_("Notes"), max_length=NOTES_LENGTH, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(
        self, *args: Any, blocks: list[tuple[int, str]], people: list[tuple[int, str]], zone: str, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["block_id"].choices = [("", "—"), *blocks]  # type: ignore[attr-defined]
        self.fields["assigned_to_id"].choices = [("", "—"), *people]  # type: ignore[attr-defined]
        self.fields["activity"].choices = [(a.value, said(both)) for a, both in ACTIVITY_NAMES.items()]  # type: ignore[attr-defined]
        for name in ("starts_at", "ends_at"):
            self.fields[name].help_text = _("Farm time (%(zone)s)") % {"zone": zone}


class CallOffForm(forms.Form):
    reason = forms.CharField(
        label=_("Why it is called off"),
        max_length=NOTES_LENGTH,
        error_messages={"required": _("Enter why the task is called off.")},
    )


class FinishForm(forms.Form):
    note = forms.CharField(label=_("Note"), max_length=NOTES_LENGTH, required=False)
