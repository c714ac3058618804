"""What is coming due in crops: a cover crop at the stage or day at which it is ended; a harvest that begins."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta

from apps.crops.queries import looks_at, planting_facts
from apps.crops.rules import EventKind, Look, PlantingFact, Purpose
from apps.land import queries as land
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import person_ids_with
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, register
from apps.reminders.rules.timing import next_midnight
from farmops import clock
from farmops.errors import gettext_noop

COVER_STAGE = register("cover_stage", Level.DO_TODAY)
HARVEST_BEGINS = register("harvest_begins", Level.INFORMATION)

FLOWERING = 61
"""Zadoks stage from which a rolled cereal cover stays down (from memory: flowering, 61 to 69, is the time to roll)."""

MARKS = (7, 0)
"""Days before a planned end at which it is told (project rule)."""

HARVEST_AHEAD = timedelta(days=3)
OVER_AFTER = timedelta(days=14)
"""What was due so long ago and was never recorded is no reminder any more."""


def next_due(farm: Farm, now: datetime) -> datetime:
    """When time alone may change ``due``: with the farm's date."""
    return next_midnight(now, farm.time_zone)


def due(farm: Farm, now: datetime) -> list[Due]:
    """For the managers; a constant number of queries."""
    today = clock.to_local(now, farm.time_zone).date()
    blocks = list(land.blocks(farm))
    plantings, looks = planting_facts(blocks), looks_at(blocks)
    managers = person_ids_with(farm, Role.MANAGER)
    told: dict[tuple[str, str, str, str], Due] = {}
    for block in blocks:
        for planting in plantings[block.pk]:
            for found in _about(block, planting, looks[block.pk], today, managers):
                told.setdefault(found.key, found)  # a planting may stand on several pieces of ground
    return list(told.values())


def _about(block: Block, p: PlantingFact, looks: Iterable[Look], today: date, to: Sequence[int]) -> Iterable[Due]:
    if p.sown_on is None or p.sown_on > today or p.ended_on is not None:
        return
    if p.purpose is Purpose.COVER:
        yield from _cover(block, p, looks, today, to)
        return
    begins = p.harvest_from
    if begins is None or p.happened(EventKind.HARVEST_START) is not None:
        return
    if begins - HARVEST_AHEAD <= today <= begins + OVER_AFTER:
        template = gettext_noop("{crop} on {block}: harvest is expected to begin {date}.")
        yield _due(block, p, HARVEST_BEGINS, f"harvest {begins}", template, begins, to)


def _cover(block: Block, p: PlantingFact, looks: Iterable[Look], today: date, to: Sequence[int]) -> Iterable[Due]:
    newest = max(
        (look for look in looks if look.stage is not None and look.is_about(p) and look.on <= today),
        key=lambda look: look.on,
        default=None,
    )
    if newest is not None and newest.stage is not None and newest.stage >= FLOWERING:
        template = gettext_noop(
            "{crop} on {block} was at stage {stage} (Zadoks) on {date}: it flowers. If it is to be rolled, now is the "
            "time."
        )
        yield _due(block, p, COVER_STAGE, "flowering", template, newest.on, to, stage=str(newest.stage))
    planned = p.terminate_planned_on
    if planned is None or planned + OVER_AFTER < today:
        return
    mark = min((m for m in MARKS if (planned - today).days <= m), default=None)
    if mark is not None:
        template = gettext_noop("{crop} on {block} is to be ended {date} by the plan. Nobody has recorded that it was.")
        yield _due(block, p, COVER_STAGE, f"{mark} days before {planned}", template, planned, to)


def _due(
    block: Block, p: PlantingFact, kind: str, occasion: str, template: str, on: date, to: Sequence[int], **more: str
) -> Due:
    return Due(
        kind=kind,
        subject_type="planting",
        subject_id=p.id,
        occasion=occasion,
        person_ids=to,
        template=template,
        numbers={"crop": p.crop_name, "block": str(block), "date": on, **more},
        path=f"/f/{block.farm.slug}/blocks/{block.pk}/",
        at=on,
    )
