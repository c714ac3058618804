"""Pages that write season programs down: the program, its passes, decisions."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext, gettext_noop

from apps.crops import counts
from apps.crops import queries as crops
from apps.land import queries as land
from apps.people.rules import Can
from apps.products.queries import products
from apps.spraying.forms import LINES
from apps.spraying.programs import forms, queries, services
from apps.spraying.programs.pages import ProgramPage, line_fields, shown
from apps.spraying.programs.queries import Followed
from apps.spraying.programs.rules import Choice, StartKind
from farmops.errors import BadInput, Unknown
from farmops.web import FormPage

PLAN = {"GET": Can.PLAN_JOBS, "POST": Can.PLAN_JOBS}


class _ProgramForm(FormPage, ProgramPage):
    """Base of forms about a program."""

    needs = PLAN
    template_name = "spraying/programs/form.html"
    title = ""
    button = gettext_noop("Save")

    def context(self) -> dict[str, Any]:
        return {"title": gettext(self.title), "button": gettext(self.button)}

    def to_program(self, program_id: int) -> str:
        return reverse("spraying:program", args=[self.farm.slug, program_id])

    def head(self, data: Any, start: dict[str, Any]) -> forms.ProgramForm:
        offered = [t for t in counts.thresholds(self.farm).values() if t.active]
        return forms.ProgramForm(
            data,
            initial=start,
            crops=[(c.pk, c.name) for c in crops.crops(self.farm)],
            blocks=[(b.pk, str(b)) for b in land.blocks(self.farm)],
            thresholds=[(t.code, _threshold_words(t)) for t in offered],
        )


def _threshold_words(row: counts.FarmThreshold) -> str:
    return ", ".join(gettext(part) for part in (row.rule.name, row.rule.when) if part)


class SetUpProgram(_ProgramForm):
    title = gettext_noop("Set up a season program")
    button = gettext_noop("Set it up")
    done = gettext_noop("The program is set up. Add its passes.")

    def form(self, data: Any = None) -> forms.ProgramForm:
        return self.head(data, {"start_kind": StartKind.DATE.value})

    def act(self, cleaned: dict[str, Any]) -> str:
        blocks = cleaned.pop("blocks")
        cleaned.pop("version")
        row = services.set_up_program(member=self.member, values=cleaned, blocks=blocks, passes=[], now=self.now)
        return self.to_program(row.pk)


class EditProgram(_ProgramForm):
    title = gettext_noop("Change the program")
    button = gettext_noop("Save the program")
    done = gettext_noop("The program is changed.")

    def form(self, data: Any = None) -> forms.ProgramForm:
        row = self.program()
        start = {
            **{name: getattr(row, name) for name in (*services.PLAIN, "crop_id", "version")},
            "targets": ", ".join(t.replace("_", " ") for t in row.targets),
            "blocks": services.block_ids(row),
        }
        return self.head(data, start)

    def context(self) -> dict[str, Any]:
        return {**super().context(), "p": self.program()}

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version") or 0
        row = services.change_program(
            member=self.member,
            program_id=self.kwargs["program"],
            expected_version=version,
            changes=cleaned,
            now=self.now,
        )
        return self.to_program(row.pk)


class _PassPage(_ProgramForm):
    """Base of the pages that write one mix of the sequence."""

    template_name = "spraying/programs/pass.html"

    def pass_form(self, data: Any, start: dict[str, Any], *, removable: bool) -> forms.PassForm:
        rows = [(p.pk, p.name) for p in products(self.farm, self.day) if p.retired_at is None]
        return forms.PassForm(data, initial=start, products=rows, removable=removable)

    def context(self) -> dict[str, Any]:
        return {**super().context(), "p": self.program()}

    def save(self, version: int, passes: list[list[dict[str, Any]]], place: int) -> str:
        try:
            row = services.change_program(
                member=self.member,
                program_id=self.kwargs["program"],
                expected_version=version,
                changes={"passes": passes},
                now=self.now,
            )
        except BadInput as error:
            raise _on_pass(error, place) from None
        return self.to_program(row.pk)


def _on_pass(error: BadInput, place: int) -> BadInput:
    """Faults of one mix at the fields that show them: ``passes.2.products.0.rate_amount`` is ``amount_1``."""
    parts = {"product_id": "product", "rate_amount": "amount", "rate_unit": "unit", "rate_basis": "basis"}
    found: dict[str, list[str]] = {}
    for name, said in error.errors.items():
        where = name.split(".")
        if where[:2] == ["passes", str(place)]:
            name = f"{parts[where[4]]}_{int(where[3]) + 1}" if len(where) == 5 else "product_1"
        found.setdefault(name, []).extend(said)
    return BadInput(found)


class AddPass(_PassPage):
    title = gettext_noop("Add a pass")
    button = gettext_noop("Add the pass")
    done = gettext_noop("The pass is added.")

    def form(self, data: Any = None) -> forms.PassForm:
        return self.pass_form(data, {"version": self.program().version}, removable=False)

    def act(self, cleaned: dict[str, Any]) -> str:
        form = self.form(self.request.POST)
        form.is_valid()
        passes = services.pass_lines(self.program())
        return self.save(cleaned["version"], [*passes, form.products()], len(passes))


class EditPass(_PassPage):
    title = gettext_noop("Change a pass")
    button = gettext_noop("Save the pass")
    done = gettext_noop("The pass is changed.")

    def lines(self) -> list[list[dict[str, Any]]]:
        passes = services.pass_lines(self.program())
        if not 1 <= self.kwargs["pass_no"] <= len(passes):
            raise Unknown()
        return passes

    def form(self, data: Any = None) -> forms.PassForm:
        lines = self.lines()[self.kwargs["pass_no"] - 1]
        return self.pass_form(data, {"version": self.program().version, **line_fields(lines)}, removable=True)

    def act(self, cleaned: dict[str, Any]) -> str:
        form, place = self.form(self.request.POST), self.kwargs["pass_no"] - 1
        form.is_valid()
        passes = self.lines()
        kept = passes[place][len(LINES) :]
        passes[place : place + 1] = [] if cleaned["remove"] else [[*form.products(), *kept]]
        return self.save(cleaned["version"], passes, place)


class Decide(_ProgramForm):
    """Start, continue, respray, skip, end or go on; always with a reason."""

    template_name = "spraying/programs/decide.html"
    title = gettext_noop("Decide about the program")
    button = gettext_noop("Write down the decision")
    done = gettext_noop("The decision is written down.")

    @cached_property
    def found(self) -> list[Followed]:
        return queries.followed(self.farm, self.now, [self.program()])

    def form(self, data: Any = None) -> forms.DecideForm:
        asked = self.request.GET.get("block", "")
        chosen = [asked] if asked.isdigit() else []
        possible = [c for c in Choice if any(services.possible(f, c) for f in self.found)]
        start = {"blocks": chosen}
        return forms.DecideForm(
            data, initial=start, blocks=[(f.block.pk, str(f.block)) for f in self.found], possible=possible
        )

    def context(self) -> dict[str, Any]:
        return {**super().context(), "p": self.program(), "blocks": [shown(f, self.day) for f in self.found]}

    def act(self, cleaned: dict[str, Any]) -> str:
        services.decide(
            member=self.member,
            program_id=self.kwargs["program"],
            block_ids=cleaned["blocks"],
            choice=cleaned["choice"],
            reason=cleaned["reason"],
            now=self.now,
        )
        return self.to_program(self.kwargs["program"])
