"""How many sprays a season program plans on a block: what share rules of resistance advice are counted against."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import Count

from apps.people.models import Farm
from apps.spraying.models import ProgramBlock, ProgramPass


def program_sprays(farm: Farm, block_ids: Collection[int], targets: Collection[str]) -> dict[int, int]:
    """block id -> passes of the longest program against one of ``targets`` that is followed there; two queries.

    Blocks without one are left out. A program that begins again with its first mix counts its mixes once: the
    smaller number asks for more care.
    """
    rows = ProgramBlock.objects.for_farm(farm).filter(block_id__in=set(block_ids), program__put_away_at=None)
    following = [
        (row.block_id, row.program_id)
        for row in rows.select_related("program")
        if set(row.program.targets) & set(targets)
    ]
    counted = ProgramPass.objects.for_farm(farm).filter(program_id__in={program for _, program in following})
    lengths = dict(counted.values_list("program_id").annotate(passes=Count("pk")).order_by())
    found: dict[int, int] = {}
    for block_id, program_id in following:
        found[block_id] = max(found.get(block_id, 0), lengths.get(program_id, 0))
    return {block_id: passes for block_id, passes in found.items() if passes}
