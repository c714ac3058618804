"""Asking for notice, and giving it: a sign goes up and comes down under a name, and the board follows."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.safety import services as board
from apps.safety.posting import queries
from apps.safety.posting.models import Posting
from apps.safety.rules import Kind, LiftReason, for_sign
from apps.safety.rules.notice import Notice, check_sign_down, check_sign_up
from farmops.errors import Refused, gettext_noop, refuse

SET_ONCE = gettext_noop("That is on record already.")


@transaction.atomic
def ask_for_notice(
    *, farm: Farm, member: Member, source: str, about: str, needs: Mapping[int, Notice], starts_at: datetime,
    now: datetime,
) -> list[Posting]:  # fmt: skip
    """What an application asks for on each of its blocks (block id -> notice). Called when it is assigned."""
    return [
        Posting.objects.add(
            farm=farm, block_id=block_id, source=source, about=about, needs=notice.value, starts_at=starts_at,
            asked_at=now,
        )
        for block_id, notice in sorted(needs.items())
    ]  # fmt: skip


@transaction.atomic
def drop_notice(*, farm: Farm, source: str, now: datetime) -> None:
    """Nothing was applied: nothing is owed any more. A sign that stands still has to be taken down."""
    Posting.objects.for_farm(farm).filter(source=source, dropped_at=None).update(dropped_at=now)


@transaction.atomic
def put_up_sign(*, member: Member, posting_id: int, up_at: datetime | None = None, now: datetime) -> Posting:
    """The sign stands since ``up_at`` (now if not given): the block is closed until it is down again.

    ``Refused`` when that would be more than 24 hours before the application, or later than now.
    """
    row = _locked(member, posting_id)
    at = up_at or now
    if row.up_at is not None:
        raise refuse("sign_up_already", SET_ONCE)
    _stop(check_sign_up(up_at=at, starts_at=row.starts_at, now=now))
    saved = _set(row, member, now, "put up the sign", up_at=at, up_by_id=member.person_id)
    board.hang_closures(
        farm=member.farm, member=member, source=row.sign_source, closures=for_sign([row.block_id], up_at=at), now=now
    )
    return saved


@transaction.atomic
def take_down_sign(*, member: Member, posting_id: int, now: datetime) -> Posting:
    """The sign is down or covered now. ``Refused`` while the interval runs or the job is not signed."""
    row = _locked(member, posting_id)
    if row.up_at is None or row.down_at is not None:
        raise refuse("sign_not_up", gettext_noop("No sign of this job stands there."))
    _stop(check_sign_down(open_otherwise=row.pk in queries.ready_to_come_down([row], now)))
    saved = _set(row, member, now, "took down the sign", down_at=max(now, row.up_at), down_by_id=member.person_id)
    board.lift_closures(
        farm=member.farm, member=member, source=row.sign_source, kinds=[Kind.POSTED], reason=LiftReason.SIGN_DOWN,
        now=now,
    )  # fmt: skip
    return saved


@transaction.atomic
def tell_workers(*, member: Member, posting_id: int, now: datetime) -> Posting:
    """The workers were told by mouth, in a way they understand, where and until when to keep out."""
    row = _locked(member, posting_id)
    if row.told_at is not None:
        raise refuse("told_already", SET_ONCE)
    return _set(row, member, now, "told the workers", told_at=now, told_by_id=member.person_id)


def _locked(member: Member, posting_id: int) -> Posting:
    member.require(Can.POST_NOTICES)
    found = queries.postings(member.farm).filter(pk=posting_id)
    board.lock_ground(member.farm, found.values_list("block_id", flat=True))
    return queries.locked(member.farm, posting_id)


def _set(row: Posting, member: Member, now: datetime, verb: str, **values: Any) -> Posting:
    for name, value in values.items():
        setattr(row, name, value)
    row.save(update_fields=[name.removesuffix("_id") for name in values])
    audit.record(farm=row.farm, actor=member, verb=verb, subject=row, now=now, after=values)
    return row


def _stop(found: list[Any]) -> None:
    if found:
        raise Refused(found)
