"""Choosing and adding record rules, and explaining what was late or stays blank."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.spraying import queries as spraying
from apps.spraying.records.models import FarmRecordRule, RecordNote
from apps.spraying.records.queries import shipped
from apps.spraying.records.rules import DueBy, Element, RecordRule, Status, as_json, from_json
from apps.spraying.services.moves import needed_text
from farmops.errors import BadInput, Said, Stale, Unknown, gettext_noop
from farmops.faults import Faults

_CODE = re.compile(r"^[a-z][a-z0-9_]{1,39}$")
LIMITS = {DueBy.HOURS_AFTER_END: 24 * 366, DueBy.DAYS_AFTER: 366, DueBy.DAY_OF_NEXT_MONTH: 28}


@transaction.atomic
def use_rule(*, member: Member, code: str, in_use: bool, now: datetime) -> FarmRecordRule:
    """Go by a rule, or no longer. Nothing on record changes: a rule only says what is missing."""
    member.require(Can.EDIT_FARM)
    _lock(member.farm)
    row = FarmRecordRule.objects.for_farm(member.farm).filter(code=code).first()
    if row is None:
        if shipped(code) is None:
            raise Unknown(gettext_noop("No such record rule in this farm's book."))
        row = FarmRecordRule.objects.add(farm=member.farm, code=code, in_use=in_use)
    elif row.in_use != in_use:
        row.in_use, row.version = in_use, row.version + 1
        row.save(update_fields=["in_use", "version"])
    verb = "goes by" if in_use else "no longer goes by"
    audit.record(farm=member.farm, actor=member, verb=verb, subject=row, now=now, after={"in_use": in_use})
    return row


@transaction.atomic
def add_rule(*, member: Member, values: Mapping[str, Any], now: datetime) -> FarmRecordRule:
    """Add a rule of the farm's own. ``values`` as ``RecordRule``, without ``status``; ``BadInput`` names each field."""
    member.require(Can.EDIT_FARM)
    _lock(member.farm)
    rule = read_rule(values)
    if shipped(rule.code) or FarmRecordRule.objects.for_farm(member.farm).filter(code=rule.code).exists():
        raise BadInput({"code": gettext_noop("This code is taken; choose another.")})
    row: FarmRecordRule = FarmRecordRule.objects.add(farm=member.farm, code=rule.code, body=as_json(rule))
    audit.record(farm=member.farm, actor=member, verb="added", subject=row, now=now, after=row.body)
    return row


@transaction.atomic
def edit_rule(
    *, member: Member, code: str, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> FarmRecordRule:
    """Change a rule of the farm's own, for instance the day it ends. A shipped one cannot be changed: add your own."""
    member.require(Can.EDIT_FARM)
    _lock(member.farm)
    row = FarmRecordRule.objects.for_farm(member.farm).filter(code=code).exclude(body=None).first()
    if row is None:
        raise Unknown(gettext_noop("No such rule of this farm's own."))
    if row.version != expected_version:
        raise Stale()
    before = dict(row.body)
    row.body = as_json(read_rule({**before, **{k: v for k, v in changes.items() if k != "code"}}))
    row.version += 1
    row.save(update_fields=["body", "version"])
    audit.record(farm=member.farm, actor=member, verb="changed", subject=row, now=now, before=before, after=row.body)
    return row


def _lock(farm: Farm) -> None:
    """Two managers choose one after the other."""
    Farm.objects.select_for_update(no_key=True).get(pk=farm.pk)


def read_rule(values: Mapping[str, Any]) -> RecordRule:
    """A typed rule, checked; ``BadInput`` names each field."""
    faults = Faults()
    if not _CODE.fullmatch(str(values.get("code", ""))):
        faults.add("code", gettext_noop("Use lower-case letters, digits and _, 2 to 40 of them."))
    for name in ("name", "jurisdiction", "source"):
        if not 2 <= len(str(values.get(name) or "").strip()) <= 200:
            faults.add(name, gettext_noop("Fill this in, 200 characters at most."))
    known = set(Element)
    if not values.get("elements") or not set(values["elements"]) <= known:
        faults.add("elements", gettext_noop("Choose what the record must hold."))
    _due(values, faults)
    years = values.get("keep_years")
    if years is not None and not 0 < years <= 100:
        faults.add("keep_years", gettext_noop("Between 1 and 100 years."))
    days = {name: _text(values.get(name)) for name in ("valid_from", "valid_to")}
    if days["valid_from"] and days["valid_to"] and days["valid_to"] <= days["valid_from"]:
        faults.add("valid_to", gettext_noop("The rule must end after it begins."))
    faults.raise_any()
    return from_json({**values, **days, "status": Status.OWN})


def _due(values: Mapping[str, Any], faults: Faults) -> None:
    by, due = DueBy(values.get("due_by") or DueBy.NONE), values.get("due")
    if by is DueBy.NONE and due is not None:
        faults.add("due_by", gettext_noop("Say how the time is counted."))
    if by is not DueBy.NONE and (due is None or not 0 < due <= LIMITS[by]):
        faults.add("due", Said(gettext_noop("Between 1 and {most}."), most=LIMITS[by]))


def _text(day: Any) -> str | None:
    return day.isoformat() if isinstance(day, date) else day or None


@transaction.atomic
def explain_record(*, member: Member, seq: int, words: str, now: datetime) -> RecordNote:
    """Write why a record was late or stays blank. The record stays as it was signed; the list is one shorter."""
    member.require(Can.READ_RECORDS)
    record = spraying.record(member.farm, seq)
    said = needed_text(words, "words", gettext_noop("Say why."))
    row: RecordNote = RecordNote.objects.add(
        farm=member.farm, record=record, words=said, by_id=member.person_id, at=now
    )
    audit.record(farm=member.farm, actor=member, verb="explained", subject=record, now=now, after={"words": said})
    return row
