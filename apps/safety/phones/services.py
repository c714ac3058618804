"""Writing the farm's numbers."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.people.services import save_changes
from apps.safety.phones import rules
from apps.safety.phones.models import PhoneNumber
from farmops.errors import BadInput, gettext_noop


def _check(values: Mapping[str, Any]) -> None:
    if "number" in values and not rules.could_be_called(values["number"]):
        raise BadInput({"number": gettext_noop("A number a phone can dial, such as 555-0100.")})


@transaction.atomic
def add_number(*, member: Member, values: Mapping[str, Any], now: datetime) -> PhoneNumber:
    """Put a number on the farm's list. ``BadInput`` when it cannot be dialled."""
    member.require(Can.EDIT_FARM)
    _check(values)
    row: PhoneNumber = PhoneNumber.objects.add(farm=member.farm, **values)
    audit.record(farm=member.farm, actor=member, verb="added", subject=row, now=now, after=values)
    return row


@transaction.atomic
def edit_number(
    *, member: Member, number_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> PhoneNumber:
    """Change a number. ``Stale`` when somebody was quicker."""
    member.require(Can.EDIT_FARM)
    _check(changes)
    row = one(PhoneNumber.objects.for_farm(member.farm).filter(pk=number_id).select_for_update())
    saved: PhoneNumber = save_changes(row, member=member, expected_version=expected_version, changes=changes, now=now)
    return saved


@transaction.atomic
def remove_number(*, member: Member, number_id: int, now: datetime) -> None:
    """Take a number off the list; the trail keeps what it was."""
    member.require(Can.EDIT_FARM)
    row = one(PhoneNumber.objects.for_farm(member.farm).filter(pk=number_id).select_for_update())
    was = {"purpose": row.purpose, "name": row.name, "number": row.number, "note": row.note}
    audit.record(farm=member.farm, actor=member, verb="removed", subject=row, now=now, before=was)
    row.delete()
