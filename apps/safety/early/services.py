"""Recording a supervisor's decision about early entry, and how long it was in the end. Nothing is granted here."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.land import queries as land
from apps.people.models import Membership
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.safety.early import queries
from apps.safety.early.models import EarlyEntry
from apps.safety.rules import CLOCKS_DIFFER
from apps.safety.rules.early import Briefing, Route, Stay, Wish, ruled_out
from apps.safety.services import lock_ground
from farmops import clock
from farmops.errors import BadInput, Finding, Refused, gettext_noop, refuse

AHEAD = timedelta(hours=24)
STATEMENTS = (
    "hand_labor", "touches_treated", "relies_on_gear", "contact_limited", "unforeseen", "real_loss",
    "trained_handler", "gear_given",
)  # fmt: skip


def wish_of(
    member: Member,
    *,
    worker_id: int,
    route: str,
    starts_at: datetime,
    minutes: int,
    stated: Mapping[str, Any],
    declaration: str = "",
    briefed: Collection[str] = (),
) -> Wish:
    """What is asked for, with what is on record about the worker. ``stated`` holds the supervisor's statements."""
    person = queries.worker(member.farm, worker_id)
    on = clock.to_local(starts_at, member.farm.time_zone).date()
    return Wish(
        route=Route(route),
        stay=Stay(starts_at=starts_at, minutes=minutes),
        listed=person is not None,
        age=queries.age_on(person, on) if person is not None else None,
        declaration=declaration,
        briefed=frozenset(Briefing(item) for item in briefed),
        used=queries.used(member.farm, worker_id, starts_at),
        **{name: stated[name] is True for name in STATEMENTS if name in stated},
    )


def look(member: Member, *, block_id: int, now: datetime, **asked: Any) -> list[Finding]:
    """Everything that rules this entry out; empty means that a named supervisor has to decide."""
    block = land.block(member.farm, block_id)
    wish = wish_of(member, **asked)
    return ruled_out(queries.ground_of(block, wish.stay.starts_at, now), wish)


@transaction.atomic
def decide(
    *,
    member: Member,
    block_id: int,
    worker_id: int,
    route: str,
    starts_at: datetime,
    minutes: int,
    task: str,
    stated: Mapping[str, Any],
    declaration: str = "",
    briefed: Collection[str] = (),
    gear: str = "",
    now: datetime,
) -> EarlyEntry:
    """Write down a supervisor's own decision. ``Refused`` with every reason while the law rules the entry out.

    ``BadInput`` for a task that is not named or a start that has passed; the worker's minutes are counted over all
    fields while no other decision about the same worker can slip in.
    """
    member.require(Can.SUPERVISE_ENTRY)
    if len(task.strip()) < 5:
        raise BadInput({"task": gettext_noop("Say which task it is.")})
    if not now - CLOCKS_DIFFER <= starts_at <= now + AHEAD:
        raise BadInput({"starts_at": gettext_noop("Decide on the spot: the start is now or within a day.")})
    lock_ground(member.farm, [block_id])
    list(Membership.objects.for_farm(member.farm).select_for_update().filter(person_id=worker_id))
    asked = {
        "worker_id": worker_id, "route": route, "starts_at": starts_at, "minutes": minutes, "stated": stated,
        "declaration": declaration, "briefed": briefed,
    }  # fmt: skip
    found = look(member, block_id=block_id, now=now, **asked)
    if found:
        raise Refused(found)
    row: EarlyEntry = EarlyEntry.objects.add(
        farm=member.farm,
        block_id=block_id,
        worker_id=worker_id,
        supervisor_id=member.person_id,
        decided_at=now,
        route=route,
        task=task.strip(),
        starts_at=starts_at,
        minutes=minutes,
        declaration=declaration.strip(),
        gear=gear.strip(),
        stated={**{k: v is True for k, v in stated.items()}, "briefed": sorted(briefed)},
    )
    audit.record(farm=member.farm, actor=member, verb="decided", subject=row, now=now, after={"route": route})
    return row


@transaction.atomic
def left(*, member: Member, entry_id: int, left_at: datetime | None = None, now: datetime) -> EarlyEntry:
    """The worker has left the ground: the minutes really used count from here on, rounded up."""
    member.require(Can.SUPERVISE_ENTRY)
    row: EarlyEntry = one(EarlyEntry.objects.for_farm(member.farm).select_for_update().filter(pk=entry_id))
    if row.left_at is not None:
        raise refuse("left_already", gettext_noop("That is on record already."))
    at = left_at or now
    if not row.starts_at <= at <= now:
        raise BadInput({"left_at": gettext_noop("The time must be after the start and not later than now.")})
    row.left_at, row.minutes_used = at, -(-int((at - row.starts_at).total_seconds()) // 60)
    row.save(update_fields=["left_at", "minutes_used"])
    audit.record(farm=member.farm, actor=member, verb="left", subject=row, now=now, after={"minutes": row.minutes_used})
    return row
