"""Hanging closures and taking them down. Everyone else only reads the board.

Called inside the transaction of whatever makes the ground hazardous, so that the board can
never lag behind it. Blocks are locked in rising order, so that two jobs cannot wait for each other.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime

from django.db import transaction

from apps.audit import services as audit
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.safety import rules
from apps.safety.models import Closure
from apps.safety.rules import Kind, LiftReason, NewClosure
from farmops.errors import Finding, Refused, Unknown

Source = str


def lock_ground(farm: Farm, block_ids: Iterable[int]) -> dict[int, Block]:
    """The blocks, locked by rising number; ``Unknown`` if one is not this farm's."""
    wanted = sorted(set(block_ids))
    found = {b.pk: b for b in Block.objects.for_farm(farm).select_for_update().filter(pk__in=wanted).order_by("pk")}
    if len(found) != len(wanted):
        raise Unknown("No such block in this farm's book.")
    return found


@transaction.atomic
def hang_closures(
    *, farm: Farm, member: Member | None, source: Source, closures: Sequence[NewClosure], now: datetime
) -> list[Closure]:
    """Hang these closures. ``Refused`` when one cannot be true (``rules.check_hang``); then none hangs."""
    lock_ground(farm, (c.block_id for c in closures))
    _stop([f for c in closures for f in rules.check_hang(c, now=now)])
    return [_hang(farm, member, source, new, now) for new in closures]


def _hang(farm: Farm, member: Member | None, source: Source, new: NewClosure, now: datetime) -> Closure:
    row: Closure = Closure.objects.add(
        farm=farm,
        block_id=new.block_id,
        kind=new.kind.value,
        reason_code=new.reason_code.value,
        starts_at=new.starts_at,
        ends_at=new.ends_at,
        provisional_ends_at=new.provisional_ends_at,
        activities=sorted(new.activities),
        product_names=list(new.product_names),
        numbers=dict(new.numbers),
        source=source,
        set_by_id=member.person_id if member else None,
        set_by_name=member.name if member else farm.contact_name,
        contact=f"{farm.contact_name} {farm.contact_phone}",
        hung_at=now,
    )
    after = {"kind": row.kind, "from": new.starts_at, "to": new.ends_at, "for": source}
    audit.record(farm=farm, actor=member, verb="hung", subject=row, now=now, after=after)
    return row


@transaction.atomic
def lift_closures(
    *,
    farm: Farm,
    member: Member | None,
    source: Source,
    kinds: Collection[Kind],
    reason: LiftReason,
    block_ids: Collection[int] | None = None,
    now: datetime,
) -> list[Closure]:
    """Take down what hangs for ``source`` of these kinds. ``Refused`` unless each may come down for ``reason``."""
    rows = _hanging_of(farm, source, kinds, block_ids)
    _stop([f for row in rows for f in rules.check_lift(row.facts, reason=reason, now=now)])
    return [_lift(farm, member, row, reason, now) for row in rows]


def _hanging_of(
    farm: Farm, source: Source, kinds: Collection[Kind], block_ids: Collection[int] | None
) -> list[Closure]:
    found = Closure.objects.for_farm(farm).filter(source=source, lifted_at=None, kind__in=[k.value for k in kinds])
    if block_ids is not None:
        found = found.filter(block_id__in=block_ids)
    lock_ground(farm, found.values_list("block_id", flat=True))
    return list(found.order_by("pk"))


def _lift(farm: Farm, member: Member | None, row: Closure, reason: LiftReason, now: datetime) -> Closure:
    row.lifted_at, row.lifted_by_id, row.lift_reason = now, member.person_id if member else None, reason.value
    row.save(update_fields=["lifted_at", "lifted_by", "lift_reason"])
    audit.record(farm=farm, actor=member, verb="took down", subject=row, now=now, after={"because": reason})
    return row


@transaction.atomic
def replace_closures(
    *,
    farm: Farm,
    member: Member | None,
    source: Source,
    kinds: Collection[Kind],
    closures: Sequence[NewClosure],
    reason: LiftReason,
    now: datetime,
) -> list[Closure]:
    """Hang the new before the old come down, in one transaction.

    ``Refused`` when a new one cannot be true, an old one may not come down for ``reason``, or the new ones
    would leave ground open that the old ones hold closed (``rules.check_replace``).
    """
    old = _hanging_of(farm, source, kinds, None)
    findings = [f for row in old for f in rules.check_lift(row.facts, reason=reason, now=now)]
    _stop(findings + rules.check_replace([row.facts for row in old], closures, reason=reason))
    hung = hang_closures(farm=farm, member=member, source=source, closures=closures, now=now)
    for row in old:
        _lift(farm, member, row, reason, now)
    return hung


@transaction.atomic
def attest_condition(*, member: Member, closure_id: int, now: datetime) -> Closure:
    """A named person has seen that the label's condition (dry, level reached) is met: that closure comes down."""
    member.require(Can.SPRAY)
    row = one(Closure.objects.for_farm(member.farm).select_for_update().filter(pk=closure_id, lifted_at=None))
    _stop(rules.check_lift(row.facts, reason=LiftReason.ATTESTED, now=now))
    return _lift(member.farm, member, row, LiftReason.ATTESTED, now)


def _stop(findings: list[Finding]) -> None:
    if findings:
        raise Refused(findings)
