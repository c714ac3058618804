"""The job and the field board: which closure hangs at which step, through the board's own services."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from apps.land import queries as land
from apps.people.queries import Member
from apps.safety import queries as board
from apps.safety import services as safety
from apps.safety.models import Closure
from apps.safety.posting import queries as notices
from apps.safety.posting import services as posting
from apps.safety.rules import (
    EntryInterval,
    Kind,
    LiftReason,
    NewClosure,
    for_finish,
    for_start,
    for_window,
    for_zone,
    for_zone_planned,
)
from apps.safety.rules.notice import Notice, NoticeFact, notice_for
from apps.spraying.around import around, buildings_in, zone_of
from apps.spraying.facts import source_of
from apps.spraying.history import Labels, actual_rate, higher_rate, mix_line, planned_rate, treated_acres
from apps.spraying.models import Job, JobBlock
from apps.spraying.rules import MixLine
from apps.spraying.rules.enclosed import Inside, in_buildings
from apps.spraying.rules.outcome import entry_intervals
from apps.work.queries import entries_planned
from apps.work.rules import PlannedEntry
from farmops.errors import BadInput, Finding, Severity, gettext_noop
from farmops.wording import stamp

BEFORE_SIGNING = (Kind.PLANNED, Kind.UNDERWAY, Kind.UNCONFIRMED)
NEXT_DOOR = (Kind.ZONE_PLANNED, Kind.ZONE)
RIGHTFUL = frozenset({"", LiftReason.LENGTHENED, LiftReason.RESIGNED, LiftReason.ATTESTED, LiftReason.RESHAPED})
"""How a signed closure may have come down, if it has: by a correction, by attesting the label's condition, or
because the ground was split or merged."""


def board_source(job: Job) -> str:
    """What the board knows a job by."""
    return ":".join(source_of(job))


def _ids(job: Job) -> list[int]:
    return [row.block_id for row in job.job_blocks.all()]


def _products(job: Job) -> list[str]:
    return [row.product.name for row in job.job_products.all()]


def _said(job: Job) -> dict[str, Any]:
    """What a closure next door says about the job."""
    names = ", ".join(str(row.block) for row in job.job_blocks.all())
    return {"products": _products(job), "next_to": names}


def zone_ids(job: Job) -> list[int]:
    """The blocks of the zone: those that lie in it now, and those that were told so when the job was assigned."""
    told = board.of_source(job.farm, board_source(job)).filter(kind=Kind.ZONE_PLANNED, lifted_at=None)
    return sorted({b.pk for b in around(job).blocks} | set(told.values_list("block_id", flat=True)))


def lock_blocks(job: Job) -> list[int]:
    """Nobody may start work in the blocks or in the zone between the look and the closure. The ids of the zone."""
    zone = zone_ids(job)
    safety.lock_ground(job.farm, [*_ids(job), *zone])
    return zone


def people_inside(job: Job, zone: Sequence[int], now: datetime) -> list[Finding]:
    """A refusal for each piece of work that has somebody in a block of the job or in its zone now.

    Work that is planned to begin before the spraying is expected to end asks for a reason: the board will hold it.
    """
    ids = _ids(job)
    names = {b.pk: str(b) for b in land.blocks_by_id(job.farm, [*ids, *zone]).values()}
    end_at = max(job.window_ends_at, now)
    found = [
        _inside(entry, names[entry.block_id], entry.block_id in ids)
        for entry in entries_planned([*ids, *zone], now)
        if entry.started
    ]
    return found + [
        _held(entry, names[entry.block_id], job)
        for entry in entries_planned(zone, now)
        if not entry.started and entry.at < end_at
    ]


def buildings_asked(job: Job, said: str) -> list[Finding]:
    """A refusal unless whoever is in closed buildings in the zone may stay there; ``said`` is empty or ``Inside``."""
    if said not in {"", *Inside}:
        raise BadInput({"inside_buildings": gettext_noop("Use nobody, family or others.")})
    return in_buildings(buildings_in(job, zone_of(job)), Inside(said) if said else None)


def _inside(entry: PlannedEntry, name: str, sprayed: bool) -> Finding:
    template = (
        gettext_noop("Somebody is at work in {block} (task {task}). They must leave and finish the task first.")
        if sprayed
        else gettext_noop(
            "Somebody is at work in {block}, in the exclusion zone (task {task}). They must leave and finish the task "
            "first."
        )
    )
    return Finding(
        code="people_in_block" if sprayed else "people_in_zone",
        severity=Severity.REFUSE,
        template=template,
        numbers={"block": name, "task": str(entry.task_id)},
        source="40 CFR 170.405(a)(2)",
        subject=name,
    )


def _held(entry: PlannedEntry, name: str, job: Job) -> Finding:
    template = gettext_noop(
        "Work is planned in {block}, in the exclusion zone, for {at} (task {task}). The board will hold it."
    )
    at = stamp(entry.at, job.farm.time_zone)
    return Finding(
        code="work_in_zone",
        severity=Severity.JUSTIFY,
        template=template,
        numbers={"block": name, "task": str(entry.task_id), "at": at},
        source="40 CFR 170.405(a)(2)",
        subject=name,
    )


def close_for_window(job: Job, *, member: Member, now: datetime) -> None:
    """At assignment: planned, for the whole window; the zone round about is told of it."""
    window = {"starts_at": job.window_starts_at, "ends_at": job.window_ends_at}
    closures = for_window(_ids(job), **window, products=_products(job))
    closures += for_zone_planned([b.pk for b in around(job).blocks], **window, **_said(job))
    safety.hang_closures(farm=job.farm, member=member, source=board_source(job), closures=closures, now=now)


def open_before_window(job: Job, *, member: Member, now: datetime) -> None:
    """Called off before the window: the planned closures come down."""
    safety.lift_closures(
        farm=job.farm,
        member=member,
        source=board_source(job),
        kinds=(Kind.PLANNED, Kind.ZONE_PLANNED),
        reason=LiftReason.CALLED_OFF,
        now=now,
    )
    posting.drop_notice(farm=job.farm, source=board_source(job), now=now)


def close_for_start(job: Job, zone: Sequence[int], *, member: Member, now: datetime) -> None:
    """At the start: underway, without an end, and its exclusion zone."""
    until = {"started_at": now, "window_ends_at": max(job.window_ends_at, now)}
    closures = for_start(_ids(job), **until, products=_products(job)) + for_zone(zone, **until, **_said(job))
    _replace(job, closures, (Kind.PLANNED, Kind.ZONE_PLANNED), LiftReason.STARTED, member, now)


def intervals(job: Job, row: JobBlock, acres: Decimal | None = None) -> tuple[EntryInterval, ...]:
    """Every restricted-entry statement of the mix on one block of the job, at the larger of plan and report."""
    treated = treated_acres(job.job_blocks.all()) if acres is None else acres
    return entry_intervals(_lines(job, row, treated), row.site_code or None, job.spray_gpa)


def notice_needs(job: Job) -> dict[int, Notice]:
    """block id -> the notice workers must get of this application (40 CFR 170.409; label)."""
    double = {
        p.product.name: None if p.label_version is None else Labels().facts(p.label_version).double_notification
        for p in job.job_products.all()
    }
    return {
        row.block_id: notice_for(
            NoticeFact(
                product=i.product,
                hours=None if i.hours is None else Decimal(i.hours),
                double=double.get(i.product),
            )
            for i in intervals(job, row)
        )
        for row in job.job_blocks.all()
    }


def ask_for_notice(job: Job, *, member: Member, now: datetime) -> None:
    """At assignment: which signs and which spoken notice this application asks for, block by block."""
    posting.ask_for_notice(
        farm=job.farm,
        member=member,
        source=board_source(job),
        about=str(job),
        needs=notice_needs(job),
        starts_at=job.window_starts_at,
        now=now,
    )


def signs_missing(job: Job) -> list[Finding]:
    """A refusal for each block where the application asks for a warning sign and none is on record."""
    template = gettext_noop("{block}: this application asks for a warning sign. Record that it is up, then start.")
    return [
        Finding(
            code="sign_missing",
            severity=Severity.REFUSE,
            template=template,
            numbers={"block": str(row.block)},
            source="40 CFR 170.409",
            subject=str(row.block),
        )
        for row in notices.signs_missing(job.farm, board_source(job))
    ]


def close_for_finish(job: Job, *, since: datetime, first: bool, member: Member, now: datetime) -> None:
    """Reported: unconfirmed on every block of the job until it is signed, with the time that is not confirmed yet.

    ``first`` says that nothing was reported before; a correction replaces the report before it.
    """
    acres = treated_acres(job.job_blocks.all())
    closures = [
        closure
        for row in job.job_blocks.all()
        for closure in for_finish(
            [row.block_id],
            started_at=since,
            ended_at=job.ended_at,
            intervals=intervals(job, row, acres),
            disputed=job.disputed,
        )
    ]
    kinds = (Kind.PLANNED, Kind.UNDERWAY) if first else (Kind.UNCONFIRMED,)
    reason = LiftReason.FINISHED if first else LiftReason.LENGTHENED
    _replace(job, closures, kinds, reason, member, now)
    _open_zone(job, member, now)


def _open_zone(job: Job, member: Member, now: datetime) -> None:
    """The zone exists only while spray comes out (40 CFR 170.405(a)): with the end reported it is gone."""
    safety.lift_closures(
        farm=job.farm, member=member, source=board_source(job), kinds=NEXT_DOOR, reason=LiftReason.ENDED, now=now
    )


def _lines(job: Job, row: JobBlock, acres: Decimal) -> list[MixLine]:
    labels, site = Labels(), row.site_code or None
    return [
        mix_line(
            p,
            version=p.label_version,
            rate=higher_rate(planned_rate(p), actual_rate(p, acres), job.spray_gpa),
            labels=labels,
            targets=job.targets,
            site_code=site,
        )
        for p in job.job_products.all()
    ]


def close_for_signature(
    job: Job, closures: Mapping[int, Sequence[NewClosure]], *, member: Member, now: datetime
) -> None:
    """Signed: entry and harvest closures take over; untreated blocks open by that signed statement."""
    untreated = [block_id for block_id, hung in closures.items() if not hung]
    if untreated:
        safety.lift_closures(
            farm=job.farm,
            member=member,
            source=board_source(job),
            kinds=BEFORE_SIGNING,
            reason=LiftReason.NOT_APPLIED,
            block_ids=untreated,
            now=now,
        )
    everything = [closure for hung in closures.values() for closure in hung]
    _replace(job, everything, BEFORE_SIGNING, LiftReason.SIGNED, member, now)


def open_as_not_applied(job: Job, *, member: Member, now: datetime) -> None:
    """Signed that nothing was applied: whatever still hangs for the job comes down."""
    safety.lift_closures(
        farm=job.farm,
        member=member,
        source=board_source(job),
        kinds=BEFORE_SIGNING + NEXT_DOOR,
        reason=LiftReason.NOT_APPLIED,
        now=now,
    )
    posting.drop_notice(farm=job.farm, source=board_source(job), now=now)


def _replace(
    job: Job,
    closures: Sequence[NewClosure],
    kinds: Sequence[Kind],
    reason: LiftReason,
    member: Member,
    now: datetime,
) -> None:
    safety.replace_closures(
        farm=job.farm,
        member=member,
        source=board_source(job),
        kinds=kinds,
        closures=closures,
        reason=reason,
        now=now,
    )


def all_of(job: Job) -> list[Closure]:
    """Every closure ever hung for a job."""
    return list(board.of_source(job.farm, board_source(job)))


def came_down_too_soon(closure: Closure) -> bool:
    """Whether a signed closure was lifted in a way that no rule allows."""
    return closure.lifted_at is not None and closure.lift_reason not in RIGHTFUL
