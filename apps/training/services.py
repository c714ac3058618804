"""What is done to certificates and trainings: recorded, put right, suspended, lifted, struck."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people import queries as people
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.people.services import save_changes
from apps.training import queries
from apps.training.models import Certificate, Suspension, TrainingRecord
from apps.training.rules import TrainingKind
from farmops.errors import BadInput, Unknown, gettext_noop, refuse

MAX_YEARS = 10  # longer than any certificate runs: a mistyped year (project rule)
CATEGORY = re.compile(r"[a-z0-9][a-z0-9_]{0,39}")
NOBODY = gettext_noop("Nobody with that number works on this farm.")
NOT_YET = gettext_noop("Must be today or earlier.")
END_FIRST = gettext_noop("The last day must be on or after the first day.")
TOO_LONG = gettext_noop("No certificate runs longer than 10 years. Check the years.")
TWICE = gettext_noop("This certificate is in the book already.")
ENTER_TOPIC = gettext_noop("Enter the topic the label names, such as paraquat.")
TOPIC_IDLE = gettext_noop("Only product training has a topic.")
BAD_CATEGORY = gettext_noop("A category is a short word of letters, digits and _, such as aerial.")


@transaction.atomic
def record_certificate(*, member: Member, person_id: int, now: datetime, **values: Any) -> Certificate:
    """A certificate or a renewal. ``values``: number, jurisdiction, kind, categories, valid_from, valid_to, note."""
    member.require(Can.EDIT_CERTIFICATES)
    Farm.objects.select_for_update().get(pk=member.farm.pk)
    _member(member, person_id)
    values = _tidy(values)
    _check(member, person_id, values, row=None)
    row: Certificate = Certificate.objects.add(
        farm=member.farm, person_id=person_id, recorded_at=now, recorded_by_id=member.person_id, **values
    )
    audit.record(farm=member.farm, actor=member, verb="recorded", subject=row, now=now, after=values)
    return row


@transaction.atomic
def edit_certificate(
    *, member: Member, certificate_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> Certificate:
    """Put a mistyped certificate right. A renewal is recorded as a new one instead."""
    member.require(Can.EDIT_CERTIFICATES)
    row = _locked(member, certificate_id)
    tidy = _tidy(changes)
    _check(member, row.person_id, tidy, row=row)
    saved: Certificate = save_changes(row, member=member, expected_version=expected_version, changes=tidy, now=now)
    return saved


@transaction.atomic
def suspend_certificate(
    *, member: Member, certificate_id: int, from_on: date, reason: str, now: datetime
) -> Suspension:
    """The certificate does not count from ``from_on`` until it is lifted."""
    member.require(Can.EDIT_CERTIFICATES)
    row = _locked(member, certificate_id)
    if not reason.strip():
        raise BadInput({"reason": gettext_noop("Enter why it is suspended.")})
    if Suspension.objects.for_farm(member.farm).filter(certificate=row, lifted_on=None).exists():
        raise refuse("suspended_already", gettext_noop("This certificate is suspended already."), field="certificate")
    made: Suspension = Suspension.objects.add(
        farm=member.farm, certificate=row, from_on=from_on, reason=reason.strip(), recorded_by_id=member.person_id
    )
    after = {"from_on": from_on, "reason": reason.strip()}
    audit.record(farm=member.farm, actor=member, verb="suspended", subject=row, now=now, after=after)
    return made


@transaction.atomic
def lift_suspension(*, member: Member, certificate_id: int, lifted_on: date, now: datetime) -> Suspension:
    """The certificate counts again from ``lifted_on``."""
    member.require(Can.EDIT_CERTIFICATES)
    row = _locked(member, certificate_id)
    held = Suspension.objects.for_farm(member.farm).filter(certificate=row, lifted_on=None).first()
    if held is None:
        raise refuse("not_suspended", gettext_noop("This certificate is not suspended."), field="certificate")
    if lifted_on < held.from_on:
        raise BadInput({"lifted_on": gettext_noop("Must be on or after the day it was suspended.")})
    held.lifted_on, held.lifted_by_id = lifted_on, member.person_id
    held.save(update_fields=["lifted_on", "lifted_by"])
    audit.record(farm=member.farm, actor=member, verb="lifted", subject=row, now=now, after={"lifted_on": lifted_on})
    return held


@transaction.atomic
def record_training(
    *,
    member: Member,
    person_id: int,
    kind: str,
    trained_on: date,
    now: datetime,
    topic: str = "",
    trainer: str = "",
    note: str = "",
) -> TrainingRecord:
    """A training or clearance that took place. Nothing medical is kept."""
    member.require(Can.EDIT_CERTIFICATES)
    _member(member, person_id)
    topic = topic.strip().lower()
    if (kind == TrainingKind.PRODUCT) != bool(topic):
        raise BadInput({"topic": TOPIC_IDLE if topic else ENTER_TOPIC})
    if trained_on > queries.today(member.farm, now):
        raise BadInput({"trained_on": NOT_YET})
    values = {"kind": kind, "topic": topic, "trained_on": trained_on, "trainer": trainer, "note": note}
    row: TrainingRecord = TrainingRecord.objects.add(
        farm=member.farm, person_id=person_id, recorded_at=now, recorded_by_id=member.person_id, **values
    )
    audit.record(farm=member.farm, actor=member, verb="recorded", subject=row, now=now, after=values)
    return row


@transaction.atomic
def strike_training(*, member: Member, training_id: int, because: str, now: datetime) -> TrainingRecord:
    """A training that was entered wrongly does not count; it stays to be read."""
    member.require(Can.EDIT_CERTIFICATES)
    queries.training(member.farm, training_id)
    row: TrainingRecord = TrainingRecord.objects.for_farm(member.farm).select_for_update().get(pk=training_id)
    if not because.strip():
        raise BadInput({"because": gettext_noop("Enter why it does not count.")})
    if row.struck_at is None:
        row.struck_at, row.struck_because, row.struck_by_id = now, because.strip(), member.person_id
        row.save(update_fields=["struck_at", "struck_because", "struck_by"])
        after = {"because": row.struck_because}
        audit.record(farm=member.farm, actor=member, verb="struck", subject=row, now=now, after=after)
    return queries.training(member.farm, training_id)


def category_codes(typed: Iterable[str]) -> list[str]:
    """Categories as typed -> sorted lower-case codes; ``BadInput`` on ``categories``."""
    codes = {re.sub(r"[\s-]+", "_", word.strip().lower()) for word in typed if word.strip()}
    if any(not CATEGORY.fullmatch(code) for code in codes):
        raise BadInput({"categories": BAD_CATEGORY})
    return sorted(codes)


def _tidy(values: Mapping[str, Any]) -> dict[str, Any]:
    tidy = dict(values)
    if "number" in tidy:
        tidy["number"] = tidy["number"].strip()
    if "jurisdiction" in tidy:
        tidy["jurisdiction"] = tidy["jurisdiction"].strip().upper()
    if "categories" in tidy:
        tidy["categories"] = category_codes(tidy["categories"])
    return tidy


def _check(member: Member, person_id: int, values: Mapping[str, Any], row: Certificate | None) -> None:
    def value(name: str) -> Any:
        return values[name] if name in values else getattr(row, name)

    first, last = value("valid_from"), value("valid_to")
    if last < first:
        raise BadInput({"valid_to": END_FIRST})
    if last.year - first.year > MAX_YEARS:
        raise BadInput({"valid_to": TOO_LONG})
    same = queries.certificates(member.farm).filter(
        person_id=person_id, number=value("number"), jurisdiction=value("jurisdiction"), valid_from=first
    )
    if same.exclude(pk=row.pk if row else None).exists():
        raise BadInput({"number": TWICE})


def _member(member: Member, person_id: int) -> None:
    try:
        people.active_member_for_person(member.farm, person_id)
    except Unknown:
        raise BadInput({"person_id": NOBODY}) from None


def _locked(member: Member, certificate_id: int) -> Certificate:
    queries.certificate(member.farm, certificate_id)  # Unknown for another farm's
    row: Certificate = Certificate.objects.for_farm(member.farm).select_for_update().get(pk=certificate_id)
    return row
