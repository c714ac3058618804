"""Issuing and revoking gate codes, and counting questions."""

from __future__ import annotations

import secrets
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.crypto import salted_hmac

from apps.audit import services as audit
from apps.land import queries as land
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.safety.gate import rules
from apps.safety.gate.models import GateCode, GateCount
from apps.safety.services import lock_ground
from farmops.errors import gettext_noop, refuse


@transaction.atomic
def issue_code(*, member: Member, block_id: int, now: datetime) -> GateCode:
    """A new code for a block; the one in force, if any, is revoked with it. Plates with the old one go dead.

    ``Unknown`` for another farm's block; ``Refused`` for a block no longer in use.
    """
    member.require(Can.EDIT_LAND)
    block = land.block(member.farm, block_id)
    if block.archived:
        raise refuse("block_archived", gettext_noop("This block is no longer in use. It needs no code at its gate."))
    lock_ground(member.farm, [block_id])
    for old in GateCode.objects.for_farm(member.farm).filter(block=block, revoked_at=None):
        _revoke(member, old, now)
    row: GateCode = GateCode.objects.add(
        farm=member.farm,
        block=block,
        code=rules.make_code(secrets.choice),
        issued_at=now,
        issued_by_id=member.person_id,
    )
    audit.record(farm=member.farm, actor=member, verb="issued", subject=row, now=now, after={"block": str(block)})
    return row


@transaction.atomic
def issue_missing(*, member: Member, now: datetime) -> list[GateCode]:
    """A code for every block in use that has none."""
    member.require(Can.EDIT_LAND)
    have = set(GateCode.objects.for_farm(member.farm).filter(revoked_at=None).values_list("block_id", flat=True))
    wanting = [block.pk for block in land.blocks(member.farm) if block.pk not in have]
    return [issue_code(member=member, block_id=block_id, now=now) for block_id in wanting]


@transaction.atomic
def revoke_code(*, member: Member, code_id: int, now: datetime) -> GateCode:
    """Take a code out of force. ``Unknown`` when it is not this farm's or was revoked already."""
    member.require(Can.EDIT_LAND)
    row: GateCode = one(GateCode.objects.for_farm(member.farm).filter(pk=code_id, revoked_at=None).select_for_update())
    return _revoke(member, row, now)


def _revoke(member: Member, row: GateCode, now: datetime) -> GateCode:
    row.revoked_at, row.revoked_by_id, row.version = now, member.person_id, row.version + 1
    row.save(update_fields=["revoked_at", "revoked_by", "version"])
    audit.record(farm=member.farm, actor=member, verb="revoked", subject=row, now=now, after={"block": str(row.block)})
    return row


def bucket_of(connection: str) -> int:
    """Where questions from this connection are counted. It cannot be turned back into the connection."""
    digest = salted_hmac("apps.safety.gate.bucket", connection).digest()
    return int.from_bytes(digest[:4], "big") % rules.BUCKETS


def count_question(*, connection: str, cost: int, now: datetime) -> int:
    """Add ``cost`` to this connection's count of the current minute; seconds to wait, 0 when it may ask.

    One row per bucket, changed in place: the cost does not grow with the number of questions or of visitors.
    """
    bucket, window = bucket_of(connection), rules.window_of(now)
    counts = GateCount.objects
    if not counts.filter(bucket=bucket, window_at=window).update(hits=F("hits") + cost):
        with transaction.atomic():
            old = counts.filter(bucket=bucket).exclude(window_at=window)
            if not old.update(window_at=window, hits=cost):
                _first(bucket, window, cost)
    hits = counts.filter(bucket=bucket).values_list("hits", flat=True).first() or 0
    return rules.seconds_to_wait(hits, now)


def _first(bucket: int, window: datetime, cost: int) -> None:
    """The bucket's first question ever, or one that another request began in the same moment."""
    try:
        with transaction.atomic():
            GateCount.objects.create(bucket=bucket, window_at=window, hits=cost)
    except IntegrityError:
        GateCount.objects.filter(bucket=bucket).update(hits=F("hits") + cost)
