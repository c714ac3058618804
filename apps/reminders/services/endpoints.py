"""Endpoints of other programs: managers set them, turn them off, change their secret."""

from __future__ import annotations

import secrets
from collections.abc import Collection
from datetime import datetime

from django.conf import settings
from django.db import transaction

from apps.audit import services as audit
from apps.people.queries import Member
from apps.people.rules import Can
from apps.reminders import queries, rules, sources
from apps.reminders.models import WAITING, Call, Endpoint
from apps.reminders.rules import hooks
from apps.reminders.services import telling
from apps.reminders.services.calls import HOOK_FAILING, HOOK_OFF
from farmops.errors import BadInput, gettext_noop, refuse

MOST = 20
"""Endpoints in use on one farm (project rule): each multiplies what leaves the house."""


@transaction.atomic
def add_endpoint(*, member: Member, url: str, kinds: Collection[str], now: datetime) -> tuple[Endpoint, str]:
    """A new target for the farm's notices (``kinds`` empty: all); returns it and its secret, shown this once.

    ``BadInput`` for an address that cannot be one. Where it leads is looked at before each call.
    """
    member.require(Can.EDIT_FARM)
    _check(url, kinds)
    if queries.endpoints(member.farm).filter(off_at=None).count() >= MOST:
        raise refuse("endpoints_many", gettext_noop("There are 20 targets in use. Turn one off first."))
    secret = hooks.secret_from(secrets.token_bytes(hooks.SECRET_BYTES))
    row = Endpoint.objects.add(
        farm=member.farm, url=url, kinds=sorted(set(kinds)), secret=secret, made_by_id=member.person_id, created_at=now
    )
    after = {"url": url, "kinds": row.kinds}
    audit.record(farm=member.farm, actor=member, verb="added", subject=row, now=now, after=after)
    return row, secret


def _check(url: str, kinds: Collection[str]) -> None:
    if trouble := hooks.address_trouble(url, may_stay_inside=settings.WEBHOOKS_MAY_STAY_INSIDE):
        raise BadInput({"url": trouble})
    sources.know_kinds()
    if set(kinds) - {kind for kind, _ in rules.kinds()}:
        raise BadInput({"kinds": gettext_noop("There is no such kind of notice.")})


@transaction.atomic
def new_secret(*, member: Member, endpoint_id: int, now: datetime) -> tuple[Endpoint, str]:
    """A new secret, shown this once. The old one signs beside it for two days."""
    member.require(Can.EDIT_FARM)
    row = queries.endpoint(member.farm, endpoint_id, lock=True)
    secret = hooks.secret_from(secrets.token_bytes(hooks.SECRET_BYTES))
    row.old_secret, row.old_secret_until, row.secret = row.secret, now + hooks.OLD_SECRET_LIFE, secret
    row.version += 1
    row.save(update_fields=["secret", "old_secret", "old_secret_until", "version"])
    audit.record(farm=member.farm, actor=member, verb="changed the secret of", subject=row, now=now)
    return row, secret


@transaction.atomic
def turn_endpoint(*, member: Member, endpoint_id: int, on: bool, now: datetime) -> Endpoint:
    """Turn a target off (what waits for it is dropped) or on again."""
    member.require(Can.EDIT_FARM)
    row = queries.endpoint(member.farm, endpoint_id, lock=True)
    if on:
        row.off_at, row.off_because, row.failing_since, row.failures, row.retry_at = None, "", None, 0, None
        row.version += 1
        row.save()
    elif row.off_at is None:
        shut(row, because="turned off", now=now)
    told_off(row, now)
    audit.record(farm=member.farm, actor=member, verb="turned on" if on else "turned off", subject=row, now=now)
    return row


def shut(row: Endpoint, *, because: str, now: datetime) -> None:
    """No more calls to this endpoint; those that wait are dropped. In the caller's transaction."""
    row.off_at, row.off_because, row.version = now, because, row.version + 1
    row.save(update_fields=["off_at", "off_because", "version"])
    waiting = Call.objects.for_farm(row.farm).filter(WAITING, endpoint=row)
    waiting.update(done_at=now, outcome="dropped", claimed_until=None)


def told_off(row: Endpoint, now: datetime) -> None:
    """What managers were told about a failing target is over."""
    for kind in (HOOK_FAILING, HOOK_OFF):
        telling.withdraw(farm=row.farm, kind=kind, subject=("webhook", row.pk), now=now)
