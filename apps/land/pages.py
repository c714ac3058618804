"""Pages that change the ground. The list of fields and the page of a block stand in crops."""

from __future__ import annotations

import json
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.urls import reverse
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from apps.land import forms, map_import, queries, reshape, rules, services
from apps.people.rules import Can
from farmops.errors import BadInput, Finding
from farmops.problems import translated
from farmops.units import show
from farmops.web import FarmPage, FormPage

EDIT = {"GET": Can.EDIT_LAND, "POST": Can.EDIT_LAND}


class LandForm(FormPage):
    """A form about the ground; goes on to the fields, and tells what was put right."""

    needs = EDIT
    template_name = "land/form.html"
    title = ""
    button = _("Save")

    def context(self) -> dict[str, Any]:
        return {"title": self.title, "button": self.button}

    @property
    def to_fields(self) -> str:
        return f"/f/{self.farm.slug}/fields/"

    def to_block(self, block_id: int) -> str:
        return f"/f/{self.farm.slug}/blocks/{block_id}/"

    def tell(self, notes: list[Finding]) -> None:
        for note in notes:
            messages.info(self.request, translated(note))


class AddField(LandForm):
    title = _("Add a field")
    button = _("Add the field")
    done = _("The field is added.")

    def form(self, data: Any = None) -> forms.FieldForm:
        return forms.FieldForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.add_field(member=self.member, name=cleaned["name"], note=cleaned["note"], now=self.now)
        return reverse("land:add_block", args=[self.farm.slug, row.pk])


class EditField(LandForm):
    title = _("Change the field")
    button = _("Save the field")
    done = _("The field is changed.")

    def form(self, data: Any = None) -> forms.FieldForm:
        row = queries.field(self.farm, self.kwargs["field"])
        return forms.FieldForm(data, initial={"name": row.name, "note": row.note, "version": row.version})

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version") or 0
        services.edit_field(
            member=self.member, field_id=self.kwargs["field"], expected_version=version, changes=cleaned, now=self.now
        )
        return self.to_fields


class AddBlock(LandForm):
    title = _("Add a block")
    button = _("Add the block")
    done = _("The block is added.")

    def context(self) -> dict[str, Any]:
        return {**super().context(), "field": queries.field(self.farm, self.kwargs["field"])}

    def form(self, data: Any = None) -> forms.BlockForm:
        return forms.BlockForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned["polygon"] = rules.read_outline_text(cleaned["polygon"])
        row, notes = services.add_block(member=self.member, field_id=self.kwargs["field"], now=self.now, **cleaned)
        self.tell(notes)
        return self.to_block(row.pk)


class EditBlock(LandForm):
    title = _("Change the block")
    button = _("Save the block")
    done = _("The block is changed.")

    def form(self, data: Any = None) -> forms.BlockEditForm:
        row = queries.block(self.farm, self.kwargs["block"])
        start = {name: getattr(row, name) for name in ("name", "code", "field_id", "version")}
        start["planted_acres"] = show(row.planted_acres) if row.planted_stated else ""
        start["polygon"] = json.dumps(row.polygon)
        fields = list(queries.fields(self.farm).values_list("pk", "name"))
        return forms.BlockEditForm(data, initial=start, fields=fields)

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned["polygon"] = rules.read_outline_text(cleaned["polygon"])
        row, notes = services.edit_block(
            member=self.member,
            block_id=self.kwargs["block"],
            expected_version=cleaned.pop("version"),
            changes=cleaned,
            now=self.now,
        )
        self.tell(notes)
        return self.to_block(row.pk)


class ArchiveBlock(FarmPage):
    needs = {"POST": Can.EDIT_LAND}

    def post(self, request: HttpRequest, farm: str, block: int) -> HttpResponse:
        row = services.archive_block(member=self.member, block_id=block, now=self.now)
        messages.success(request, gettext("Block %s is archived.") % row.code)
        return HttpResponseRedirect(f"/f/{farm}/fields/")


class SplitBlock(LandForm):
    """Cut a block in two along a line; what hangs on it hangs on both."""

    title = _("Split the block")
    button = _("Split the block")
    done = _("The block is split. What was closed stays closed on both pieces.")

    def context(self) -> dict[str, Any]:
        row = queries.block(self.farm, self.kwargs["block"])
        return {**super().context(), "title": f"{self.title}: {row}", "field": row.field}

    def form(self, data: Any = None) -> forms.SplitForm:
        row = queries.block(self.farm, self.kwargs["block"])
        return forms.SplitForm(data, initial={"version": row.version})

    def act(self, cleaned: dict[str, Any]) -> str:
        row = queries.block(self.farm, self.kwargs["block"])
        outlines = rules.cut(row.polygon, rules.read_line_text(cleaned["line"]))
        if len(outlines) > 2:
            raise BadInput({"line": gettext("The line cuts the block into more than two pieces.")})
        names = [(cleaned[f"{side}_name"], cleaned[f"{side}_code"]) for side in ("west", "east")]
        pieces = [{"name": n, "code": c, "polygon": p} for (n, c), p in zip(names, outlines, strict=True)]
        reshape.split_block(
            member=self.member, block_id=row.pk, pieces=pieces, expected_version=cleaned["version"], now=self.now
        )
        return self.to_fields


class MergeBlocks(LandForm):
    """One block of several of a field."""

    title = _("Merge blocks")
    button = _("Merge the blocks")
    done = _("The blocks are merged. What was closed on one of them closes all of the new block.")

    def context(self) -> dict[str, Any]:
        return {**super().context(), "field": queries.field(self.farm, self.kwargs["field"])}

    def form(self, data: Any = None) -> forms.MergeForm:
        field = queries.field(self.farm, self.kwargs["field"])
        rows = queries.blocks(self.farm).filter(field=field)
        return forms.MergeForm(data, blocks=[(row.pk, str(row)) for row in rows])

    def act(self, cleaned: dict[str, Any]) -> str:
        row = reshape.merge_blocks(member=self.member, now=self.now, **cleaned)
        return self.to_block(row.pk)


class RestoreBlock(FarmPage):
    needs = {"POST": Can.EDIT_LAND}

    def post(self, request: HttpRequest, farm: str, block: int) -> HttpResponse:
        row = services.restore_block(member=self.member, block_id=block, now=self.now)
        messages.success(request, gettext("Block %s is back in use.") % row.code)
        return HttpResponseRedirect(f"/f/{farm}/blocks/{block}/")


class Places(LandForm):
    """All sensitive places, and a form for one more."""

    needs = {"GET": Can.READ_FARM, "POST": Can.EDIT_LAND}
    template_name = "land/places.html"
    title = _("Sensitive places")
    button = _("Add the place")
    done = _("The place is added.")

    def context(self) -> dict[str, Any]:
        return {**super().context(), "places": queries.sensitive_places(self.farm)}

    def form(self, data: Any = None) -> forms.PlaceForm:
        return forms.PlaceForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned.pop("version")
        cleaned["geometry"] = rules.read_outline_text(cleaned["geometry"], field="geometry")
        _row, notes = services.add_place(member=self.member, now=self.now, **cleaned)
        self.tell(notes)
        return reverse("land:places", args=[self.farm.slug])


class EditPlace(LandForm):
    title = _("Change the place")
    button = _("Save the place")
    done = _("The place is changed.")

    def form(self, data: Any = None) -> forms.PlaceForm:
        row = queries.sensitive_place(self.farm, self.kwargs["place"])
        start = {name: getattr(row, name) for name in ("kind", "name", "note", "version")}
        return forms.PlaceForm(data, initial={**start, "geometry": json.dumps(row.geometry)})

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned["geometry"] = rules.read_outline_text(cleaned["geometry"], field="geometry")
        version = cleaned.pop("version") or 0
        _row, notes = services.edit_place(
            member=self.member, place_id=self.kwargs["place"], expected_version=version, changes=cleaned, now=self.now
        )
        self.tell(notes)
        return reverse("land:places", args=[self.farm.slug])


class RemovePlace(FarmPage):
    needs = {"POST": Can.EDIT_LAND}

    def post(self, request: HttpRequest, farm: str, place: int) -> HttpResponse:
        row = services.remove_place(member=self.member, place_id=place, now=self.now)
        messages.success(request, gettext("“%s” no longer counts.") % row.name)
        return HttpResponseRedirect(reverse("land:places", args=[farm]))


class MapFile(LandForm):
    """Bring the map in from a file, or take it out."""

    template_name = "land/map.html"
    title = _("Map in and out")
    button = _("Bring the map in")

    def form(self, data: Any = None) -> forms.MapForm:
        return forms.MapForm(data, None if data is None else self.request.FILES)

    def act(self, cleaned: dict[str, Any]) -> str:
        document = rules.parse_json(cleaned["document"], field="document")
        done = map_import.import_geojson(
            member=self.member, document=document, only_check=cleaned["only_check"], now=self.now
        )
        blocks = ngettext("%d block", "%d blocks", done.blocks) % done.blocks
        places = ngettext("%d place", "%d places", done.places) % done.places
        said = gettext("Checked, nothing written: %(blocks)s, %(places)s.")
        if not done.only_checked:
            said = gettext("Brought in: %(blocks)s, %(places)s.")
        messages.success(self.request, said % {"blocks": blocks, "places": places})
        self.tell(done.notes)
        return reverse("land:map", args=[self.farm.slug]) if done.only_checked else self.to_fields


class DownloadMap(FarmPage):
    """The whole map as a GeoJSON file."""

    needs = {"GET": Can.READ_FARM}

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        answer = JsonResponse(queries.farm_file(self.farm), content_type="application/geo+json")
        answer["Content-Disposition"] = f'attachment; filename="{self.farm.slug}.geojson"'
        return answer
