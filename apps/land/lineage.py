"""Which blocks lie on which ground, now and before: read from the lineage of split and merged blocks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from apps.land import rules
from apps.land.models import Block, Lineage
from apps.people.models import Farm

Line = Mapping[int, frozenset[int]]


def _reach(start: int, line: Mapping[int, set[int]]) -> set[int]:
    """Everything that can be reached from one block, itself left out."""
    found: set[int] = set()
    ahead = [start]
    while ahead:
        for other in line.get(ahead.pop(), set()) - found:
            found.add(other)
            ahead.append(other)
    return found - {start}


def _lines(farm: Farm) -> tuple[dict[int, set[int]], dict[int, set[int]]]:
    """(parent -> children, child -> parents): one query."""
    down: dict[int, set[int]] = defaultdict(set)
    up: dict[int, set[int]] = defaultdict(set)
    for parent, child in Lineage.objects.for_farm(farm).values_list("parent_id", "child_id"):
        down[parent].add(child)
        up[child].add(parent)
    return down, up


def heirs(farm: Farm, parents: Iterable[Block]) -> dict[int, list[Block]]:
    """block id -> the blocks in use that hold some of its ground since it was split or merged.

    Every parent asked for has its entry, empty where nothing became of it. Two queries.
    """
    wanted = list(parents)
    down, _ = _lines(farm)
    reach = {row.pk: _reach(row.pk, down) for row in wanted}
    ids = {pk for found in reach.values() for pk in found}
    if not ids:
        return {row.pk: [] for row in wanted}
    living = Block.objects.for_farm(farm).filter(pk__in=ids, archived_at=None).order_by("pk")
    rows = list(living)
    return {
        parent.pk: [b for b in rows if b.pk in reach[parent.pk] and rules.shares_ground(parent.polygon, b.polygon)]
        for parent in wanted
    }


def shared_history(farm: Farm, blocks: Sequence[Block]) -> dict[int, dict[int, Decimal]]:
    """block id -> {block id: share of the asked block's ground, 0 to 1} of itself and all it came from.

    Records stay on the block they were made on, also when it is archived: the history of a block is that of every
    block named here. An ancestor whose outline cannot be compared counts as all of it. Two queries, none where
    no block was made by splitting or merging.
    """
    if not any(row.reshaped for row in blocks):
        return {row.pk: {row.pk: Decimal(1)} for row in blocks}
    _, up = _lines(farm)
    reach = {row.pk: _reach(row.pk, up) for row in blocks}
    ids = {pk for found in reach.values() for pk in found}
    found = Block.objects.for_farm(farm).filter(pk__in=ids) if ids else ()
    outlines = {row.pk: row.polygon for row in found}
    return {row.pk: {row.pk: Decimal(1), **_shares(row, reach[row.pk], outlines)} for row in blocks}


def _shares(row: Block, ancestors: set[int], outlines: Mapping[int, dict]) -> dict[int, Decimal]:
    return {
        pk: rules.share_of(row.polygon, outlines[pk])
        for pk in sorted(ancestors)
        if rules.shares_ground(row.polygon, outlines[pk])
    }
