"""Hanging closures and taking them down. Everyone else only reads the board.

Called inside the transaction of whatever makes the ground hazardous, so that the board can
never lag behind it. Blocks are locked in rising order, so that two jobs cannot wait for each other.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.safety import rules
from apps.safety.following import on_heirs, with_heirs
from apps.safety.models import Closure
from apps.safety.rules import Kind, LiftReason, NewClosure
from apps.safety.seen.services import look_back
from farmops.errors import Finding, NotYourRole, Refused, Unknown, gettext_noop

Source = str


def lock_ground(farm: Farm, block_ids: Iterable[int]) -> dict[int, Block]:
    """The blocks, locked by rising number; ``Unknown`` if one is not this farm's."""
    wanted = sorted(set(block_ids))
    found = {b.pk: b for b in Block.objects.for_farm(farm).select_for_update().filter(pk__in=wanted).order_by("pk")}
    if len(found) != len(wanted):
        raise Unknown(gettext_noop("No such block in this farm's book."))
    return found


@transaction.atomic
def hang_closures(
    *, farm: Farm, member: Member | None, source: Source, closures: Sequence[NewClosure], now: datetime
) -> list[Closure]:
    """Hang these closures. ``Refused`` when one cannot be true (``rules.check_hang``); then none hangs.

    For a block that was split or merged they hang on what became of it as well. Whoever had a yes for a time that
    is closed by now is a possible exposure, and the managers are told.
    """
    _same_farm(farm, member)
    blocks = lock_ground(farm, (c.block_id for c in closures))
    _stop([f for c in closures for f in rules.check_hang(c, now=now)])
    everywhere = [*closures, *on_heirs(farm, blocks, closures)]
    hung = [_hang(farm, member, source, _to_the_minute(new), now) for new in everywhere]
    look_back(farm=farm, member=member, closures=hung, now=now)
    return hung


def _to_the_minute(new: NewClosure) -> NewClosure:
    """Ends rounded up, as the rules read them, so that a row and its answer name the same minute."""
    ends = {"ends_at": new.ends_at, "provisional_ends_at": new.provisional_ends_at}
    rounded: dict[str, Any] = {name: rules.up_to_minute(end) for name, end in ends.items() if end is not None}
    return replace(new, **rounded)


def _hang(farm: Farm, member: Member | None, source: Source, new: NewClosure, now: datetime) -> Closure:
    row: Closure = Closure.objects.add(
        farm=farm,
        block_id=new.block_id,
        kind=new.kind.value,
        reason_code=new.reason_code.value,
        starts_at=new.starts_at,
        ends_at=new.ends_at,
        provisional_ends_at=new.provisional_ends_at,
        speaks_until=new.speaks_until,
        activities=sorted(new.activities),
        product_names=list(new.product_names),
        numbers=dict(new.numbers),
        part=new.part,
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
    """Take down what hangs for ``source`` of these kinds (in these blocks only, if given).

    ``Refused`` unless ``reason`` needs no successor and each closure may come down for it; ``NotYourRole`` when
    the reason rests on a signature and ``member`` is no applicator.
    """
    _may_lift(farm, member, reason)
    _stop(rules.check_alone(reason))
    rows = _hanging_of(farm, source, kinds, block_ids)
    _stop([f for row in rows for f in rules.check_lift(row.facts, reason=reason, now=now)])
    if reason is LiftReason.ENDED:
        _stop(rules.check_ended(_kinds_hanging(farm, source)))
    return [_lift(farm, member, row, reason, now) for row in rows]


def _hanging_of(
    farm: Farm, source: Source, kinds: Collection[Kind], block_ids: Collection[int] | None
) -> list[Closure]:
    found = Closure.objects.for_farm(farm).filter(source=source, lifted_at=None, kind__in=[k.value for k in kinds])
    if block_ids is not None:
        found = found.filter(block_id__in=with_heirs(farm, block_ids))
    lock_ground(farm, found.values_list("block_id", flat=True))
    return list(found.order_by("pk"))


def _kinds_hanging(farm: Farm, source: Source) -> set[str]:
    return set(Closure.objects.for_farm(farm).filter(source=source, lifted_at=None).values_list("kind", flat=True))


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
    would leave ground open that the old ones hold closed (``rules.check_replace``); ``NotYourRole`` when the
    reason rests on a signature and ``member`` is no applicator.
    """
    _may_lift(farm, member, reason)
    old = _hanging_of(farm, source, kinds, None)
    findings = [f for row in old for f in rules.check_lift(row.facts, reason=reason, now=now)]
    _stop(findings + _left_open(farm, old, closures, reason))
    hung = hang_closures(farm=farm, member=member, source=source, closures=closures, now=now)
    for row in old:
        _lift(farm, member, row, reason, now)
    return hung


def _left_open(farm: Farm, old: list[Closure], closures: Sequence[NewClosure], reason: LiftReason) -> list[Finding]:
    """What would be left open. Ground that a signature says was not in the treated part is left open rightly."""
    blocks = Block.objects.for_farm(farm).in_bulk({c.block_id for c in closures})
    heirs = on_heirs(farm, blocks, closures)
    spared = set()
    if reason in rules.SIGNED_REASONS:
        whole = on_heirs(farm, blocks, [replace(c, part=None) for c in closures])
        spared = {c.block_id for c in whole} - {c.block_id for c in heirs}
    held = [row.facts for row in old if row.block_id not in spared]
    return rules.check_replace(held, [*closures, *heirs], reason=reason)


@transaction.atomic
def attest_condition(*, member: Member, closure_id: int, now: datetime) -> Closure:
    """A named applicator has seen that the label's condition (dry, level reached) is met: that closure comes down.

    ``Unknown`` when it is not this farm's or came down already; ``Refused`` when it is no condition: an
    interval has to run.
    """
    member.require(Can.SPRAY)
    found = Closure.objects.for_farm(member.farm).filter(pk=closure_id, lifted_at=None)
    lock_ground(member.farm, found.values_list("block_id", flat=True))
    row = one(found.select_for_update())
    _stop(rules.check_lift(row.facts, reason=LiftReason.ATTESTED, now=now))
    return _lift(member.farm, member, row, LiftReason.ATTESTED, now)


@transaction.atomic
def attest_conditions(*, member: Member, closure_ids: Sequence[int], now: datetime) -> list[Closure]:
    """``attest_condition`` for several closures: all or none."""
    return [attest_condition(member=member, closure_id=closure_id, now=now) for closure_id in sorted(closure_ids)]


def _may_lift(farm: Farm, member: Member | None, reason: LiftReason) -> None:
    _same_farm(farm, member)
    if reason in rules.SIGNED_REASONS:
        if member is None:
            raise NotYourRole(gettext_noop("Only an applicator's signature can give this reason."))
        member.require(Can.SIGN)


def _same_farm(farm: Farm, member: Member | None) -> None:
    if member is not None and member.farm.pk != farm.pk:
        raise Unknown(gettext_noop("No such farm in your book."))


def _stop(findings: list[Finding]) -> None:
    if findings:
        raise Refused(findings)
