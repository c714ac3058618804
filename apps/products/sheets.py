"""The label as one sheet to fill in: its own fields and three tables of rows, without scripts.

Goes both ways: a stored document fills the sheet, a filled sheet gives the document, and a
fault of the document (``uses.1.rate_max``) is shown at the box it was typed in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django import forms
from django.forms import BaseFormSet, formset_factory
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.products.forms import PPE_TASKS, AboutForm, DocumentForm, GroupForm, IngredientForm, LabelForm, UseForm
from farmops.errors import BadInput
from farmops.problems import in_words

TABLES: dict[str, tuple[type[DocumentForm], Any]] = {
    "ingredients": (IngredientForm, _("Active ingredients")),
    "groups": (GroupForm, _("Resistance groups")),
    "uses": (UseForm, _("Crops and sites")),
}
MOST_ROWS = 30
SECTIONS: list[tuple[Any, list[str]]] = [
    (
        _("On the front of the label"),
        ["restricted_use", "formulation_code", "signal_word", "density_lb_per_gal", "contains_oil", "mixing_stage"],
    ),
    (
        _("Restricted entry and protective gear"),
        [
            "rei_hours",
            "activity_rei",
            "condition_release",
            "double_notification",
            "ppe_mixing",
            "ppe_applying",
            "ppe_early_entry",
        ],
    ),
    (_("Bees"), ["bee_class", "bee_statement"]),
    (
        _("How it may be sprayed"),
        [
            "methods",
            "min_spray_gpa",
            "recommended_gpa",
            "wind_min_mph",
            "wind_max_mph",
            "buffer_ft",
            "temperature_max_f",
            "temperature_caution_f",
            "solution_ph_min",
            "rain_free_hours",
            "surfactant_caution",
            "mix_cautions",
        ],
    ),
    (_("Limits over the season"), ["caps", "group_run_limits", "separations"]),
    (_("What may be planted"), ["plantback", "cover_crop_any_time", "preplant_days"]),
    (_("Who may use it"), ["supervised_use_allowed", "training_topic", "training_months"]),
    (_("Where it stands on the paper"), ["sections"]),
]


def _start(body: Mapping[str, Any]) -> dict[str, Any]:
    gear = body.get("ppe", {})
    return {**body, **{f"ppe_{task}": gear.get(task, []) for task in PPE_TASKS}}


def _table(name: str, data: Any, rows: list[Any]) -> BaseFormSet:
    made = formset_factory(
        TABLES[name][0], extra=0 if rows else 1, can_delete=True, max_num=MOST_ROWS, absolute_max=2 * MOST_ROWS
    )
    return made(data, prefix=name, initial=rows)


def _one_more(data: Any, name: str) -> Any:
    """The same answers with one blank row more in the table ``name``."""
    if name not in TABLES:
        return data
    more = data.copy()
    total = data.get(f"{name}-TOTAL_FORMS", "")
    more[f"{name}-TOTAL_FORMS"] = str(min(int(total) + 1, MOST_ROWS) if total.isdigit() else 1)
    return more


class LabelSheet:
    """``body`` and ``about`` fill a fresh sheet; ``data`` was sent; ``more`` names the table that gets a row."""

    def __init__(self, *, kind: str, data: Any = None, body: Any = None, about: Any = None, more: str = "") -> None:
        data = _one_more(data, more) if data is not None else None
        start: Mapping[str, Any] = body or {}
        self.kind = kind
        self.about = AboutForm(data, initial=about)
        self.label = LabelForm(data, initial=_start(start))
        self.tables = {name: _table(name, data, list(start.get(name, []))) for name in TABLES}
        self._used: dict[str, list[DocumentForm]] = {}

    def __iter__(self) -> Iterator[tuple[str, Any, BaseFormSet]]:
        """(name, title, table) in the order of the page."""
        return ((name, TABLES[name][1], table) for name, table in self.tables.items())

    def is_valid(self) -> bool:
        """Asks every part, so that everything wrong is shown at once."""
        return [p for p in (self.about, self.label, *self.tables.values()) if not p.is_valid()] == []

    @property
    def parts(self) -> list[tuple[Any, list[Any]]]:
        """(title, boxes) of the label's own fields."""
        return [(title, [self.label[name] for name in names]) for title, names in SECTIONS]

    def body(self) -> dict[str, Any]:
        """The label document as typed, from the rows that were filled in and not crossed out."""
        for name, table in self.tables.items():
            crossed = table.deleted_forms
            self._used[name] = [form for form in table.forms if form not in crossed and form.values()]
        rows = {name: [form.values() for form in used] for name, used in self._used.items()}
        return {"kind": self.kind, **self.label.values(), **rows}

    def put(self, errors: BadInput) -> None:
        """Show the faults that the label's reader found."""
        for name, sentences in errors.errors.items():
            for said in sentences:
                self._put(name.removeprefix("body.").split("."), said)

    def _put(self, path: list[str], said: str) -> None:
        table, place = path[0], path[1] if len(path) > 1 else ""
        if table in self.tables and place.isdigit():
            self._used[table][int(place)].put(path[2:], said)
        elif table in self.about.fields:
            self.about.add_error(table, in_words(said))
        else:
            self.label.put(path, said)

    @property
    def problems(self) -> list[tuple[str, str, str]]:
        """(anchor, where, sentence) of everything that is wrong, in the order of the page."""
        found = [*_wrong(self.about), *_wrong(self.label)]
        for _name, title, table in self:
            found += [("", str(title), said) for said in table.non_form_errors()]
            for place, form in enumerate(table.forms, start=1):
                row = gettext("%(table)s, row %(row)s") % {"table": title, "row": place}
                found += [(anchor, f"{row}, {where}" if where else row, said) for anchor, where, said in _wrong(form)]
        return found


def _wrong(form: forms.Form) -> list[tuple[str, str, str]]:
    found = [("", "", str(said)) for said in form.non_field_errors()]
    for bound in form:
        found += [(bound.auto_id, str(bound.label), str(said)) for said in bound.errors]
    return found
