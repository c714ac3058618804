"""Reading the ground: fields, blocks, places, and what lies near what."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple

from django.conf import settings
from django.db.models import Prefetch, QuerySet
from django.utils.module_loading import import_string

from apps.land import rules
from apps.land.lineage import heirs, shared_history
from apps.land.models import Block, Field, SensitivePlace
from apps.land.rules import BlockFact, PlaceFact, SensitiveKind
from apps.people.models import Farm
from apps.people.queries import one
from farmops.errors import Finding, Unknown, gettext_noop

__all__ = ["heirs", "shared_history"]  # beside everything below: the ground of split and merged blocks


class Nearby(NamedTuple):
    """A sensitive place and its shortest distance from a block (0 inside it)."""

    kind: SensitiveKind
    name: str
    distance_ft: Decimal


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What must be known to judge an outline against its neighbours."""

    code: str
    polygon: dict[str, Any]
    acres: Decimal


def place_of(farm: Farm) -> tuple[float, float]:
    """The farm as (longitude, latitude)."""
    return (float(farm.longitude), float(farm.latitude))


def fields(farm: Farm) -> QuerySet[Field]:
    """All fields by name, each with its blocks in use (``field.blocks.all()``): two queries."""
    return Field.objects.for_farm(farm).order_by("name").prefetch_related(Prefetch("blocks", queryset=blocks(farm)))


def field(farm: Farm, field_id: int) -> Field:
    """One field, or ``Unknown``."""
    return one(Field.objects.for_farm(farm).filter(pk=field_id))


def all_blocks(farm: Farm) -> QuerySet[Block]:
    """Every block, archived ones too, by code."""
    return Block.objects.for_farm(farm).select_related("farm", "field").order_by("code", "pk")


def blocks(farm: Farm) -> QuerySet[Block]:
    """The blocks in use, by code."""
    return all_blocks(farm).filter(archived_at=None)


def block(farm: Farm, block_id: int) -> Block:
    """One block, also an archived one (its records and closures stay), or ``Unknown``."""
    return one(all_blocks(farm).filter(pk=block_id))


def blocks_by_id(farm: Farm, block_ids: Iterable[int]) -> dict[int, Block]:
    """Exactly the blocks asked for, in one query; ``Unknown`` if one is not this farm's."""
    wanted = set(block_ids)
    found = {row.pk: row for row in all_blocks(farm).filter(pk__in=wanted)}
    if len(found) != len(wanted):
        raise Unknown(gettext_noop("No such block in this farm's book."))
    return found


def sensitive_places(farm: Farm) -> QuerySet[SensitivePlace]:
    """The places that still count, by kind and name."""
    return SensitivePlace.objects.for_farm(farm).filter(removed_at=None).order_by("kind", "name", "pk")


def sensitive_place(farm: Farm, place_id: int) -> SensitivePlace:
    """One place that still counts, or ``Unknown``."""
    return one(sensitive_places(farm).filter(pk=place_id))


def nearest_sensitive(block: Block) -> list[Nearby]:
    """Every sensitive place of the farm with its feet from the block, nearest first: one query.

    An empty list means that nobody has entered a place, not that there is none.
    """
    return nearest_among(block, sensitive_places(block.farm))


def nearest_among(block: Block, places: Iterable[SensitivePlace]) -> list[Nearby]:
    """``nearest_sensitive`` for places already read, for many blocks in one query."""
    found = [
        Nearby(SensitiveKind(place.kind), place.name, rules.distance_ft(block.polygon, place.geometry))
        for place in places
    ]
    return sorted(found, key=lambda near: (near.distance_ft, near.name))


def neighbours_within(block: Block, feet: Decimal | int) -> list[Block]:
    """The other blocks in use whose ground comes within ``feet`` of this one, by code: one query."""
    near = rules.box_around(rules.box_of(block.polygon), feet)
    found = _in_box(blocks(block.farm), near).exclude(pk=block.pk)
    return [other for other in found if rules.distance_ft(block.polygon, other.polygon) <= feet]


def _in_box(found: QuerySet[Block], box: rules.Box) -> QuerySet[Block]:
    return found.filter(
        min_lon__lte=box.max_lon, max_lon__gte=box.min_lon, min_lat__lte=box.max_lat, max_lat__gte=box.min_lat
    )


def ground_near(farm: Farm, polygon: dict[str, Any], *, but: int | None = None) -> list[Ground]:
    """The blocks in use that might share ground with ``polygon``; ``but`` leaves one out."""
    found = _in_box(blocks(farm), rules.box_of(polygon)).exclude(pk=but)
    return [Ground(code=b.code, polygon=b.polygon, acres=b.mapped_acres) for b in found]


def archived_near(farm: Farm, polygons: Sequence[dict[str, Any]]) -> list[Block]:
    """The blocks out of use that might share ground with any of ``polygons``: one query, none without polygons."""
    if not polygons:
        return []
    boxes = [rules.box_of(polygon) for polygon in polygons]
    around = rules.Box(
        min_lon=min(b.min_lon for b in boxes),
        min_lat=min(b.min_lat for b in boxes),
        max_lon=max(b.max_lon for b in boxes),
        max_lat=max(b.max_lat for b in boxes),
    )
    return list(_in_box(all_blocks(farm).exclude(archived_at=None), around))


def code_taken(farm: Farm, code: str, *, but: int | None = None) -> bool:
    """Whether another block in use answers to this code, in any case."""
    return blocks(farm).filter(code__iexact=code).exclude(pk=but).exists()


def against_leaving(block: Block, now: datetime) -> list[Finding]:
    """What other subjects have against archiving this block or moving its outline.

    Land stands below them and cannot ask by name: ``settings.BLOCK_GUARDS`` lists
    ``guard(block, now) -> list[Finding]`` by dotted path.
    """
    return [finding for path in settings.BLOCK_GUARDS for finding in import_string(path)(block, now)]


def farm_file(farm: Farm) -> dict[str, Any]:
    """The whole map in use as a GeoJSON FeatureCollection: two queries."""
    return rules.write_farm_file(
        [
            BlockFact(
                field_name=b.field.name,
                name=b.name,
                code=b.code,
                polygon=b.polygon,
                planted_acres=b.planted_acres if b.planted_stated else None,
                mapped_acres=b.mapped_acres,
            )
            for b in blocks(farm)
        ],
        [
            PlaceFact(kind=SensitiveKind(p.kind), name=p.name, note=p.note, geometry=p.geometry)
            for p in sensitive_places(farm)
        ],
    )
