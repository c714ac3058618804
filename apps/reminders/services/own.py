"""What people do with their own notices: acknowledge, wish for fewer, take them into their calendar."""

from __future__ import annotations

import secrets
from collections.abc import Collection, Mapping
from datetime import datetime, time
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.queries import Member, digest
from apps.people.rules import Can
from apps.reminders import queries, rules, sources
from apps.reminders.models import UNPOSTED, CalendarAddress, Notice, Preference
from apps.reminders.rules import timing
from farmops.errors import BadInput, gettext_noop


@transaction.atomic
def mark_seen(*, member: Member, notice_id: int, now: datetime) -> Notice:
    """The person has read, and for a dangerous one acknowledged, one of their own notices; the first time counts."""
    member.require(Can.READ_FARM)
    row = queries.notice_of(member.farm, member.person_id, notice_id)
    if row.seen_at is None:
        row.seen_at = now
        row.save(update_fields=["seen_at"])
    return row


@transaction.atomic
def mark_all_seen(*, member: Member, up_to: int, now: datetime) -> int:
    """The person has read all own notices up to the one with id ``up_to``; later ones stay new.

    What is dangerous stays: it is acknowledged one by one.
    """
    member.require(Can.READ_FARM)
    mine = queries.notices_of(member.farm, member.person_id)
    return mine.filter(id__lte=up_to, seen_at=None, urgent=False).update(seen_at=now)


@transaction.atomic
def set_wishes(
    *,
    member: Member,
    quiet_from: time,
    quiet_to: time,
    digest_at: time,
    email: Mapping[str, str],
    not_in_calendar: Collection[str],
    now: datetime,
) -> Preference:
    """Replace what the person wants to hear on this farm; e-mails that still wait follow the new wish.

    ``email`` maps kinds to modes. ``BadInput`` names a kind that is none or is dangerous.
    """
    member.require(Can.READ_FARM)
    sources.know_kinds()
    known = {kind for kind, _ in rules.kinds()}
    if {*email, *not_in_calendar} - known:
        raise BadInput({"email": gettext_noop("There is no such kind of notice.")})
    if any(rules.level_of(kind, urgent=False) is rules.Level.CALL_NOW for kind in email):
        raise BadInput({"email": gettext_noop("What is dangerous always comes at once.")})
    values = {
        "quiet_from": quiet_from,
        "quiet_to": quiet_to,
        "digest_at": digest_at,
        "email": {kind: timing.Mode(mode).value for kind, mode in sorted(email.items())},
        "not_in_calendar": sorted(not_in_calendar),
    }
    mine = Preference.objects.for_farm(member.farm)
    row, _ = mine.update_or_create(person_id=member.person_id, defaults=values, create_defaults=_mine(member, values))
    audit.record(farm=member.farm, actor=member, verb="changed", subject=row, now=now, after=values)
    _reschedule(member, now)
    return row


def _mine(member: Member, values: dict[str, Any]) -> dict[str, Any]:
    return {**values, "farm": member.farm, "person_id": member.person_id}


def _reschedule(member: Member, now: datetime) -> None:
    farm, wishes = member.farm, queries.wishes(member.farm, [member.person_id])[member.person_id]
    rows = list(Notice.objects.for_farm(farm).select_for_update().filter(UNPOSTED, person_id=member.person_id))
    for row in rows:
        level = rules.level_of(row.kind, urgent=row.urgent)
        row.due_at = timing.mail_at(wishes, row.kind, level, zone=farm.time_zone, now=now)
    Notice.objects.for_farm(farm).bulk_update(rows, ["due_at"], batch_size=300) if rows else None


@transaction.atomic
def open_calendar(*, member: Member, now: datetime) -> str:
    """A new secret calendar address, shown this once; the one before it stops working. Returns the secret."""
    member.require(Can.READ_FARM)
    close_calendar(member=member, now=now)
    secret = secrets.token_urlsafe(32)
    row = CalendarAddress.objects.add(
        farm=member.farm, person_id=member.person_id, secret_hash=digest(secret), created_at=now
    )
    audit.record(farm=member.farm, actor=member, verb="opened", subject=row, now=now)
    return secret


@transaction.atomic
def close_calendar(*, member: Member, now: datetime) -> bool:
    """Revoke the calendar address, if there is one."""
    member.require(Can.READ_FARM)
    row = queries.calendar_address(member.farm, member.person_id)
    if row is None:
        return False
    row.revoked_at = now
    row.save(update_fields=["revoked_at"])
    audit.record(farm=member.farm, actor=member, verb="revoked", subject=row, now=now)
    return True
