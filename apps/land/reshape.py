"""Splitting a block and merging blocks: the ground stays, its blocks change, and what hangs on it follows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils.module_loading import import_string

from apps.audit import services as audit
from apps.land import queries, rules
from apps.land.models import Block, Lineage
from apps.land.rules import BlockFact, Reading, Reshaping
from apps.land.rules.farm_files import CODE_LENGTH, ENTER_BLOCK_NAME, ENTER_CODE, NAME_LENGTH
from apps.land.services import insert_block, lock_ground
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.services import save_changes
from farmops.errors import BadInput, Finding, Refused, Said, gettext_noop, refusals, refuse
from farmops.faults import Faults

MOST = 20


@transaction.atomic
def split_block(
    *,
    member: Member,
    block_id: int,
    pieces: Sequence[Mapping[str, Any]],
    expected_version: int | None = None,
    now: datetime,
) -> list[Block]:
    """Make several blocks of one. ``pieces``: ``name``, ``code``, ``polygon`` (GeoJSON), optional ``planted_acres``.

    The pieces must lie in the block, not on each other, and leave none of it over; a piece may keep the block's code.
    The old block is archived with its records. What hangs on its ground and planned jobs go over to every piece
    that holds some of it. ``Refused`` while a task is open on it.
    """
    farm = lock_ground(member)
    row = _in_use(farm, block_id)
    if not 2 <= len(pieces) <= MOST:
        raise BadInput({"pieces": Said(gettext_noop("Draw 2 to {most} pieces."), most=MOST)})
    facts = [_piece(farm, row, number, piece) for number, piece in enumerate(pieces)]
    _stop(rules.check_split(row.polygon, [f.polygon for f in facts]))
    _retire([row], member, now, {row.pk: expected_version})
    made = [insert_block(member, farm, row.field_id, fact, now)[0] for fact in facts]
    _pass_on(farm, [(row, child) for child in made], Reshaping.SPLIT, member, now)
    return made


@transaction.atomic
def merge_blocks(*, member: Member, block_ids: Sequence[int], name: str, code: str, now: datetime) -> Block:
    """Make one block of several of the same field; it may keep one of their codes.

    The old blocks are archived with their records. Whatever hangs on one of them closes all of the new one.
    """
    farm = lock_ground(member)
    ids = sorted(set(block_ids))
    if not 2 <= len(ids) <= MOST:
        raise BadInput({"block_ids": Said(gettext_noop("Choose 2 to {most} blocks."), most=MOST)})
    rows = [_in_use(farm, block_id) for block_id in ids]
    if len({row.field_id for row in rows}) > 1:
        raise BadInput({"block_ids": gettext_noop("The blocks must lie in the same field.")})
    faults = Faults()
    fact = BlockFact(
        field_name=rows[0].field.name,
        name=faults.text({"name": name}, "name", "", NAME_LENGTH, ENTER_BLOCK_NAME),
        code=faults.text({"code": code}, "code", "", CODE_LENGTH, ENTER_CODE),
        polygon=rules.union([row.polygon for row in rows]),
        planted_acres=sum(r.planted_acres for r in rows) if any(r.planted_stated for r in rows) else None,
    )
    faults.raise_any()
    _retire(rows, member, now, {})
    made, _ = insert_block(member, farm, rows[0].field_id, fact, now)
    _pass_on(farm, [(row, made) for row in rows], Reshaping.MERGE, member, now)
    return made


def _in_use(farm: Farm, block_id: int) -> Block:
    row = queries.block(farm, block_id)
    if row.archived:
        raise refuse("block_archived", gettext_noop("This block is archived. Take it back into use first."))
    return row


def _piece(farm: Farm, row: Block, number: int, piece: Mapping[str, Any]) -> BlockFact:
    """One checked piece; errors are named ``pieces.0.code`` and so on."""
    faults, where = Faults(), f"pieces.{number}"
    near = queries.place_of(farm)
    outline = faults.take(
        lambda: rules.read_polygon(piece.get("polygon"), near=near, field=f"{where}.polygon"), Reading(geometry={})
    )
    fact = BlockFact(
        field_name=row.field.name,
        name=faults.text(piece, "name", where, NAME_LENGTH, ENTER_BLOCK_NAME),
        code=faults.text(piece, "code", where, CODE_LENGTH, ENTER_CODE),
        polygon=outline.geometry,
        planted_acres=faults.take(lambda: rules.read_planted_acres(piece.get("planted_acres")), None),
        repairs=outline.repairs,
        where=where,
    )
    faults.raise_any()
    return fact


def _retire(rows: Sequence[Block], member: Member, now: datetime, versions: Mapping[int, int | None]) -> None:
    """Out of use, if nothing stands on the ground that cannot follow it."""
    for row in rows:
        _stop([f for path in settings.RESHAPE_GUARDS for f in import_string(path)(row, now)])
        expected = versions.get(row.pk) or row.version
        save_changes(row, member=member, expected_version=expected, changes={"archived_at": now}, now=now)


def _pass_on(farm: Farm, pairs: Sequence[tuple[Block, Block]], how: Reshaping, member: Member, now: datetime) -> None:
    """Write the lineage down, then let closures and planned jobs go over, in that order."""
    for parent, child in pairs:
        child.reshaped = True
        child.save(update_fields=["reshaped"])
        row = Lineage.objects.add(farm=farm, parent=parent, child=child, how=how, at=now, by_id=member.person_id)
        audit.record(farm=farm, actor=member, verb=how.value, subject=row, now=now)
    for path in settings.GROUND_FOLLOWERS:
        import_string(path)(member=member, farm=farm, pairs=pairs, now=now)


def _stop(found: list[Finding]) -> None:
    if refusals(found):
        raise Refused(found)
