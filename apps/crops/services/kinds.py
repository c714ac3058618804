"""Crops and varieties."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.crops import rules
from apps.crops.models import NAME_LENGTH, Crop, Variety
from apps.people.models import Farm
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.people.services import save_changes
from farmops.errors import BadInput, gettext_noop
from farmops.faults import Faults
from farmops.units import number

ENTER_CROP_NAME = gettext_noop("Enter the name of the crop.")
ENTER_VARIETY = gettext_noop("Enter the name of the variety.")
CROP_TAKEN = gettext_noop("The farm already has a crop with this code.")
VARIETY_TAKEN = gettext_noop("This crop already has a variety of that name.")


def _days(value: object) -> int | None:
    if value is None or str(value).strip() == "":
        return None
    days = number(value, field="days_to_first_flower", minimum=1, maximum=400)
    if days != int(days):
        raise BadInput({"days_to_first_flower": gettext_noop("Must be whole days.")})
    return int(days)


@transaction.atomic
def add_crop(
    *, member: Member, code: str, name: str, family: str, days_to_first_flower: object = None, now: datetime
) -> Crop:
    """A crop of this farm. ``code`` is the site word labels use; a known code has a known family.

    ``days_to_first_flower`` are the earliest days from sowing seed to an open flower; without them a
    planting counts as perhaps in bloom from its first day.
    """
    member.require(Can.EDIT_CROPS)
    farm = Farm.objects.select_for_update().get(pk=member.farm.pk)
    faults = Faults()
    values: dict[str, Any] = {
        "code": faults.take(lambda: rules.read_code(code), ""),
        "name": faults.text({"name": name}, "name", "", NAME_LENGTH, ENTER_CROP_NAME),
        "family": faults.take(lambda: rules.read_family(family), rules.Family.OTHER).value,
        "days_to_first_flower": faults.take(lambda: _days(days_to_first_flower), None),
    }
    faults.raise_any()
    rules.family_fits(values["code"], rules.Family(values["family"]))
    if Crop.objects.for_farm(farm).filter(code=values["code"]).exists():
        raise BadInput({"code": CROP_TAKEN})
    row = Crop.objects.add(farm=farm, **values)
    audit.record(farm=farm, actor=member, verb="added", subject=row, now=now, after=values)
    return row


@transaction.atomic
def edit_crop(
    *, member: Member, crop_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> Crop:
    """Change a crop's ``name`` or ``days_to_first_flower``; code and family stay, records rest on them."""
    member.require(Can.EDIT_CROPS)
    row = one(Crop.objects.for_farm(member.farm).select_for_update().filter(pk=crop_id))
    faults = Faults()
    values: dict[str, Any] = {}
    if "name" in changes:
        values["name"] = faults.text(changes, "name", "", NAME_LENGTH, ENTER_CROP_NAME)
    if "days_to_first_flower" in changes:
        values["days_to_first_flower"] = faults.take(lambda: _days(changes["days_to_first_flower"]), None)
    faults.raise_any()
    saved: Crop = save_changes(row, member=member, expected_version=expected_version, changes=values, now=now)
    return saved


@transaction.atomic
def add_variety(*, member: Member, crop_id: int, name: str, now: datetime) -> Variety:
    """A variety of a crop; ``BadInput`` on ``name`` when the crop already has it."""
    member.require(Can.EDIT_CROPS)
    crop = one(Crop.objects.for_farm(member.farm).select_for_update().filter(pk=crop_id))
    faults = Faults()
    text = faults.text({"name": name}, "name", "", NAME_LENGTH, ENTER_VARIETY)
    faults.raise_any()
    if Variety.objects.for_farm(member.farm).filter(crop=crop, name__iexact=text).exists():
        raise BadInput({"name": VARIETY_TAKEN})
    row = Variety.objects.add(farm=member.farm, crop=crop, name=text)
    audit.record(
        farm=member.farm, actor=member, verb="added", subject=row, now=now, after={"crop": crop.code, "name": text}
    )
    return row
