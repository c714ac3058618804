"""What a manager does with the ground. Each action is one transaction under the farm's lock.

The lock makes two people drawing at once take turns, so that neither can lay a block on the other's.
Notes (repairs made to an outline, acres that differ) come back beside the row.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils.module_loading import import_string

from apps.audit import services as audit
from apps.land import queries, rules
from apps.land.models import Block, Field, SensitivePlace
from apps.land.rules import BlockFact, Reading
from apps.land.rules.farm_files import (
    CODE_LENGTH,
    ENTER_BLOCK_NAME,
    ENTER_CODE,
    ENTER_FIELD,
    ENTER_PLACE_NAME,
    NAME_LENGTH,
    NOTE_LENGTH,
)
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.people.services import save_changes
from farmops.errors import BadInput, Finding, Refused, gettext_noop, refusals, refuse
from farmops.faults import Faults

CODE_TAKEN = gettext_noop("Another block has this code; choose another.")
NAME_TAKEN = gettext_noop("Another field has this name; choose another.")


def lock_ground(member: Member) -> Farm:
    """The farm's row, locked, after asking whether this member may change the ground."""
    member.require(Can.EDIT_LAND)
    return Farm.objects.select_for_update().get(pk=member.farm.pk)


def _field_values(values: Mapping[str, Any]) -> dict[str, Any]:
    faults, found = Faults(), {}
    if "name" in values:
        found["name"] = faults.text(values, "name", "", NAME_LENGTH, ENTER_FIELD)
    if "note" in values:
        found["note"] = faults.text(values, "note", "", NOTE_LENGTH, "")
    faults.raise_any()
    return found


@transaction.atomic
def add_field(*, member: Member, name: str, note: str = "", now: datetime) -> Field:
    """A new field, still without blocks. ``BadInput`` on ``name`` when it is taken."""
    farm = lock_ground(member)
    values = _field_values({"name": name, "note": note})
    if Field.objects.for_farm(farm).filter(name__iexact=values["name"]).exists():
        raise BadInput({"name": NAME_TAKEN})
    row = Field.objects.add(farm=farm, **values)
    audit.record(farm=farm, actor=member, verb="added", subject=row, now=now, after=values)
    return row


@transaction.atomic
def edit_field(
    *, member: Member, field_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> Field:
    """Change a field's ``name`` or ``note``."""
    farm = lock_ground(member)
    row = queries.field(farm, field_id)
    values = _field_values(changes)
    if Field.objects.for_farm(farm).filter(name__iexact=values.get("name", "")).exclude(pk=row.pk).exists():
        raise BadInput({"name": NAME_TAKEN})
    saved: Field = save_changes(row, member=member, expected_version=expected_version, changes=values, now=now)
    return saved


@transaction.atomic
def add_block(
    *,
    member: Member,
    field_id: int,
    name: str,
    code: str,
    polygon: object,
    planted_acres: object = None,
    now: datetime,
) -> tuple[Block, list[Finding]]:
    """A new block from a GeoJSON outline; returns it and the notes.

    ``polygon`` may be a geometry, a Feature or a FeatureCollection of one. ``planted_acres`` is what
    the grower states; nothing stated means the mapped acres. ``BadInput`` names each field that
    cannot be used; ``Refused`` when the ground already lies in another block.
    """
    farm = lock_ground(member)
    faults = Faults()
    outline = faults.take(lambda: rules.read_polygon(polygon, near=queries.place_of(farm)), Reading(geometry={}))
    fact = BlockFact(
        field_name=queries.field(farm, field_id).name,
        name=faults.text({"name": name}, "name", "", NAME_LENGTH, ENTER_BLOCK_NAME),
        code=faults.text({"code": code}, "code", "", CODE_LENGTH, ENTER_CODE),
        polygon=outline.geometry,
        planted_acres=faults.take(lambda: rules.read_planted_acres(planted_acres), None),
        repairs=outline.repairs,
    )
    faults.raise_any()
    return insert_block(member, farm, field_id, fact, now)


def insert_block(
    member: Member, farm: Farm, field_id: int, fact: BlockFact, now: datetime
) -> tuple[Block, list[Finding]]:
    """Write one checked block under the farm's lock; the code and the ground must be free."""
    if queries.code_taken(farm, fact.code):
        raise BadInput({f"{fact.where}.code" if fact.where else "code": CODE_TAKEN})
    ground = _ground_columns(dict(fact.polygon))
    notes = [*fact.repairs, *_shared(farm, ground)]
    stated = fact.planted_acres
    values = {
        **ground,
        "name": fact.name,
        "code": fact.code,
        "planted_acres": stated if stated is not None else _planted_from_map(ground),
        "planted_stated": stated is not None,
    }
    row = Block.objects.add(farm=farm, field_id=field_id, **values)
    audit.record(farm=farm, actor=member, verb="added", subject=row, now=now, after=values)
    return row, [*notes, *_acres_note(row)]


def _ground_columns(polygon: dict[str, Any]) -> dict[str, Any]:
    """Everything that follows from an outline."""
    return {"polygon": polygon, "mapped_acres": rules.acres_of(polygon), **box_columns(polygon)}


def box_columns(geometry: Mapping[str, Any]) -> dict[str, float]:
    """The corner columns of a shape."""
    return vars(rules.box_of(geometry)).copy()


def _planted_from_map(ground: Mapping[str, Any]) -> Any:
    return round(ground["mapped_acres"], 4)


def _shared(farm: Farm, ground: Mapping[str, Any], *, but: int | None = None) -> list[Finding]:
    """Notes on slivers shared with neighbours; ``Refused`` when the ground is another block's."""
    near = queries.ground_near(farm, ground["polygon"], but=but)
    found = [
        finding
        for other in near
        if (
            finding := rules.shared_ground(
                ground["polygon"], ground["mapped_acres"], other.polygon, other.acres, code=other.code
            )
        )
    ]
    if refusals(found):
        raise Refused(found)
    return found


def _acres_note(row: Block) -> list[Finding]:
    note = rules.acres_differ(row.mapped_acres, row.planted_acres)
    return [note] if note else []


@transaction.atomic
def edit_block(
    *, member: Member, block_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> tuple[Block, list[Finding]]:
    """Change a block: ``name``, ``code``, ``field_id``, ``planted_acres`` (None = not stated), ``polygon``.

    A moved outline is refused while a closure, a task or a job still speaks of the old ground.
    Returns the block and the notes.
    """
    farm = lock_ground(member)
    row = queries.block(farm, block_id)
    if row.archived:
        raise refuse("block_archived", gettext_noop("This block is archived. Take it back into use first."))
    values, notes = _block_values(farm, row, changes)
    if values.get("polygon", row.polygon) != row.polygon:
        notes += _may_leave(row, now)
        notes += _shared(farm, values, but=row.pk)
        for path in settings.OUTLINE_FOLLOWERS:
            import_string(path)(member=member, block=row, outline=row.polygon, now=now)
    saved: Block = save_changes(row, member=member, expected_version=expected_version, changes=values, now=now)
    return saved, [*notes, *_acres_note(saved)]


def _block_values(farm: Farm, row: Block, changes: Mapping[str, Any]) -> tuple[dict[str, Any], list[Finding]]:
    """Checked columns for an edit, and the repairs made to a new outline."""
    faults = Faults()
    values: dict[str, Any] = {}
    if "name" in changes:
        values["name"] = faults.text(changes, "name", "", NAME_LENGTH, ENTER_BLOCK_NAME)
    if "code" in changes:
        values["code"] = faults.text(changes, "code", "", CODE_LENGTH, ENTER_CODE)
        if queries.code_taken(farm, values["code"], but=row.pk):
            faults.add("code", CODE_TAKEN)
    if "field_id" in changes:
        values["field_id"] = queries.field(farm, changes["field_id"]).pk
    outline = Reading(geometry=row.polygon)
    if "polygon" in changes:
        near = queries.place_of(farm)
        outline = faults.take(lambda: rules.read_polygon(changes["polygon"], near=near), outline)
    stated = row.planted_acres if row.planted_stated else None
    if "planted_acres" in changes:
        stated = faults.take(lambda: rules.read_planted_acres(changes["planted_acres"]), None)
    faults.raise_any()
    if outline.geometry != row.polygon:
        values |= _ground_columns(outline.geometry)
    values["planted_stated"] = stated is not None
    values["planted_acres"] = (
        stated if stated is not None else _planted_from_map({"mapped_acres": row.mapped_acres} | values)
    )
    return values, list(outline.repairs)


def _may_leave(row: Block, now: datetime) -> list[Finding]:
    found = queries.against_leaving(row, now)
    if refusals(found):
        raise Refused(found)
    return found


@transaction.atomic
def archive_block(*, member: Member, block_id: int, now: datetime) -> Block:
    """Take a block out of use; its records stay. Refused while something on it is not over."""
    farm = lock_ground(member)
    row = queries.block(farm, block_id)
    if row.archived:
        raise refuse("block_archived", gettext_noop("This block is archived already."))
    _may_leave(row, now)
    saved: Block = save_changes(row, member=member, expected_version=row.version, changes={"archived_at": now}, now=now)
    return saved


@transaction.atomic
def restore_block(*, member: Member, block_id: int, now: datetime) -> Block:
    """Take an archived block back into use, if its code and its ground are still free."""
    farm = lock_ground(member)
    row = queries.block(farm, block_id)
    if not row.archived:
        raise refuse("block_in_use", gettext_noop("This block is in use already."))
    if queries.code_taken(farm, row.code, but=row.pk):
        raise refuse("code_taken", CODE_TAKEN, field="code")
    _shared(farm, {"polygon": row.polygon, "mapped_acres": row.mapped_acres}, but=row.pk)
    saved: Block = save_changes(
        row, member=member, expected_version=row.version, changes={"archived_at": None}, now=now
    )
    return saved


@transaction.atomic
def add_place(
    *, member: Member, kind: str, name: str, geometry: object, note: str = "", now: datetime
) -> tuple[SensitivePlace, list[Finding]]:
    """A new sensitive place, a point or a polygon; returns it and the repairs made."""
    farm = lock_ground(member)
    values, notes = _place_values(farm, {"kind": kind, "name": name, "geometry": geometry, "note": note})
    return insert_place(member, farm, values, now), notes


def insert_place(member: Member, farm: Farm, values: Mapping[str, Any], now: datetime) -> SensitivePlace:
    """Write one checked place under the farm's lock."""
    row = SensitivePlace.objects.add(farm=farm, **values)
    audit.record(farm=farm, actor=member, verb="added", subject=row, now=now, after=values)
    return row


def _place_values(farm: Farm, changes: Mapping[str, Any]) -> tuple[dict[str, Any], list[Finding]]:
    faults = Faults()
    values: dict[str, Any] = {}
    notes: list[Finding] = []
    if "kind" in changes:
        kind = faults.take(lambda: rules.read_kind(changes["kind"]), rules.SensitiveKind.OTHER)
        values["kind"] = kind.value
    if "name" in changes:
        values["name"] = faults.text(changes, "name", "", NAME_LENGTH, ENTER_PLACE_NAME)
    if "note" in changes:
        values["note"] = faults.text(changes, "note", "", NOTE_LENGTH, "")
    if "geometry" in changes:
        near = queries.place_of(farm)
        drawn = faults.take(lambda: rules.read_place(changes["geometry"], near=near), None)
        if drawn is not None:
            values |= {"geometry": drawn.geometry, **box_columns(drawn.geometry)}
            notes = list(drawn.repairs)
    faults.raise_any()
    return values, notes


@transaction.atomic
def edit_place(
    *, member: Member, place_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> tuple[SensitivePlace, list[Finding]]:
    """Change a place: ``kind``, ``name``, ``geometry``, ``note``; returns it and the repairs made."""
    farm = lock_ground(member)
    row = queries.sensitive_place(farm, place_id)
    values, notes = _place_values(farm, changes)
    saved: SensitivePlace = save_changes(row, member=member, expected_version=expected_version, changes=values, now=now)
    return saved, notes


@transaction.atomic
def remove_place(*, member: Member, place_id: int, now: datetime) -> SensitivePlace:
    """A place that is no longer there; the row stays for the records that named it."""
    farm = lock_ground(member)
    row = queries.sensitive_place(farm, place_id)
    saved: SensitivePlace = save_changes(
        row, member=member, expected_version=row.version, changes={"removed_at": now}, now=now
    )
    return saved
