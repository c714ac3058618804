"""Closures follow the ground when blocks are split or merged.

What hangs on the old block is hung on every block that holds some of that ground, then comes down on the old one.
A step of a job that comes later, for a block that is no longer in use, is taken on what became of it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from apps.audit import services as audit
from apps.land import queries as land
from apps.land.models import Block
from apps.land.rules import shares_ground
from apps.people.models import Farm
from apps.people.queries import Member
from apps.safety.models import Closure
from apps.safety.rules import LiftReason, NewClosure

_COPIED = (
    "kind", "reason_code", "starts_at", "ends_at", "provisional_ends_at", "speaks_until", "activities",
    "product_names", "numbers", "part", "source", "set_by_id", "set_by_name", "contact",
)  # fmt: skip


def follow_ground(*, member: Member, farm: Farm, pairs: Sequence[tuple[Block, Block]], now: datetime) -> None:
    """Called by land inside the transaction that splits or merges; ``pairs`` are (old block, new block)."""
    children: dict[int, list[Block]] = {}
    for parent, child in pairs:
        children.setdefault(parent.pk, []).append(child)
    hung = Closure.objects.for_farm(farm).filter(block_id__in=children, lifted_at=None, speaks_until__gt=now)
    for row in hung.select_for_update().order_by("pk"):
        for child in _takers(row, children[row.block_id]):
            _hang_again(row, child, farm, member, now)
        row.lifted_at, row.lifted_by_id, row.lift_reason = now, member.person_id, LiftReason.RESHAPED.value
        row.save(update_fields=["lifted_at", "lifted_by", "lift_reason"])
        audit.record(farm=farm, actor=member, verb="took down", subject=row, now=now, after={"because": "reshaped"})


def _takers(row: Closure, children: Sequence[Block]) -> Sequence[Block]:
    """The new blocks that hold ground of this closure; all of them if it cannot be told which."""
    if row.part is None:
        return children
    return [b for b in children if shares_ground(row.part, b.polygon)] or children


def _hang_again(row: Closure, child: Block, farm: Farm, member: Member, now: datetime) -> None:
    values = {name: getattr(row, name) for name in _COPIED}
    made = Closure.objects.add(farm=farm, block=child, hung_at=now, **values)
    after = {"kind": made.kind, "from": made.starts_at, "to": made.ends_at, "for": made.source, "as on": row.block_id}
    audit.record(farm=farm, actor=member, verb="hung", subject=made, now=now, after=after)


def on_heirs(farm: Farm, blocks: Mapping[int, Block], closures: Sequence[NewClosure]) -> list[NewClosure]:
    """The same closures for the blocks that became of those no longer in use; no query while all are in use."""
    gone = [row for row in blocks.values() if row.archived]
    if not gone:
        return []
    found = land.heirs(farm, gone)
    return [
        replace(closure, block_id=heir.pk)
        for closure in closures
        for heir in found.get(closure.block_id, ())
        if closure.part is None or shares_ground(closure.part, heir.polygon)
    ]


def with_heirs(farm: Farm, block_ids: Collection[int]) -> set[int]:
    """These blocks and what became of those no longer in use. At most three queries."""
    gone = list(Block.objects.for_farm(farm).filter(pk__in=block_ids, archived_at__isnull=False))
    heirs = land.heirs(farm, gone) if gone else {}
    return set(block_ids) | {heir.pk for found in heirs.values() for heir in found}
