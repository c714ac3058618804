"""Scouting: what somebody saw on a block."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from apps.audit import services as audit
from apps.crops import queries, rules
from apps.crops.models import NOTE_LENGTH, ScoutingNote
from apps.crops.rules import Seen
from apps.crops.services.typed import choice, reason_for_taking_back
from apps.land import queries as land
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import Member, one
from apps.people.rules import Can
from farmops.errors import BadInput, NotYourRole, gettext_noop
from farmops.faults import Faults


@transaction.atomic
def record_scouting(
    *,
    member: Member,
    block_id: int,
    looked_on: date,
    crop_in_bloom: str = Seen.NOT_LOOKED.value,
    weeds_in_bloom: str = Seen.NOT_LOOKED.value,
    stage: object = None,
    stage_code: object = "",
    height_in: object = None,
    all_mature: str = Seen.NOT_LOOKED.value,
    text: str = "",
    planting_id: int | None = None,
    now: datetime,
) -> ScoutingNote:
    """Write down a look at a block on a farm-local day, today or earlier; anybody on the farm may.

    Bloom answers rest on these notes, so "not looked" is the default, never "no". ``stage`` is Zadoks,
    ``stage_code`` a stage by name or BBCH number, ``all_mature`` whether all fruit is ripe.
    """
    member.require(Can.SCOUT)
    farm = member.farm
    block = land.block(farm, block_id)
    faults = Faults()
    values = {
        "looked_on": faults.take(lambda: day_of_look(farm, looked_on, now), looked_on),
        "crop_in_bloom": faults.take(lambda: choice(Seen, crop_in_bloom, "crop_in_bloom"), Seen.NOT_LOOKED).value,
        "weeds_in_bloom": faults.take(lambda: choice(Seen, weeds_in_bloom, "weeds_in_bloom"), Seen.NOT_LOOKED).value,
        "stage": faults.take(lambda: rules.read_stage(stage), None),
        "stage_code": faults.take(lambda: rules.read_stage_code(stage_code), ""),
        "height_in": faults.take(lambda: rules.read_height(height_in), None),
        "all_mature": faults.take(lambda: choice(Seen, all_mature, "all_mature"), Seen.NOT_LOOKED).value,
        "text": faults.text({"text": text}, "text", "", NOTE_LENGTH, ""),
        "planting_id": faults.take(lambda: planting_on(block, planting_id), None),
    }
    faults.raise_any()
    seen = {values["crop_in_bloom"], values["weeds_in_bloom"], values["all_mature"]} - {Seen.NOT_LOOKED.value}
    read = [values["stage"], values["height_in"]] != [None, None] or values["stage_code"]
    if not seen and not read and not values["text"]:
        raise BadInput({"text": gettext_noop("Enter at least one thing you saw.")})
    row = ScoutingNote.objects.add(farm=farm, block=block, recorded_at=now, recorded_by_id=member.person_id, **values)
    audit.record(farm=farm, actor=member, verb="recorded", subject=row, now=now, after=values)
    return row


def day_of_look(farm: Farm, day: date, now: datetime) -> date:
    """A farm-local day on which somebody can have looked; ``BadInput`` on ``looked_on`` otherwise."""
    if day > queries.today(farm, now):
        raise BadInput({"looked_on": gettext_noop("The day must be today or earlier.")})
    if day < rules.EARLIEST:
        raise BadInput({"looked_on": gettext_noop("Date must be between 1990 and 2099.")})
    return day


def planting_on(block: Block, planting_id: int | None) -> int | None:
    """The id of a planting of this block, or none; ``BadInput`` on ``planting_id`` for another block's."""
    if planting_id is None:
        return None
    if not queries.plantings(block.farm).filter(pk=planting_id, block=block).exists():
        raise BadInput({"planting_id": gettext_noop("That planting is not on this block.")})
    return planting_id


@transaction.atomic
def withdraw_scouting(*, member: Member, note_id: int, reason: str, now: datetime) -> ScoutingNote:
    """Take back a wrong note, with the reason; one's own, or any by a manager. The row stays."""
    member.require(Can.SCOUT)
    row = one(ScoutingNote.objects.for_farm(member.farm).select_for_update().filter(pk=note_id, withdrawn_at=None))
    if row.recorded_by_id != member.person_id and not member.can(Can.EDIT_CROPS):
        raise NotYourRole(gettext_noop("Only who wrote this note or a manager may withdraw it."))
    said = reason_for_taking_back(reason)
    row.withdrawn_at = now
    row.save(update_fields=["withdrawn_at"])
    audit.record(farm=member.farm, actor=member, verb="withdrew", subject=row, now=now, after={"reason": said})
    return row
