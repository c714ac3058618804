"""A block and what hangs on it, read in one go: the reads that every answer of the board waits for."""

from __future__ import annotations

import logging
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter, itemgetter
from typing import Any

from django.db.models import FilteredRelation, Q, QuerySet

from apps.land.models import Block, called
from apps.people.models import Farm
from apps.safety import rules
from apps.safety.models import FACTS, Closure, facts_of
from apps.safety.rules import Kind, Reason
from farmops.errors import Unknown
from farmops.prepared import Prepared

log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True, slots=True)
class Ground:
    """What an answer needs to know of a block: its names, its farm, and whether it is still in use."""

    pk: int
    code: str
    name: str
    field: str
    archived: bool
    farm: Farm

    def __str__(self) -> str:
        return called(self.code, self.name)


Hung = list[rules.Closure]


def ground_of(row: Block) -> Ground:
    """The same from a whole row."""
    return Ground(
        pk=row.pk, code=row.code, name=row.name, field=row.field.name, archived=row.archived, farm=row.farm
    )  # fmt: skip


def ground_and_hung(farm: Farm, block_id: int, at: datetime) -> tuple[Ground, Hung]:
    """One block, also an archived one, and the closures that hang on it and may speak at ``at`` (which is now) or
    later; ``Unknown`` for another farm's block. One query."""
    found = _read(ONE.rows(farm=farm.pk, block=block_id, after=at - rules.MINUTE), farm, at)
    if not found:
        raise Unknown()
    return found[0]


def board_rows(farm: Farm, at: datetime) -> list[tuple[Ground, Hung]]:
    """The same for every block in use, by code. One query."""
    return _read(ALL.rows(farm=farm.pk, after=at - rules.MINUTE), farm, at)


def hanging(block_ids: Collection[int], at: datetime) -> QuerySet[Closure]:
    """Closures that hang on these blocks and may say something at ``at`` (which is now) or later.

    Intervals that ran out are left out by the index: the cost follows what hangs, not what was ever hung. They come in
    no order, for an order by number would tempt the planner to walk the whole history of the block.
    """
    return Closure.rows.filter(block_id__in=block_ids, lifted_at=None, speaks_until__gt=at - rules.MINUTE)


def closures_on(block_ids: Collection[int], at: datetime) -> dict[int, Hung]:
    """Facts of the closures hanging on each block at ``at`` (every block asked for has its entry). One query."""
    found: dict[int, Hung] = {block_id: [] for block_id in block_ids}
    for values in sorted(hanging(block_ids, at).values_list(*FACTS), key=itemgetter(0)):
        fact = _fact(values, at)
        found[fact.block_id].append(fact)
    return found


_GROUND = ["pk", "code", "name", "field__name", "archived_at"]


def _with_hung(after: datetime) -> QuerySet[Block]:
    speaking = Q(closures__lifted_at=None, closures__speaks_until__gt=after)
    rows = Block.rows.annotate(hung=FilteredRelation("closures", condition=speaking))
    return rows.values_list(*_GROUND, *(f"hung__{name}" for name in FACTS))


ONE = Prepared(
    lambda farm, block, after: _with_hung(after).filter(farm_id=farm, pk=block),
    farm=int, block=int, after=datetime,
)  # fmt: skip
ALL = Prepared(
    lambda farm, after: _with_hung(after).filter(farm_id=farm, archived_at=None).order_by("code", "pk"),
    farm=int, after=datetime,
)  # fmt: skip


def _read(rows: Iterable[Sequence[Any]], farm: Farm, at: datetime) -> list[tuple[Ground, Hung]]:
    """Rows of a block beside one closure each (or none), block by block, as blocks with all of theirs by number."""
    found: list[tuple[Ground, Hung]] = []
    for number, code, name, field, archived_at, *values in rows:
        if not found or found[-1][0].pk != number:
            ground = Ground(pk=number, code=code, name=name, field=field, archived=archived_at is not None, farm=farm)
            found.append((ground, []))
        if values[0] is not None:
            found[-1][1].append(_fact(values, at))
    for _, hung in found:
        hung.sort(key=attrgetter("id"))
    return found


def _fact(values: Sequence[Any], at: datetime) -> rules.Closure:
    """The row as the rules read it; one that cannot be read contradicts itself, so that its block is unknown."""
    try:
        return facts_of(values)
    except Exception:
        row = dict(zip(FACTS, values, strict=True))
        log.exception("closure %s cannot be read", row["id"])
        return rules.Closure(
            id=row["id"],
            block_id=row["block_id"],
            kind=Kind.ENTRY,
            reason_code=Reason.REI,
            starts_at=at,
            ends_at=at - rules.MINUTE,
            set_by=row["set_by_name"],
            contact=row["contact"],
        )
