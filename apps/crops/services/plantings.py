"""Plantings: planned, changed, and what happened to them."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from datetime import date, datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.crops import queries, rules
from apps.crops.models import NOTE_LENGTH, Crop, Planting, PlantingEvent, Variety
from apps.crops.rules import EventKind, PlantingFact, Purpose, StartedAs
from apps.crops.services.typed import choice, reason_for_taking_back
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.people.services import save_changes
from farmops.errors import BadInput, Finding, Refused, Said, gettext_noop, refusals, refuse
from farmops.faults import Faults

# What a scout may see and write down; the rest decides what a block is, and is the manager's.
SCOUT_MAY = frozenset({EventKind.EMERGED, EventKind.BLOOM_START})


def _lock_block(farm: Farm, block_id: int) -> Block:
    """The block's row, locked; everything planned on it waits its turn."""
    row: Block = one(Block.objects.for_farm(farm).select_for_update().filter(pk=block_id))
    return row


DATES = ("planned_on", "first_flower_on", "terminate_planned_on", "harvest_from", "harvest_to")


def _planting_values(farm: Farm, changes: Mapping[str, Any], crop: Crop | None) -> dict[str, Any]:
    """Checked columns of a planting; ``crop`` is the one it has so far."""
    faults = Faults()
    values: dict[str, Any] = {name: changes[name] for name in DATES if name in changes}
    if "crop_id" in changes:
        crop = queries.crop(farm, changes["crop_id"])
        values["crop"] = crop
    if "variety_id" in changes:
        values["variety"] = faults.take(lambda: _variety(farm, changes["variety_id"], crop), None)
    if "purpose" in changes:
        values["purpose"] = faults.take(lambda: choice(Purpose, changes["purpose"], "purpose"), Purpose.CASH).value
    if "started_as" in changes:
        start = faults.take(lambda: choice(StartedAs, changes["started_as"], "started_as"), StartedAs.SEED)
        values["started_as"] = start.value
    if "note" in changes:
        values["note"] = faults.text(changes, "note", "", NOTE_LENGTH, "")
    faults.raise_any()
    return values


def _variety(farm: Farm, variety_id: int | None, crop: Crop | None) -> Variety | None:
    if variety_id is None:
        return None
    row = queries.variety(farm, variety_id)
    if crop is not None and row.crop_id != crop.pk:
        said = gettext_noop("{variety} is a variety of {other}, not of {crop}.")
        raise BadInput({"variety_id": Said(said, variety=row.name, other=row.crop.name, crop=crop.name)})
    return row


def _others(block: Block, but: int) -> list[PlantingFact]:
    return [fact for fact in queries.planting_facts([block])[block.pk] if fact.id != but]


def _refuse_any(findings: list[Finding]) -> None:
    if refusals(findings):
        raise Refused(findings)


@transaction.atomic
def plan_planting(
    *,
    member: Member,
    block_id: int,
    crop_id: int,
    purpose: str,
    planned_on: date,
    variety_id: int | None = None,
    started_as: str = StartedAs.SEED.value,
    first_flower_on: date | None = None,
    terminate_planned_on: date | None = None,
    harvest_from: date | None = None,
    harvest_to: date | None = None,
    note: str = "",
    now: datetime,
) -> Planting:
    """Put a crop on a block's calendar, also after the fact. Dates are farm-local.

    ``BadInput`` names dates that do not fit together; ``Refused`` when another cash crop has the
    block in the same days, or the block is archived.
    """
    member.require(Can.EDIT_CROPS)
    farm = member.farm
    block = _lock_block(farm, block_id)
    if block.archived:
        raise refuse("block_archived", gettext_noop("This block is archived. Take it back into use first."))
    asked = {
        "crop_id": crop_id,
        "variety_id": variety_id,
        "purpose": purpose,
        "started_as": started_as,
        "planned_on": planned_on,
        "first_flower_on": first_flower_on,
        "terminate_planned_on": terminate_planned_on,
        "harvest_from": harvest_from,
        "harvest_to": harvest_to,
        "note": note,
    }
    values = _planting_values(farm, asked, None)
    row = Planting(farm=farm, block=block, **values)
    _check_plan(row, block)
    row = Planting.objects.add(farm=farm, block=block, **values)
    audit.record(farm=farm, actor=member, verb="planned", subject=row, now=now, after=values)
    return row


def _check_plan(row: Planting, block: Block, events: tuple[rules.Event, ...] = ()) -> None:
    """The dates fit together and the block is free, for a row as it would be."""
    fact = queries.as_fact(row, events)
    rules.check_plan(fact)
    _refuse_any(rules.block_taken(fact, _others(block, fact.id)))


@transaction.atomic
def edit_planting(
    *, member: Member, planting_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> Planting:
    """Change what was planned: crop, variety, purpose, start, dates, note; never the block."""
    member.require(Can.EDIT_CROPS)
    farm = member.farm
    row = queries.planting(farm, planting_id)
    block = _lock_block(farm, row.block_id)
    row = queries.planting(farm, planting_id)
    values = _planting_values(farm, changes, row.crop)
    if "crop" in values and "variety" not in values and row.variety and row.variety.crop_id != values["crop"].pk:
        values["variety"] = None
    events = queries.as_fact(row).events
    wished = copy(row)
    for name, value in values.items():
        setattr(wished, name, value)
    if wished.purpose == Purpose.COVER and any(e.kind in rules.HARVESTS for e in events):
        raise refuse(
            "cover_not_harvested", gettext_noop("A harvest is recorded, so it is a cash crop."), field="purpose"
        )
    _check_plan(wished, block, events)
    saved: Planting = save_changes(row, member=member, expected_version=expected_version, changes=values, now=now)
    return saved


@transaction.atomic
def call_off_planting(*, member: Member, planting_id: int, now: datetime) -> Planting:
    """Take a planting off the calendar; only while nothing has been recorded for it."""
    member.require(Can.EDIT_CROPS)
    row = queries.planting(member.farm, planting_id)
    _lock_block(member.farm, row.block_id)
    row = queries.planting(member.farm, planting_id)
    if row.events.all():
        raise refuse(
            "planting_recorded", gettext_noop("Something is recorded for this planting. Record its end instead.")
        )
    saved: Planting = save_changes(
        row, member=member, expected_version=row.version, changes={"called_off_at": now}, now=now
    )
    return saved


@transaction.atomic
def record_planting_event(
    *, member: Member, planting_id: int, kind: str, on: date, note: str = "", now: datetime
) -> PlantingEvent:
    """Write down what happened to a planting on a farm-local day, today or earlier.

    ``kind``: sown, emerged, bloom_start, bloom_end, terminated, harvest_start, harvest_end. Scouts may
    record emergence and bloom start; the rest is the manager's. ``Refused`` lists every contradiction.
    """
    member.require(Can.SCOUT)
    farm = member.farm
    what: EventKind = choice(EventKind, kind, "kind")
    if what not in SCOUT_MAY:
        member.require(Can.EDIT_CROPS)
    row = queries.planting(farm, planting_id)
    block = _lock_block(farm, row.block_id)
    row = queries.planting(farm, planting_id)
    fact = queries.as_fact(row)
    _refuse_any(rules.check_event(fact, what, on, today=queries.today(farm, now)))
    if what is EventKind.SOWN:
        sown = queries.as_fact(row, (*fact.events, rules.Event(kind=what, on=on)))
        _refuse_any(rules.block_taken(sown, _others(block, row.pk)))
    faults = Faults()
    values = {"kind": what.value, "on": on, "note": faults.text({"note": note}, "note", "", NOTE_LENGTH, "")}
    faults.raise_any()
    event = PlantingEvent.objects.add(
        farm=farm, planting=row, recorded_at=now, recorded_by_id=member.person_id, **values
    )
    _settle(farm, row.pk)
    audit.record(farm=farm, actor=member, verb="recorded", subject=event, now=now, after=values)
    return event


def _settle(farm: Farm, planting_id: int) -> None:
    """Make the planting's own columns say what its standing events say."""
    row = queries.planting(farm, planting_id)
    fact = queries.as_fact(row)
    row.sown_on, row.terminated_on = fact.sown_on, fact.happened(EventKind.TERMINATED)
    row.version += 1
    row.save(update_fields=["sown_on", "terminated_on", "version"])


@transaction.atomic
def withdraw_planting_event(*, member: Member, event_id: int, reason: str, now: datetime) -> PlantingEvent:
    """Take back a wrong entry, with the reason; the row stays. The sowing goes last."""
    member.require(Can.EDIT_CROPS)
    farm = member.farm
    event = one(queries.standing_events(farm).filter(pk=event_id))
    said = reason_for_taking_back(reason)
    _lock_block(farm, event.planting.block_id)
    event = one(queries.standing_events(farm).filter(pk=event_id))
    others = queries.standing_events(farm).filter(planting_id=event.planting_id).exclude(pk=event.pk)
    if event.kind == EventKind.SOWN and others.exists():
        raise refuse("sowing_goes_last", gettext_noop("Withdraw what was recorded after the sowing first."))
    event.withdrawn_at = now
    event.save(update_fields=["withdrawn_at"])
    _settle(farm, event.planting_id)
    audit.record(farm=farm, actor=member, verb="withdrew", subject=event, now=now, after={"reason": said})
    return event
