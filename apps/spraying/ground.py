"""The job and the field board: which closure hangs at which step, through the board's own services."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal

from apps.people.queries import Member
from apps.safety import queries as board
from apps.safety import services as safety
from apps.safety.models import Closure
from apps.safety.rules import Kind, LiftReason, NewClosure, for_finish, for_start, for_window
from apps.spraying.facts import source_of
from apps.spraying.history import Labels, actual_rate, higher_rate, mix_line, planned_rate, treated_acres
from apps.spraying.models import Job, JobBlock
from apps.spraying.rules import MixLine
from apps.spraying.rules.outcome import entry_intervals
from apps.work.queries import entries_planned
from farmops.errors import Finding, Severity, gettext_noop

BEFORE_SIGNING = (Kind.PLANNED, Kind.UNDERWAY, Kind.UNCONFIRMED)
RIGHTFUL = frozenset({"", LiftReason.LENGTHENED, LiftReason.RESIGNED, LiftReason.ATTESTED})
"""How a signed closure may have come down, if it has: by a correction, or by attesting the label's condition."""


def board_source(job: Job) -> str:
    """What the board knows a job by."""
    return ":".join(source_of(job))


def _ids(job: Job) -> list[int]:
    return [row.block_id for row in job.job_blocks.all()]


def _products(job: Job) -> list[str]:
    return [row.product.name for row in job.job_products.all()]


def lock_blocks(job: Job) -> None:
    """Nobody may start work in the blocks between the look and the closure."""
    safety.lock_ground(job.farm, _ids(job))


def people_inside(job: Job, now: datetime) -> list[Finding]:
    """A refusal for each piece of work that has somebody in a block now."""
    names = {row.block_id: str(row.block) for row in job.job_blocks.all()}
    template = gettext_noop("Somebody is at work in {block} (task {task}). They must leave and finish the task first.")
    return [
        Finding(
            code="people_in_block",
            severity=Severity.REFUSE,
            template=template,
            numbers={"block": names[entry.block_id], "task": str(entry.task_id)},
            source="40 CFR 170.405(a)(2)",
            subject=names[entry.block_id],
        )
        for entry in entries_planned(_ids(job), now)
        if entry.started
    ]


def close_for_window(job: Job, *, member: Member, now: datetime) -> None:
    """At assignment: planned, for the whole window."""
    closures = for_window(
        _ids(job), starts_at=job.window_starts_at, ends_at=job.window_ends_at, products=_products(job)
    )
    safety.hang_closures(farm=job.farm, member=member, source=board_source(job), closures=closures, now=now)


def open_before_window(job: Job, *, member: Member, now: datetime) -> None:
    """Called off before the window: the planned closures come down."""
    safety.lift_closures(
        farm=job.farm,
        member=member,
        source=board_source(job),
        kinds=(Kind.PLANNED,),
        reason=LiftReason.CALLED_OFF,
        now=now,
    )


def close_for_start(job: Job, *, member: Member, now: datetime) -> None:
    """At the start: underway, without an end."""
    closures = for_start(
        _ids(job), started_at=now, window_ends_at=max(job.window_ends_at, now), products=_products(job)
    )
    _replace(job, closures, (Kind.PLANNED,), LiftReason.STARTED, member, now)


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
            intervals=entry_intervals(_lines(job, row, acres), row.site_code or None, job.spray_gpa),
            disputed=job.disputed,
        )
    ]
    kinds = (Kind.PLANNED, Kind.UNDERWAY) if first else (Kind.UNCONFIRMED,)
    reason = LiftReason.FINISHED if first else LiftReason.LENGTHENED
    _replace(job, closures, kinds, reason, member, now)


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
        kinds=BEFORE_SIGNING,
        reason=LiftReason.NOT_APPLIED,
        now=now,
    )


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
