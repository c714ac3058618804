"""What is done with season programs: written down, changed, put away, decided on, turned into jobs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.people.services import save_changes
from apps.spraying.models import Job, Program, ProgramBlock, ProgramDecision, ProgramPass, ProgramProduct
from apps.spraying.programs import queries
from apps.spraying.programs.inputs import ProgramPlan
from apps.spraying.programs.queries import Followed
from apps.spraying.programs.rules import Choice, Course, EndReason, Window
from apps.spraying.services import plan_job
from farmops import clock
from farmops.errors import BadInput, Finding, Refused, Severity, Stale, Unknown, gettext_noop, one_of

PLAIN = (
    "name",
    "targets",
    "start_kind",
    "start_on",
    "start_days",
    "start_stage",
    "start_threshold",
    "reckoned_on",
    "from_days",
    "to_days",
    "last_on",
    "repeats",
    "rain_inches",
    "stop_days",
    "spray_gpa",
    "notes",
)
PROJECT = "project rule"


@transaction.atomic
def set_up_program(
    *,
    member: Member,
    values: Mapping[str, Any],
    blocks: Sequence[int],
    passes: Sequence[Sequence[Mapping[str, Any]]],
    now: datetime,
) -> Program:
    """Write a season program down. ``passes``: for each pass its product lines, as in ``plan_job``.

    ``values``: the columns of ``Program`` and ``crop_id``. Raises ``BadInput`` naming each field.
    """
    member.require(Can.PLAN_JOBS)
    plan = ProgramPlan(member.farm, now).read_program(values, blocks, passes)
    columns = {name: value for name, value in plan.values.items() if name != "rain_inches" or value is not None}
    row = Program.objects.add(
        farm=member.farm,
        created_at=now,
        created_by_id=member.person_id,
        set_up_on=clock.to_local(now, member.farm.time_zone).date(),
        **columns,
    )
    _write(row, plan)
    fresh = queries.program(member.farm, row.pk)
    audit.record(farm=member.farm, actor=member, verb="set up", subject=fresh, now=now, after=summary(fresh))
    return fresh


@transaction.atomic
def change_program(
    *, member: Member, program_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> Program:
    """Change a program; ``changes`` holds any inputs of ``set_up_program`` (values flat, ``blocks``, ``passes``).

    What was sprayed and decided stays; windows are reckoned anew from it. Decisions on a block taken out are kept.
    """
    member.require(Can.PLAN_JOBS)
    row = _locked(member, program_id)
    before = summary(row)
    values = {**{name: getattr(row, name) for name in PLAIN}, "crop_id": row.crop_id}
    plan = ProgramPlan(member.farm, now).read_program(
        {**values, **changes}, changes.get("blocks", block_ids(row)), changes.get("passes", pass_lines(row))
    )
    if row.version != expected_version:
        raise Stale()
    columns = {name: value for name, value in plan.values.items() if name != "rain_inches" or value is not None}
    for name, value in columns.items():
        setattr(row, name, value)
    row.version += 1
    row.save(update_fields=[*columns, "version"])
    ProgramBlock.objects.for_farm(row.farm).filter(program=row).delete()
    ProgramPass.objects.for_farm(row.farm).filter(program=row).delete()
    _write(row, plan)
    fresh = queries.program(member.farm, row.pk)
    audit.record(
        farm=row.farm, actor=member, verb="changed", subject=fresh, now=now, before=before, after=summary(fresh)
    )
    return fresh


@transaction.atomic
def put_program_away(*, member: Member, program_id: int, expected_version: int, now: datetime) -> Program:
    """Follow a program no longer; it stays to be read, with everything decided."""
    member.require(Can.PLAN_JOBS)
    row = _locked(member, program_id)
    saved: Program = save_changes(
        row, member=member, expected_version=expected_version, changes={"put_away_at": now}, now=now
    )
    return saved


@transaction.atomic
def decide(
    *, member: Member, program_id: int, block_ids: Sequence[int], choice: str, reason: str, now: datetime
) -> list[ProgramDecision]:
    """Decide about a program on some of its blocks: start, continue, respray, skip, end, resume; always with a reason.

    All blocks or none. Raises ``Refused`` where there is nothing to decide so, ``BadInput`` without a reason.
    """
    member.require(Can.PLAN_JOBS)
    row = _locked(member, program_id)
    if row.put_away_at is not None:
        raise Unknown()
    wanted = {f.block.pk: f for f in queries.followed(row.farm, now, [row])}
    said = reason.strip()
    errors: dict[str, str] = {}
    if choice not in set(Choice):
        errors["choice"] = one_of(Choice)
    if not said:
        errors["reason"] = gettext_noop("Write down why.")
    if not block_ids or any(pk not in wanted for pk in block_ids):
        errors["blocks"] = gettext_noop("Choose blocks of this program.")
    if errors:
        raise BadInput(errors)
    chosen = [wanted[pk] for pk in dict.fromkeys(block_ids)]
    found = [f for c in chosen for f in _against(c, Choice(choice))]
    if found:
        raise Refused(found)
    return [_decided(member, f, Choice(choice), said[:2000], now) for f in chosen]


def _decided(member: Member, f: Followed, choice: Choice, reason: str, now: datetime) -> ProgramDecision:
    made = ProgramDecision.objects.add(
        farm=member.farm,
        program=f.program,
        block=f.block,
        choice=choice.value,
        decided_on=clock.to_local(now, member.farm.time_zone).date(),
        decided_at=now,
        decided_by_id=member.person_id,
        reason=reason,
        said=stand(f.course),
    )
    after = {"program": f.program.name, "block": str(f.block), "choice": choice.value, "reason": reason}
    audit.record(farm=member.farm, actor=member, verb="decided", subject=made, now=now, after=after)
    return made


def possible(f: Followed, choice: Choice) -> bool:
    """Whether this can be decided about a block now."""
    course = f.course
    sprayed = any(w.spray is not None for w in course.behind)
    decided_end = course.end is not None and course.end.reason is EndReason.DECIDED
    fits = {
        Choice.START: f.stands and not course.begun and course.end is None,
        Choice.CONTINUE: bool(course.open_asks),
        Choice.RESPRAY: sprayed and not decided_end,
        Choice.SKIP: course.next is not None and not course.next.reckoned,
        Choice.END: not decided_end,
        Choice.RESUME: decided_end or (course.end is not None and course.end.reason is EndReason.NOT_PAYING),
    }
    return fits[choice]


def _against(f: Followed, choice: Choice) -> list[Finding]:
    """Why this cannot be decided now, if so."""
    if possible(f, choice):
        return []
    return [
        Finding(
            code=f"cannot_{choice.value}",
            severity=Severity.REFUSE,
            template=_NOTHING[choice],
            numbers={"block": str(f.block)},
            source=PROJECT,
            field="choice",
        )
    ]


_NOTHING = {
    Choice.START: gettext_noop("{block}: the program has begun or ended there, or its crop does not stand there."),
    Choice.CONTINUE: gettext_noop("{block}: no rain asks for a decision."),
    Choice.RESPRAY: gettext_noop("{block}: there is no spray of the program to repeat."),
    Choice.SKIP: gettext_noop("{block}: no window waits that could be skipped."),
    Choice.END: gettext_noop("{block}: it was ended already."),
    Choice.RESUME: gettext_noop("{block}: it was not ended by a decision or by the harvest being near."),
}


def plan_window_job(*, member: Member, program_id: int, block_ids: Sequence[int], now: datetime, **values: Any) -> Job:
    """Plan the job of the next window in one step: blocks, targets and mix are the program's.

    All ``block_ids`` must wait for the same pass. ``values``: what else ``plan_job`` takes (window, sprayer, people …).
    """
    member.require(Can.PLAN_JOBS)
    row = queries.program(member.farm, program_id)
    found = {f.block.pk: f for f in queries.followed(row.farm, now, [row])}
    waiting = {found[pk].course.next.pass_no for pk in block_ids if pk in found and found[pk].course.next is not None}  # type: ignore[union-attr]
    if len(waiting) != 1 or any(pk not in found or found[pk].course.next is None for pk in block_ids):
        raise BadInput({"blocks": gettext_noop("Choose blocks that wait for the same pass.")})
    return plan_job(member=member, now=now, **{**job_values(row, waiting.pop(), block_ids), **values})


def job_values(row: Program, pass_no: int, block_ids: Sequence[int]) -> dict[str, Any]:
    """What ``plan_job`` needs for a pass on some blocks, as far as the program knows it."""
    mix = queries.mix_of(row, pass_no)
    return {
        "blocks": [{"block_id": pk} for pk in block_ids],
        "products": lines_of(mix) if mix else [],
        "targets": row.targets,
        "spray_gpa": row.spray_gpa,
    }


def stand(course: Course) -> dict[str, Any]:
    """Where a program stands, as text for the trail."""
    return {
        "next": _window(course.next),
        "end": course.end.reason.value if course.end else None,
        "asks": [f"{a.kind.value} {a.inches} in after {a.spray.job_ref}" for a in course.open_asks],
    }


def _window(window: Window | None) -> str | None:
    return f"pass {window.pass_no}, {window.opens_on} to {window.closes_on}" if window else None


def _locked(member: Member, program_id: int) -> Program:
    one(Program.objects.for_farm(member.farm).select_for_update().filter(pk=program_id))
    return queries.program(member.farm, program_id)


def _write(row: Program, plan: ProgramPlan) -> None:
    for line in plan.blocks:
        ProgramBlock.objects.add(farm=row.farm, program=row, block=line["block"])
    for position, mix in enumerate(plan.mixes, start=1):
        made = ProgramPass.objects.add(farm=row.farm, program=row, position=position)
        for number, line in enumerate(mix, start=1):
            ProgramProduct.objects.add(farm=row.farm, program_pass=made, position=number, **line)


def block_ids(row: Program) -> list[int]:
    return [b.block_id for b in row.program_blocks.all()]


def lines_of(mix: ProgramPass) -> list[dict[str, Any]]:
    """A mix as product lines of a plan."""
    keys = ("product_id", "rate_amount", "rate_unit", "rate_basis")
    return [{key: getattr(p, key) for key in keys} for p in mix.products.all()]


def pass_lines(row: Program) -> list[list[dict[str, Any]]]:
    return [lines_of(mix) for mix in row.passes.all()]


def summary(row: Program) -> dict[str, Any]:
    """The program in a form the trail can hold."""
    return {
        **{name: getattr(row, name) for name in PLAIN},
        "crop": row.crop.name,
        "blocks": [str(b.block) for b in row.program_blocks.all()],
        "passes": [
            " + ".join(
                f"{p.product} {p.rate_amount.normalize():f} {p.rate_unit} {p.rate_basis}" for p in m.products.all()
            )
            for m in row.passes.all()
        ],
    }
