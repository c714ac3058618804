"""Pages of fields, blocks and what grows on them."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.crops import counts, forms, queries, rules, services
from apps.crops.models import Planting
from apps.crops.rules import EventKind
from apps.crops.services.plantings import SCOUT_MAY
from apps.land import queries as land
from apps.land import rules as ground
from apps.land.charts import Outline, sketch
from apps.land.models import Block
from apps.people.queries import one
from apps.people.rules import Can
from farmops.web import FarmPage, FormPage

EDIT = {"GET": Can.EDIT_CROPS, "POST": Can.EDIT_CROPS}
NEAR_FT = 300
STEPS_SHOWN = 4
NOTES_SHOWN = 6


class Fields(FarmPage):
    """Every field with its blocks and what stands on them today: a constant number of queries."""

    needs = {"GET": Can.READ_FARM}
    template_name = "crops/fields.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        fields = list(land.fields(self.farm))
        blocks = [block for field in fields for block in field.blocks.all()]
        today = queries.today(self.farm, self.now)
        facts = queries.crop_facts(blocks, today, today=today)
        shown = [
            {
                "field": field,
                "blocks": [
                    {
                        "block": b,
                        "crop": facts[b.pk],
                        "acres_note": ground.acres_differ(b.mapped_acres, b.planted_acres),
                    }
                    for b in field.blocks.all()
                ],
                "sketch": sketch([Outline(code=b.code, polygon=b.polygon, chosen=True) for b in field.blocks.all()]),
            }
            for field in fields
        ]
        archived = land.all_blocks(self.farm).exclude(archived_at=None) if self.member.can(Can.EDIT_LAND) else []
        return self.page({"fields": shown, "archived": archived, "today": today})


class BlockPage(FarmPage):
    """One block: ground, crop, bloom, sequence, surroundings, last looks."""

    needs = {"GET": Can.READ_FARM}
    template_name = "crops/block.html"

    def get(self, request: HttpRequest, farm: str, block: int) -> HttpResponse:
        row = land.block(self.farm, block)
        today = queries.today(self.farm, self.now)
        return self.page({"place": row, "today": today, **self._crops(row, today), **self._ground(row)})

    def _crops(self, row: Block, today: Any) -> dict[str, Any]:
        steps = queries.sequences([row])[row.pk]
        return {
            "crop": queries.crop_facts([row], today, today=today)[row.pk],
            "steps": steps[-STEPS_SHOWN:],
            "earlier": steps[:-STEPS_SHOWN],
            "notes": queries.notes(self.farm).filter(block=row)[:NOTES_SHOWN],
            "counted": [counts.judged(c) for c in counts.counts(self.farm).filter(block=row)[:NOTES_SHOWN]],
        }

    def _ground(self, row: Block) -> dict[str, Any]:
        neighbours = land.neighbours_within(row, NEAR_FT)
        beside = [Outline(code=other.code, polygon=other.polygon) for other in neighbours]
        return {
            "acres_note": ground.acres_differ(row.mapped_acres, row.planted_acres),
            "neighbours": neighbours,
            "near_ft": NEAR_FT,
            "sensitive": land.nearest_sensitive(row),
            "sketch": sketch([Outline(code=row.code, polygon=row.polygon, chosen=True), *beside]),
        }


class CropForm(FormPage):
    """A form about crops with a title and a button."""

    needs = EDIT
    template_name = "crops/form.html"
    title = ""
    button = _("Save")

    def context(self) -> dict[str, Any]:
        return {"title": self.title, "button": self.button}

    def to(self, name: str, *args: object) -> str:
        return reverse(f"crops:{name}", args=[self.farm.slug, *args])


class CropList(CropForm):
    """The farm's crops, and a form for one more."""

    needs = {"GET": Can.READ_FARM, "POST": Can.EDIT_CROPS}
    template_name = "crops/crops.html"
    title = _("Crops")
    button = _("Add the crop")
    done = _("The crop is added.")

    def context(self) -> dict[str, Any]:
        return {**super().context(), "crops": queries.crops(self.farm).prefetch_related("varieties")}

    def form(self, data: Any = None) -> forms.CropForm:
        return forms.CropForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.add_crop(member=self.member, now=self.now, **cleaned)
        return self.to("crops")


class CropPage(CropForm):
    """Change a crop; its varieties."""

    template_name = "crops/crop.html"
    button = _("Save the crop")
    done = _("The crop is changed.")

    def context(self) -> dict[str, Any]:
        row = queries.crop(self.farm, self.kwargs["crop"])
        return {**super().context(), "crop": row, "title": row.name, "varieties": row.varieties.order_by("name")}

    def form(self, data: Any = None) -> forms.CropEditForm:
        row = queries.crop(self.farm, self.kwargs["crop"])
        start = {name: getattr(row, name) for name in ("name", "days_to_first_flower", "version")}
        return forms.CropEditForm(data, initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version")
        services.edit_crop(
            member=self.member, crop_id=self.kwargs["crop"], expected_version=version, changes=cleaned, now=self.now
        )
        return self.to("crops")


class AddVariety(CropForm):
    title = _("Add a variety")
    button = _("Add the variety")
    done = _("The variety is added.")

    def context(self) -> dict[str, Any]:
        return {**super().context(), "about": queries.crop(self.farm, self.kwargs["crop"])}

    def form(self, data: Any = None) -> forms.VarietyForm:
        return forms.VarietyForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.add_variety(member=self.member, crop_id=self.kwargs["crop"], now=self.now, **cleaned)
        return self.to("crop", self.kwargs["crop"])


class PlantingForm(CropForm):
    """The planting form with the farm's crops and varieties in it."""

    def planting_form(self, data: Any, start: dict[str, Any]) -> forms.PlantingForm:
        return forms.PlantingForm(
            data, initial=start, crops=queries.crops(self.farm), varieties=queries.varieties(self.farm)
        )


class PlanPlanting(PlantingForm):
    title = _("Plan a planting")
    button = _("Put it on the calendar")
    done = _("The planting is on the calendar.")

    def context(self) -> dict[str, Any]:
        return {**super().context(), "about": land.block(self.farm, self.kwargs["block"])}

    def form(self, data: Any = None) -> forms.PlantingForm:
        land.block(self.farm, self.kwargs["block"])
        return self.planting_form(data, {"started_as": "seed"})

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned.pop("version")
        block = self.kwargs["block"]
        services.plan_planting(member=self.member, block_id=block, now=self.now, **cleaned)
        return self.to("block", block)


class EditPlanting(PlantingForm):
    title = _("Change the planting")
    button = _("Save the planting")
    done = _("The planting is changed.")

    def row(self) -> Planting:
        return queries.planting(self.farm, self.kwargs["planting"])

    def context(self) -> dict[str, Any]:
        return {**super().context(), "about": self.row()}

    def form(self, data: Any = None) -> forms.PlantingForm:
        row = self.row()
        return self.planting_form(data, {name: getattr(row, name) for name in forms.PlantingForm.base_fields})

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version") or 0
        planting = self.kwargs["planting"]
        services.edit_planting(
            member=self.member, planting_id=planting, expected_version=version, changes=cleaned, now=self.now
        )
        return self.to("planting", planting)


class PlantingPage(CropForm):
    """One planting, what happened to it, and a form to write down what happened."""

    needs = {"GET": Can.READ_FARM, "POST": Can.SCOUT}
    template_name = "crops/planting.html"
    title = _("Write down what happened")
    button = _("Write it down")
    done = _("It is written down.")

    def row(self) -> Planting:
        return queries.planting(self.farm, self.kwargs["planting"])

    def context(self) -> dict[str, Any]:
        row = self.row()
        fact = queries.as_fact(row)
        return {
            **super().context(),
            "planting": row,
            "fact": fact,
            "harvest": rules.harvest_window(fact),
            "events": row.events.all(),
        }

    def form(self, data: Any = None) -> forms.EventForm:
        self.row()
        whole = self.member.can(Can.EDIT_CROPS)
        kinds = [kind for kind in EventKind if whole or kind in SCOUT_MAY]
        return forms.EventForm(data, initial={"on": queries.today(self.farm, self.now)}, kinds=kinds)

    def act(self, cleaned: dict[str, Any]) -> str:
        planting = self.kwargs["planting"]
        services.record_planting_event(member=self.member, planting_id=planting, now=self.now, **cleaned)
        return self.to("planting", planting)


class CallOffPlanting(FarmPage):
    needs = {"POST": Can.EDIT_CROPS}

    def post(self, request: HttpRequest, farm: str, planting: int) -> HttpResponse:
        row = services.call_off_planting(member=self.member, planting_id=planting, now=self.now)
        messages.success(request, gettext("%s is taken off the calendar.") % row.crop.name)
        return HttpResponseRedirect(reverse("crops:block", args=[farm, row.block_id]))


class WithdrawEvent(CropForm):
    title = _("Withdraw an entry")
    button = _("Withdraw it")
    done = _("The entry is withdrawn.")

    def form(self, data: Any = None) -> forms.ReasonForm:
        self.row()
        return forms.ReasonForm(data)

    def row(self) -> Any:
        return one(queries.standing_events(self.farm).filter(pk=self.kwargs["event"]))

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.withdraw_planting_event(
            member=self.member, event_id=self.kwargs["event"], now=self.now, **cleaned
        )
        return self.to("planting", row.planting_id)


class Scout(CropForm):
    """A look at a block, from the phone."""

    needs = {"GET": Can.SCOUT, "POST": Can.SCOUT}
    template_name = "crops/scout.html"
    title = _("Write down a look")
    button = _("Write it down")
    done = _("Your look is written down.")

    def block(self) -> Block:
        return land.block(self.farm, self.kwargs["block"])

    def context(self) -> dict[str, Any]:
        return {**super().context(), "about": self.block()}

    def form(self, data: Any = None) -> forms.ScoutForm:
        block = self.block()
        today = queries.today(self.farm, self.now)
        standing = [
            row for row in queries.plantings(self.farm).filter(block=block) if queries.as_fact(row).lives_on(today)
        ]
        return forms.ScoutForm(data, initial={"looked_on": today}, plantings=standing)

    def act(self, cleaned: dict[str, Any]) -> str:
        block = self.kwargs["block"]
        services.record_scouting(member=self.member, block_id=block, now=self.now, **cleaned)
        return self.to("block", block)


class WithdrawNote(CropForm):
    needs = {"GET": Can.SCOUT, "POST": Can.SCOUT}
    title = _("Withdraw a look")
    button = _("Withdraw it")
    done = _("The look is withdrawn.")

    def form(self, data: Any = None) -> forms.ReasonForm:
        queries.note(self.farm, self.kwargs["note"])
        return forms.ReasonForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.withdraw_scouting(member=self.member, note_id=self.kwargs["note"], now=self.now, **cleaned)
        return self.to("block", row.block_id)
