"""May this crop be planted after all that was sprayed on the ground? The plant-back rule from the planting side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from apps.crops.queries import crops, planting_facts
from apps.crops.rules import NextCrop, Purpose
from apps.land.models import Block
from apps.people.models import Farm
from apps.safety.rules import Word
from apps.spraying.facts import settings_of
from apps.spraying.history import Labels, events_on
from apps.spraying.rules import may_plant
from apps.spraying.rules.ground import records_short, unread_before
from apps.spraying.rules.mix import Event
from farmops import clock
from farmops.errors import Finding, refusals

LOOK_AHEAD_DAYS = 1100
"""A first day further ahead than this is not looked for (project rule)."""


@dataclass(frozen=True, kw_only=True)
class PlantingAnswer:
    """One crop on one block on one day. ``opens_on`` is the first day that nothing on record refuses."""

    site_code: str
    planted_on: date
    harvested: bool
    findings: tuple[Finding, ...]
    opens_on: date | None
    planned: bool = False

    @property
    def answer(self) -> Word:
        """``unknown`` while the records of the ground do not reach back or cannot be read: that is never a yes."""
        if refusals(self.findings):
            return Word.NO
        return Word.UNKNOWN if any(f.code in UNKNOWN for f in self.findings) else Word.YES


UNKNOWN = frozenset({"history_unknown", "history_unread"})


def planting_answer(farm: Farm, block: Block, crop: NextCrop) -> PlantingAnswer:
    """May this crop be planted on the block that day? Label limits refuse; gaps in the records are unknown."""
    return _answer(farm, block, crop, _events(farm, block))


def planned_answers(farm: Farm, block: Block, now: datetime) -> list[PlantingAnswer]:
    """The same for every planting that is planned on the block from today on, the next first."""
    today = clock.to_local(now, farm.time_zone).date()
    ahead = sorted((p for p in planting_facts([block])[block.pk] if p.starts_on >= today), key=lambda p: p.starts_on)
    events = _events(farm, block)
    rows = [
        NextCrop(site_code=p.crop_code, planted_on=p.starts_on, harvested=p.purpose is Purpose.CASH)
        for p in ahead
        if p.sown_on is None
    ]
    return [_answer(farm, block, row, events, planned=True) for row in rows]


def crop_choices(farm: Farm) -> list[tuple[str, str]]:
    """(site code, name) of the farm's crops."""
    return [(row.code, row.name) for row in crops(farm)]


def _events(farm: Farm, block: Block) -> tuple[Event, ...]:
    return events_on(farm, [block.pk], labels=Labels()).get(block.pk, ())


def _answer(
    farm: Farm, block: Block, crop: NextCrop, events: Sequence[Event], *, planned: bool = False
) -> PlantingAnswer:
    found = may_plant(events, crop)
    before = [e for e in events if e.on_date <= crop.planted_on]
    gaps = [
        *records_short(settings_of(farm).history_known_from, crop, block_name=str(block)),
        *unread_before(before, crop, block_name=str(block)),
    ]
    return PlantingAnswer(
        site_code=crop.site_code,
        planted_on=crop.planted_on,
        harvested=crop.harvested,
        findings=(*found, *gaps),
        opens_on=_opens_on(events, crop),
        planned=planned,
    )


def _opens_on(events: Sequence[Event], crop: NextCrop) -> date | None:
    """The first day from the planned one on that nothing on record refuses; ``None`` if none is found."""
    day = crop.planted_on
    for _ in range(LOOK_AHEAD_DAYS):
        refused = refusals(
            may_plant(events, NextCrop(site_code=crop.site_code, planted_on=day, harvested=crop.harvested))
        )
        if not refused:
            return day
        opens = [f.numbers["opens"] for f in refused if "opens" in f.numbers]
        day = max([day + timedelta(days=1), *(date.fromisoformat(text) for text in opens)])
    return None
