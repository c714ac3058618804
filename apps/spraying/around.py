"""Who has to keep away while a job is sprayed: the exclusion zone and the other blocks that lie in it."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from apps.equipment.queries import sprayer_facts
from apps.equipment.rules import ExclusionZone, exclusion_zone
from apps.land import queries as land
from apps.land.models import Block, SensitivePlace
from apps.land.rules import SensitiveKind, distance_ft
from apps.spraying.facts import within
from apps.spraying.models import Job
from farmops import clock

log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True)
class Around:
    """The application exclusion zone of a job's sprayer (40 CFR 170.405(a)) and the blocks of the farm in it."""

    zone: ExclusionZone
    blocks: tuple[Block, ...]


def zone_of(job: Job) -> ExclusionZone:
    """The zone of a job's sprayer as it is set up on the day; one query."""
    facts = sprayer_facts(job.sprayer, clock.to_local(job.window_starts_at, job.farm.time_zone).date())
    return exclusion_zone(
        method=facts.method, droplet_class=facts.droplet_class, release_height_in=facts.release_height_in
    )


def around(job: Job) -> Around:
    """The zone, and every other block in use that comes within it of a block of the job; two queries.

    A block whose outline cannot be measured counts as in the zone.
    """
    zone = zone_of(job)
    rows = list(job.job_blocks.all())
    mine = {row.block_id for row in rows}
    others = [b for b in land.blocks(job.farm) if b.pk not in mine] if zone.distance_ft > 0 else []
    near = [b for b in others if any(_reaches(row.block, b, zone.distance_ft) for row in rows)]
    return Around(zone=zone, blocks=tuple(near))


BUILDINGS = [SensitiveKind.HOUSE.value, SensitiveKind.SCHOOL.value]


def buildings_in(job: Job, zone: ExclusionZone) -> list[str]:
    """The houses and schools on the map that lie in the zone or in a block of the job, by name; one query.

    One whose place cannot be measured counts as in the zone.
    """
    if zone.distance_ft <= 0:
        return []
    places = land.sensitive_places(job.farm).filter(kind__in=BUILDINGS)
    grounds = [row.block.polygon for row in job.job_blocks.all()]
    return [place.name for place in places if any(_near(ground, place, zone) for ground in grounds)]


def _near(polygon: dict[str, Any], place: SensitivePlace, zone: ExclusionZone) -> bool:
    try:
        return zone.holds(distance_ft(polygon, place.geometry))
    except Exception:
        log.exception("place %s cannot be measured", place.pk)
        return True


def _reaches(sprayed: Block, other: Block, feet: Decimal) -> bool:
    try:
        return bool(within(sprayed, [other], feet))
    except Exception:
        log.exception("blocks %s and %s cannot be measured", sprayed.pk, other.pk)
        return True
