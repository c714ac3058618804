"""A correction and the field board: later endings at once, earlier ones only with the new signature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from apps.people.queries import Member
from apps.safety import queries as board
from apps.safety import services as safety
from apps.safety.models import Closure
from apps.safety.rules import TIMED_KINDS, Kind, LiftReason, NewClosure
from apps.spraying.amending.rules import later_ends
from apps.spraying.ground import BEFORE_SIGNING, NEXT_DOOR, board_source
from apps.spraying.models import Job

SIGNED_KINDS = (Kind.UNCONFIRMED, *sorted(TIMED_KINDS))


def hanging(job: Job) -> list[Closure]:
    """What hangs for a job now."""
    return list(board.of_source(job.farm, board_source(job)).filter(lifted_at=None))


def lengthen(
    job: Job, closures: Mapping[int, Sequence[NewClosure]], *, member: Member, now: datetime
) -> list[NewClosure]:
    """Hang at once whatever the correction closes longer than what hangs; nothing comes down. What was hung."""
    held = [row.facts for row in hanging(job)]
    wanted = later_ends(held, [closure for hung in closures.values() for closure in hung])
    if wanted:
        safety.hang_closures(farm=job.farm, member=member, source=board_source(job), closures=wanted, now=now)
    return wanted


def close_again(job: Job, closures: Mapping[int, Sequence[NewClosure]], *, member: Member, now: datetime) -> None:
    """Signed again: the corrected closures take the place of all that hung; untreated blocks open by that statement."""
    common = {"farm": job.farm, "member": member, "source": board_source(job), "now": now}
    untreated = [block_id for block_id, hung in closures.items() if not hung]
    if untreated:
        safety.lift_closures(kinds=SIGNED_KINDS, reason=LiftReason.NOT_APPLIED, block_ids=untreated, **common)
    everything = [closure for hung in closures.values() for closure in hung]
    safety.replace_closures(kinds=SIGNED_KINDS, closures=everything, reason=LiftReason.RESIGNED, **common)


def open_all(job: Job, *, member: Member, now: datetime) -> None:
    """Signed that nothing was applied: whatever was ever hung for the job comes down."""
    safety.lift_closures(
        farm=job.farm,
        member=member,
        source=board_source(job),
        kinds=(*BEFORE_SIGNING, *NEXT_DOOR, *TIMED_KINDS),
        reason=LiftReason.NOT_APPLIED,
        now=now,
    )


def latest_end(closures: Sequence[NewClosure], block_id: int) -> tuple[bool, datetime | None]:
    """(whether entry to the block is closed at all, until when; ``None`` = without an end)."""
    mine = [c for c in closures if c.block_id == block_id and c.kind is Kind.ENTRY]
    if any(c.ends_at is None for c in mine):
        return True, None
    return bool(mine), max((c.ends_at for c in mine if c.ends_at is not None), default=None)
