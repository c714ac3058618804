"""Where a spray lay when a block's outline was moved afterwards: history follows the ground, not the number.

A spray keeps the outline its block had (``JobBlock.outline``) from the day the outline is moved; without one the
block still lies where it was sprayed. Ground that a block takes over brings along what was sprayed on it by others:
by a block that was moved off it, or by one that is out of use. An outline that shares nothing with where its block
lies now is a drawing put right: such a spray goes on counting on all of the block, and on the old ground as well.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from apps.audit import services as audit
from apps.land import queries as land
from apps.land.models import Block
from apps.land.rules import shares_ground
from apps.people.models import Farm
from apps.people.queries import Member
from apps.spraying.models import JobBlock
from apps.spraying.rules.states import JobState

Outline = Mapping[str, Any]


def keep_outline(*, member: Member, block: Block, outline: dict[str, Any], now: datetime) -> None:
    """Called while a block's outline is moved: every spray made on it so far keeps the outline it had."""
    rows = JobBlock.objects.for_farm(block.farm).filter(block=block, outline__isnull=True)
    kept = rows.exclude(job__state__in=[JobState.DRAFT, JobState.ASSIGNED]).update(outline=outline)
    if kept:
        after = {"sprays": kept, "outline": outline}
        audit.record(farm=block.farm, actor=member, verb="kept the old ground of", subject=block, now=now, after=after)


def buried(farm: Farm, blocks: Sequence[Block], known: Mapping[int, Iterable[int]]) -> dict[int, set[int]]:
    """block id -> blocks out of use whose ground it holds in part without coming from them; one query."""
    found: dict[int, set[int]] = {row.pk: set() for row in blocks}
    for old in land.archived_near(farm, [row.polygon for row in blocks]):
        for row in blocks:
            if old.pk != row.pk and old.pk not in known[row.pk] and shares_ground(row.polygon, old.polygon):
                found[row.pk].add(old.pk)
    return found


class Grounds:
    """Whose ground a spray covered, for rows that carry their block; each pair of outlines is compared once."""

    def __init__(self, lineage: Mapping[int, Iterable[int]]) -> None:
        self.lineage = {pk: set(found) for pk, found in lineage.items()}
        self._shared: dict[tuple[str, int], bool] = {}

    def reaches(self, row: JobBlock, block: Block) -> bool:
        """Whether a spray with an outline of its own lies on another block's ground."""
        return row.outline is not None and row.block_id != block.pk and self._share(row.outline, block)

    def shape(self, row: JobBlock, block: Block) -> tuple[str, str, Outline] | None:
        """(key, name, outline) of the ground a spray covered; ``None``: all of ``block``, or nobody knows which part.

        A signed part is the part that was sprayed.
        """
        mine = row.block_id in self.lineage[block.pk]
        redrawn = row.outline is not None and mine and not self._share(row.outline, row.block)
        part = None if redrawn else _part(row)
        if part:
            return (f"part {row.pk}", f"part sprayed in {row.job}", part)
        if row.outline is None or redrawn:
            if row.block_id == block.pk:
                return None
            return (f"block {row.block_id}", f"ground of {row.block}", row.block.polygon)
        return (f"outline {row.block_id} {_text(row.outline)}", f"earlier ground of {row.block}", row.outline)

    def _share(self, outline: Outline, block: Block) -> bool:
        key = (_text(outline), block.pk)
        if key not in self._shared:
            self._shared[key] = shares_ground(outline, block.polygon)
        return self._shared[key]


def _part(row: JobBlock) -> Outline | None:
    """The part somebody signed for."""
    part: Outline | None = row.part
    return part if part and row.job.state == JobState.SIGNED and row.job.signed_before is None else None


def _text(outline: Outline) -> str:
    return json.dumps(outline, sort_keys=True)
