"""What to hang at each step of a spray job, and what may take a closure down.

The steps of a job call the ``for_...`` functions and hand the result to the services.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from farmops.errors import Finding, Severity, gettext_noop

from .facts import (
    CLOCKS_DIFFER,
    CONDITIONS,
    DONE_KINDS,
    MISSING,
    TIMED_KINDS,
    Closure,
    Kind,
    LiftReason,
    NewClosure,
    Reason,
)
from .times import entry_end, harvest_opens

_RULE = "project rule"


@dataclass(frozen=True, kw_only=True)
class EntryInterval:
    """One restricted-entry statement of one label.

    ``hours`` ``None`` with no ``condition`` means the label row has none: unknown. ``condition`` is
    ``until_dry`` or ``until_level`` and binds beside any hours. ``activities`` empty binds all work.
    """

    product: str
    hours: Decimal | int | None = None
    condition: Reason | None = None
    activities: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class HarvestWait:
    """One pre-harvest interval of one label, in days; ``None`` is unknown, not zero."""

    product: str
    days: int | None


def for_window(
    block_ids: Iterable[int], *, starts_at: datetime, ends_at: datetime, products: Sequence[str]
) -> list[NewClosure]:
    """At assignment: one ``planned`` closure a block for the job's window."""
    return [
        NewClosure(
            block_id=block_id, kind=Kind.PLANNED, reason_code=Reason.WINDOW, starts_at=starts_at, ends_at=ends_at,
            product_names=tuple(products),
        )
        for block_id in block_ids
    ]  # fmt: skip


def for_start(
    block_ids: Iterable[int], *, started_at: datetime, window_ends_at: datetime, products: Sequence[str]
) -> list[NewClosure]:
    """At the start of spraying: ``underway``, without an end (40 CFR 170.405(a)(2))."""
    return [
        NewClosure(
            block_id=block_id, kind=Kind.UNDERWAY, reason_code=Reason.SPRAYING, starts_at=started_at,
            provisional_ends_at=window_ends_at, product_names=tuple(products),
        )
        for block_id in block_ids
    ]  # fmt: skip


def for_zone_planned(
    block_ids: Iterable[int], *, starts_at: datetime, ends_at: datetime, products: Sequence[str], next_to: str
) -> list[NewClosure]:
    """At assignment, on every other block in the job's exclusion zone: the zone exists in the window.

    The end of the window opens nothing: only a report that says what happened does (project rule).
    """
    return _zone(Kind.ZONE_PLANNED, block_ids, starts_at, ends_at, products, next_to)


def for_zone(
    block_ids: Iterable[int], *, started_at: datetime, window_ends_at: datetime, products: Sequence[str], next_to: str
) -> list[NewClosure]:
    """At the start, on every other block in the exclusion zone (40 CFR 170.405(a)(2)); it has no end of its own."""
    return _zone(Kind.ZONE, block_ids, started_at, window_ends_at, products, next_to)


def _zone(
    kind: Kind, block_ids: Iterable[int], starts_at: datetime, ends_at: datetime, products: Sequence[str], next_to: str
) -> list[NewClosure]:
    return [
        NewClosure(
            block_id=block_id, kind=kind, reason_code=Reason.ZONE, starts_at=starts_at, provisional_ends_at=ends_at,
            product_names=tuple(products), numbers={"next_to": next_to},
        )
        for block_id in block_ids
    ]  # fmt: skip


def for_finish(
    block_ids: Iterable[int],
    *,
    started_at: datetime,
    ended_at: datetime,
    intervals: Sequence[EntryInterval],
    disputed: bool = False,
) -> list[NewClosure]:
    """At the finish, before the signature: ``unconfirmed`` with the time that is not confirmed yet.

    ``ended_at`` is the latest claim; ``disputed`` says that people gave different ones.
    """
    ends = [c.ends_at for c in _entry_closures(0, started_at, ended_at, intervals)]
    known = [end for end in ends if end is not None]
    return [
        NewClosure(
            block_id=block_id,
            kind=Kind.UNCONFIRMED,
            reason_code=Reason.TWO_ENDS if disputed else Reason.UNSIGNED,
            starts_at=started_at,
            provisional_ends_at=max(known) if len(known) == len(ends) else None,
            product_names=_names(i.product for i in intervals),
        )
        for block_id in block_ids
    ]


def for_signature(
    block_id: int,
    *,
    started_at: datetime,
    ended_at: datetime,
    intervals: Sequence[EntryInterval],
    waits: Sequence[HarvestWait] | None,
    zone: ZoneInfo | str,
    part: Mapping[str, Any] | None = None,
    part_acres: str = "",
) -> list[NewClosure]:
    """After the signature, for one block: its ``entry`` and ``harvest`` closures.

    The longest interval of a mix counts (40 CFR 170.407), separately for each set of activities; each application
    hangs its own, so the last end of all applications governs. No interval at all hangs an
    unknown one. ``waits`` ``None`` says that nothing is harvested there (a cover crop); empty is unknown.
    ``part`` is the mapped piece (GeoJSON, of ``part_acres``) when no more than that was treated.
    """
    made = _entry_closures(block_id, started_at, ended_at, intervals)
    if waits is not None:
        made.append(_harvest_closure(block_id, started_at, ended_at, waits, zone))
    if part is None:
        return made
    return [replace(c, part=part, numbers={**c.numbers, "acres": part_acres}) for c in made]


def for_sign(block_ids: Iterable[int], *, up_at: datetime) -> list[NewClosure]:
    """While a warning sign stands: ``posted``; only taking it down ends it (40 CFR 170.407)."""
    return [
        NewClosure(block_id=block_id, kind=Kind.POSTED, reason_code=Reason.SIGN, starts_at=up_at)
        for block_id in block_ids
    ]


def _entry_closures(
    block_id: int, started_at: datetime, ended_at: datetime, intervals: Sequence[EntryInterval]
) -> list[NewClosure]:
    intervals = intervals or [EntryInterval(product="")]
    made = [
        _entry(block_id, started_at, condition, None, [i], i.activities)
        for i in intervals
        if (condition := i.condition) is not None
    ]
    timed = [i for i in intervals if i.hours is not None]
    missing = [i for i in intervals if i.hours is None and i.condition is None]
    for work in sorted({i.activities for i in missing}, key=sorted):
        group = [i for i in missing if i.activities == work]
        made.append(_entry(block_id, started_at, Reason.REI_MISSING, None, group, work))
    for work in sorted({i.activities for i in timed}, key=sorted):
        longest = max(Decimal(i.hours) for i in timed if i.hours is not None and i.activities == work)
        group = [i for i in timed if i.activities == work and i.hours == longest]
        made.append(_entry(block_id, started_at, Reason.REI, entry_end(ended_at, longest), group, work))
    return made


def _entry(
    block_id: int,
    started_at: datetime,
    reason: Reason,
    ends_at: datetime | None,
    group: Sequence[EntryInterval],
    activities: frozenset[str],
) -> NewClosure:
    hours = group[0].hours
    return NewClosure(
        block_id=block_id,
        kind=Kind.ENTRY,
        reason_code=reason,
        starts_at=started_at,
        ends_at=ends_at,
        activities=activities,
        product_names=_names(i.product for i in group),
        numbers={"hours": f"{hours} h"} if reason is Reason.REI else {},
    )


def _harvest_closure(
    block_id: int, started_at: datetime, ended_at: datetime, waits: Sequence[HarvestWait], zone: ZoneInfo | str
) -> NewClosure:
    missing = [w for w in waits if w.days is None]
    if missing or not waits:
        reason, ends_at, group, numbers = Reason.PHI_MISSING, None, missing, {}
    else:
        longest = max(w.days for w in waits if w.days is not None)
        group = [w for w in waits if w.days == longest]
        reason, ends_at, numbers = Reason.PHI, harvest_opens(ended_at, longest, zone), {"days": f"{longest} d"}
    return NewClosure(
        block_id=block_id,
        kind=Kind.HARVEST,
        reason_code=reason,
        starts_at=started_at,
        ends_at=ends_at,
        product_names=_names(w.product for w in group),
        numbers=numbers,
    )


def _names(products: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for name in products if name))


# --- what may be hung -------------------------------------------------------------------------


def check_hang(new: NewClosure, *, now: datetime) -> list[Finding]:
    """Refusals for a closure whose facts cannot be true: the ground stays as it was."""
    found = []
    if new.ends_at is not None and new.ends_at < new.starts_at:
        found.append(_refuse("ends_before_start", gettext_noop("The end must be after the start."), "ends_at"))
    if new.kind in DONE_KINDS and new.starts_at > now + CLOCKS_DIFFER:
        template = gettext_noop("What has been done cannot start later than now.")
        found.append(_refuse("starts_in_future", template, "starts_at"))
    if new.kind is Kind.PLANNED and new.ends_at is None:
        found.append(_refuse("window_open_ended", gettext_noop("A planned job needs an end of its window."), "ends_at"))
    if new.ends_at is not None and (new.kind not in TIMED_KINDS | {Kind.PLANNED} or new.reason_code in _NO_TIMER):
        template = gettext_noop("Only an interval in hours or days, or a planned window, has an end.")
        found.append(_refuse("end_not_allowed", template, "ends_at"))
    if new.part is not None and new.kind not in TIMED_KINDS:
        template = gettext_noop("Only a signed treatment can be kept to a part of a block.")
        found.append(_refuse("part_not_allowed", template, "part"))
    return found


_NO_TIMER = CONDITIONS | MISSING


# --- what may come down -----------------------------------------------------------------------

_WINDOWS = frozenset({Kind.PLANNED, Kind.ZONE_PLANNED})
_MAY_LIFT: dict[LiftReason, frozenset[Kind]] = {
    LiftReason.CALLED_OFF: _WINDOWS,
    LiftReason.NOT_APPLIED: DONE_KINDS | _WINDOWS,
    LiftReason.STARTED: _WINDOWS,
    LiftReason.FINISHED: frozenset({Kind.PLANNED, Kind.UNDERWAY}),
    LiftReason.SIGNED: frozenset({Kind.PLANNED, Kind.UNDERWAY, Kind.UNCONFIRMED}),
    LiftReason.LENGTHENED: TIMED_KINDS | {Kind.UNCONFIRMED},
    LiftReason.RESIGNED: TIMED_KINDS | {Kind.UNCONFIRMED},
    LiftReason.ATTESTED: frozenset({Kind.ENTRY}),
    LiftReason.SIGN_DOWN: frozenset({Kind.POSTED}),
    LiftReason.ENDED: frozenset({Kind.ZONE, Kind.ZONE_PLANNED}),
    LiftReason.RESHAPED: frozenset(),  # only where ground is split or merged, see following.py
}

_FOLLOWED_BY: dict[LiftReason, Kind] = {
    LiftReason.STARTED: Kind.UNDERWAY,
    LiftReason.FINISHED: Kind.UNCONFIRMED,
    LiftReason.SIGNED: Kind.ENTRY,
    LiftReason.RESIGNED: Kind.ENTRY,
}
"""A reason that only moves a closure on needs its successor hung on the same block."""


def check_lift(closure: Closure, *, reason: LiftReason, now: datetime) -> list[Finding]:
    """Refusals for taking this closure down for this reason.

    A window that has begun cannot simply be called off: it may have been sprayed. A label's
    condition comes down only by attestation, a sign only by taking it down.
    """
    if closure.kind not in _MAY_LIFT[reason]:
        return [_refuse("wrong_reason", gettext_noop("A closure of this kind cannot come down for this reason."))]
    if reason is LiftReason.CALLED_OFF and now >= closure.starts_at:
        template = gettext_noop(
            "The window has begun: the field stays closed until the applicator signs that nothing was applied."
        )
        return [_refuse("window_begun", template)]
    if reason is LiftReason.ATTESTED and closure.reason_code not in CONDITIONS:
        template = gettext_noop("Only a label's condition can be attested; an interval has to run.")
        return [_refuse("no_condition", template)]
    return []


def check_alone(reason: LiftReason) -> list[Finding]:
    """Refusals for taking closures down without anything in their place.

    A step of a job only moves a closure on: lifted alone it would open ground that was sprayed.
    """
    if reason in _STANDS_ALONE:
        return []
    template = gettext_noop("This closure can only be replaced by the next one, not taken down.")
    return [_refuse("needs_successor", template)]


def check_ended(hanging: Collection[str]) -> list[Finding]:
    """Refuses to take an exclusion zone down while what it belongs to is planned or underway."""
    if not {Kind.UNDERWAY, Kind.PLANNED} & set(hanging):
        return []
    return [_refuse("still_spraying", gettext_noop("The exclusion zone stands until the end of spraying is reported."))]


_STANDS_ALONE = frozenset(
    {LiftReason.CALLED_OFF, LiftReason.NOT_APPLIED, LiftReason.ATTESTED, LiftReason.SIGN_DOWN, LiftReason.ENDED}
)
SIGNED_REASONS = frozenset({LiftReason.NOT_APPLIED, LiftReason.SIGNED, LiftReason.RESIGNED})
"""Reasons that rest on an applicator's signature: nobody else can give them."""


def check_replace(old: Sequence[Closure], new: Sequence[NewClosure], *, reason: LiftReason) -> list[Finding]:
    """Refusals when the new closures would leave ground open that the old ones hold closed."""
    if all(any(_takes_over(n, c, reason) for n in new) for c in old):
        return []
    template = gettext_noop("What takes the place of a closure must hold the same ground at least as long.")
    return [_refuse("left_open", template)]


def _takes_over(new: NewClosure, old: Closure, reason: LiftReason) -> bool:
    """Whether ``new`` is what ``reason`` says must follow ``old`` on the same ground."""
    if new.block_id != old.block_id:
        return False
    if reason is LiftReason.LENGTHENED:
        return _holds_as_long(new, old)
    if old.kind is Kind.HARVEST:
        return new.kind is Kind.HARVEST
    if old.kind is Kind.ZONE_PLANNED:
        return reason is LiftReason.STARTED and new.kind is Kind.ZONE
    return new.kind is _FOLLOWED_BY.get(reason)


def _holds_as_long(new: NewClosure, old: Closure) -> bool:
    if new.kind is Kind.UNCONFIRMED:
        return True
    same_work = not new.activities or (bool(old.activities) and old.activities <= new.activities)
    ends_later = new.ends_at is None or (old.ends_at is not None and new.ends_at >= old.ends_at)
    same_ground = new.part is None or new.part == old.part
    return new.kind is old.kind and same_work and ends_later and same_ground


def _refuse(code: str, template: str, field: str = "") -> Finding:
    return Finding(code=code, severity=Severity.REFUSE, template=template, source=_RULE, field=field)
