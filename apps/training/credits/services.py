"""What is done with credits: recorded, struck."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from apps.audit import services as audit
from apps.people import queries as people
from apps.people.queries import Member
from apps.people.rules import Can
from apps.training import queries as training
from apps.training.credits import queries
from apps.training.models import Credit
from farmops.errors import BadInput, Unknown, gettext_noop

MOST = Decimal(100)  # more than any course gives: a mistyped number (project rule)


@transaction.atomic
def record_credit(
    *,
    member: Member,
    person_id: int,
    jurisdiction: str,
    held_on: date,
    amount: Decimal,
    course: str,
    now: datetime,
    course_number: str = "",
) -> Credit:
    """Credits of a course somebody took."""
    member.require(Can.EDIT_CERTIFICATES)
    try:
        people.active_member_for_person(member.farm, person_id)
    except Unknown:
        raise BadInput({"person_id": gettext_noop("Nobody with that number works on this farm.")}) from None
    if held_on > training.today(member.farm, now):
        raise BadInput({"held_on": gettext_noop("Must be today or earlier.")})
    if not 0 < amount <= MOST:
        raise BadInput({"amount": gettext_noop("Must be more than 0 and at most 100.")})
    values = {
        "jurisdiction": jurisdiction.strip().upper(),
        "held_on": held_on,
        "amount": amount,
        "course": course.strip(),
        "course_number": course_number.strip(),
    }
    same = queries.credits(member.farm).filter(
        person_id=person_id,
        struck_at=None,
        held_on=held_on,
        jurisdiction=values["jurisdiction"],
        course=values["course"],
    )
    if same.exists():
        raise BadInput({"course": gettext_noop("This course is in the book already.")})
    row: Credit = Credit.objects.add(
        farm=member.farm, person_id=person_id, recorded_at=now, recorded_by_id=member.person_id, **values
    )
    audit.record(farm=member.farm, actor=member, verb="recorded", subject=row, now=now, after=values)
    return row


@transaction.atomic
def strike_credit(*, member: Member, credit_id: int, because: str, now: datetime) -> Credit:
    """A credit that was entered wrongly does not count; it stays to be read."""
    member.require(Can.EDIT_CERTIFICATES)
    queries.credit(member.farm, credit_id)
    row: Credit = Credit.objects.for_farm(member.farm).select_for_update().get(pk=credit_id)
    if not because.strip():
        raise BadInput({"because": gettext_noop("Enter why it does not count.")})
    if row.struck_at is None:
        row.struck_at, row.struck_because = now, because.strip()
        row.save(update_fields=["struck_at", "struck_because"])
        after = {"because": row.struck_because}
        audit.record(farm=member.farm, actor=member, verb="struck", subject=row, now=now, after=after)
    return row
