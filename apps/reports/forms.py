"""What is typed to find something in the trail, or to take away a stretch of days."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.audit.wording import SENTENCES


class AuditForm(forms.Form):
    """Filters of the trail. ``from`` is a word of the language, so the two days are added by name."""

    text = forms.CharField(label=_("Words that stand in the line"), required=False, max_length=100)
    subject_type = forms.ChoiceField(label=_("About"), required=False)
    verb = forms.ChoiceField(label=_("What"), required=False)
    actor = forms.ChoiceField(label=_("Who"), required=False)
    subject_id = forms.CharField(widget=forms.HiddenInput, required=False, max_length=40)

    def __init__(self, data: Any, *, subject_types: list[str], verbs: list[str], actors: list[tuple[int, str]]) -> None:
        super().__init__(data)
        everything = [("", gettext("everything"))]
        self.fields["subject_type"].choices = [*everything, *((t, t.split(".")[-1]) for t in subject_types)]  # type: ignore[attr-defined]
        self.fields["verb"].choices = [("", gettext("everything")), *((v, spoken(v)) for v in verbs)]  # type: ignore[attr-defined]
        self.fields["actor"].choices = [("", gettext("everybody")), *((str(i), n) for i, n in actors)]  # type: ignore[attr-defined]
        for name, label in (("from", _("From day, like 2026-06-03")), ("to", _("Through day, like 2026-06-10"))):
            self.fields[name] = forms.CharField(label=label, required=False, max_length=10)


def spoken(verb: str) -> str:
    """A verb for the choice: its sentence without anybody in it."""
    said = SENTENCES.get(verb)
    return gettext(said).format(who="…", what="…") if said else verb
