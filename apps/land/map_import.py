"""Bringing in a whole map at once: everything or nothing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.land import queries, rules
from apps.land.models import Field
from apps.land.rules import BlockFact, PlaceFact
from apps.land.services import CODE_TAKEN, add_field, box_columns, insert_block, insert_place, lock_ground
from apps.people.models import Farm
from apps.people.queries import Member
from farmops.errors import BadInput, Finding, Refused


@dataclass(frozen=True, kw_only=True)
class Imported:
    """What an import brought in, or would bring in when it was only checked."""

    fields: int
    blocks: int
    places: int
    notes: list[Finding]
    only_checked: bool


@transaction.atomic
def import_geojson(*, member: Member, document: object, only_check: bool = False, now: datetime) -> Imported:
    """Bring in a whole map: everything or nothing.

    Fields are found by name or made. ``BadInput`` names every feature that cannot be used
    (``features[3].polygon``); ``Refused`` names ground that would lie in two blocks. With
    ``only_check`` the same is done and taken back.
    """
    farm = lock_ground(member)
    file = rules.read_farm_file(document, near=queries.place_of(farm))
    taken = {b.where for b in file.blocks if queries.code_taken(farm, b.code)}
    if taken:
        raise BadInput({f"{where}.code": CODE_TAKEN for where in sorted(taken)})
    made, notes = _import_blocks(member, farm, file.blocks, now)
    for place in file.places:
        insert_place(member, farm, _place_row(place), now)
        notes += place.repairs
    if only_check:
        transaction.set_rollback(True)
    return Imported(fields=made, blocks=len(file.blocks), places=len(file.places), notes=notes, only_checked=only_check)


def _place_row(place: PlaceFact) -> dict[str, Any]:
    return {
        "kind": place.kind.value,
        "name": place.name,
        "note": place.note,
        "geometry": dict(place.geometry),
        **box_columns(place.geometry),
    }


def _import_blocks(
    member: Member, farm: Farm, blocks: tuple[BlockFact, ...], now: datetime
) -> tuple[int, list[Finding]]:
    """Insert all blocks, making fields on the way; every refusal is gathered before it is raised."""
    known = {f.name.casefold(): f for f in Field.objects.for_farm(farm)}
    made, notes, refused = 0, [], []
    for fact in blocks:
        if fact.field_name.casefold() not in known:
            known[fact.field_name.casefold()] = add_field(member=member, name=fact.field_name, now=now)
            made += 1
        try:
            notes += insert_block(member, farm, known[fact.field_name.casefold()].pk, fact, now)[1]
        except Refused as fault:
            refused += fault.findings
    if refused:
        raise Refused(refused)
    return made, notes
