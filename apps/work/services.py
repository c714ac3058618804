"""Planning, starting, finishing and calling off tasks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.land import queries as land
from apps.people import queries as people
from apps.people import services as people_services
from apps.people.queries import Member
from apps.people.rules import Can
from apps.reminders import services as reminders
from apps.safety.rules import Activity
from apps.safety.seen.rules import How
from apps.safety.seen.services import write_answer
from apps.safety.services import lock_ground
from apps.work import queries, rules
from apps.work.models import Task, TaskStep
from apps.work.rules import State, Step
from farmops.errors import BadInput, NotYourRole, Refused, Said, Unknown, gettext_noop

FACTS = ("block_id", "title", "activity", "is_harvest", "assigned_to_id", "starts_at", "ends_at", "notes")


@transaction.atomic
def plan_task(
    *,
    member: Member,
    block_id: int,
    title: str,
    activity: str,
    assigned_to_id: int,
    starts_at: datetime,
    now: datetime,
    ends_at: datetime | None = None,
    is_harvest: bool = False,
    notes: str = "",
) -> Task:
    """Write down a task for a person on a block and tell that person.

    Times are aware; ``activity`` is a code of ``safety.rules.Activity``. Picking counts as harvest.
    ``BadInput`` names what is not this farm's or cannot be.
    """
    member.require(Can.PLAN_TASKS)
    facts = {
        "block_id": block_id,
        "title": title,
        "activity": activity,
        "is_harvest": rules.is_harvest(activity, is_harvest),
        "assigned_to_id": assigned_to_id,
        "starts_at": starts_at,
        "ends_at": ends_at,
        "notes": notes,
    }
    _check(member, facts, now=now)
    row = Task.objects.add(farm=member.farm, planned_by_id=member.person_id, state=State.PLANNED, **facts)
    _step(row, Step.PLAN, member, now)
    audit.record(farm=member.farm, actor=member, verb="planned", subject=row, now=now, after=facts)
    _tell_assigned(row, member, now)
    return row


def _check(member: Member, facts: Mapping[str, Any], *, now: datetime, old: Task | None = None) -> None:
    """``BadInput`` for facts that are not this farm's or cannot be; what did not change is not asked again."""
    wrong: dict[str, str] = {}
    if old is None or facts["block_id"] != old.block_id:
        wrong |= _check_block(member, facts["block_id"])
    if old is None or facts["assigned_to_id"] != old.assigned_to_id:
        wrong |= _check_person(member, facts["assigned_to_id"])
    if old is None or (facts["starts_at"], facts["ends_at"]) != (old.starts_at, old.ends_at):
        wrong |= rules.check_times(facts["starts_at"], facts["ends_at"], now=now)
    if facts["activity"] not in set(Activity):
        wrong["activity"] = gettext_noop("Choose the kind of work from the list.")
    if not facts["title"].strip():
        wrong["title"] = gettext_noop("Enter what is to be done.")
    if wrong:
        raise BadInput(wrong)


def _check_block(member: Member, block_id: int) -> dict[str, str]:
    try:
        archived = land.block(member.farm, block_id).archived
    except Unknown:
        return {"block_id": gettext_noop("There is no such block on this farm.")}
    return {"block_id": gettext_noop("This block is no longer in use.")} if archived else {}


def _check_person(member: Member, person_id: int) -> dict[str, str]:
    try:
        people.active_member_for_person(member.farm, person_id)
    except Unknown:
        return {"assigned_to_id": gettext_noop("Nobody with that number works on this farm.")}
    return {}


@transaction.atomic
def edit_task(
    *, member: Member, task_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> Task:
    """Change a planned task. The person is told again when it is another person, block or time."""
    row = _locked(member, task_id, Step.EDIT)
    rules.after(row.state, Step.EDIT)
    facts = {name: changes.get(name, getattr(row, name)) for name in FACTS}
    facts["is_harvest"] = rules.is_harvest(facts["activity"], facts["is_harvest"])
    _check(member, facts, now=now, old=row)
    was = {name: getattr(row, name) for name in FACTS}
    saved: Task = people_services.save_changes(
        row, member=member, expected_version=expected_version, changes=facts, now=now
    )
    saved = queries.task(member.farm, saved.pk)
    changed = {name for name in FACTS if was[name] != facts[name]}
    if changed:
        _step(saved, Step.EDIT, member, now)
    if changed & {"block_id", "assigned_to_id", "starts_at"}:
        _withdraw(saved, now)
        _tell_assigned(saved, member, now)
    if "assigned_to_id" in changed:
        _tell_no_longer(saved, was["assigned_to_id"], member, now)
    return saved


@transaction.atomic
def start_task(*, member: Member, task_id: int, now: datetime) -> Task:
    """Begin a task: only while the board says yes for its work, and for a harvest also yes to picking.

    On ground treated or closed within 30 days its person must have the worker training (40 CFR 170.401).

    ``Refused`` carries the board's reasons; nobody can override it. What the board said is kept
    in the task's history.
    """
    row = _locked(member, task_id, Step.START)
    to = rules.after(row.state, Step.START)
    lock_ground(member.farm, [row.block_id])  # so that no closure is hung between the answer and the start
    standing = queries.standing(row, now=now)
    said = rules.findings(standing, block=str(row.block), zone=row.farm.time_zone)
    if not standing.may_start:
        raise Refused(said)
    if untrained := queries.training_needed(row, now=now):
        raise Refused(untrained)
    board = {
        "answer": standing.word.value,
        "as_of": now.isoformat(),
        "good_until": standing.good_until.isoformat(),
        "findings": [finding.as_json() for finding in said],
    }
    write_answer(
        row.assigned_to_id,
        row.block,
        standing.entry,
        activity=row.activity,
        rest=False,
        how=How.TASK,
        now=now,
        until=rules.expected_end(max(row.starts_at, now), row.ends_at),
    )
    return _move(row, Step.START, to, member, now, board=board, started_at=now)


@transaction.atomic
def finish_task(*, member: Member, task_id: int, note: str = "", now: datetime) -> Task:
    """Say that the work is done and the ground is left."""
    row = _locked(member, task_id, Step.FINISH)
    return _move(row, Step.FINISH, rules.after(row.state, Step.FINISH), member, now, note=note, closed_at=now)


@transaction.atomic
def call_off_task(*, member: Member, task_id: int, reason: str, now: datetime) -> Task:
    """Call a task off, with the reason; its person is told."""
    row = _locked(member, task_id, Step.CALL_OFF)
    to = rules.after(row.state, Step.CALL_OFF)
    if not reason.strip():
        raise BadInput({"reason": gettext_noop("Enter why the task is called off.")})
    _move(row, Step.CALL_OFF, to, member, now, note=reason, closed_at=now)
    if row.assigned_to_id != member.person_id:
        _tell(
            row,
            rules.CALLED_OFF,
            "called off",
            row.assigned_to_id,
            gettext_noop("Your task “{task}” on block {block} is called off: {reason}"),
            now,
            reason=reason,
        )
    return row


def _locked(member: Member, task_id: int, step: Step) -> Task:
    """The task, locked, if this member may take ``step`` on it."""
    found = queries.tasks(member.farm).select_for_update(of=("self",)).filter(pk=task_id)
    row = people.one(found)
    own = row.assigned_to_id == member.person_id
    needed = rules.capability(step, own=own)
    if not member.can(needed) and not own and member.can(rules.capability(step, own=True)):
        raise NotYourRole(
            Said(
                gettext_noop("This is the task of {who}. Only they or a manager can do this."),
                who=row.assigned_to.full_name,
            )
        )
    member.require(needed)
    return row


def _move(
    row: Task, step: Step, to: State, member: Member, now: datetime, *, note: str = "", board: Any = None, **values: Any
) -> Task:
    before = {"state": row.state}
    for name, value in {"state": to, **values}.items():
        setattr(row, name, value)
    row.version += 1
    row.save(update_fields=["state", "version", *values])
    _step(row, step, member, now, note=note, board=board)
    _withdraw(row, now)
    audit.record(
        farm=row.farm, actor=member, verb=step.value, subject=row, now=now, before=before,
        after={"state": to, "note": note},
    )  # fmt: skip
    return row


def _step(row: Task, step: Step, member: Member, now: datetime, *, note: str = "", board: Any = None) -> None:
    TaskStep.objects.add(
        farm=row.farm,
        task=row,
        step=step,
        to_state=row.state,
        at=now,
        by_id=member.person_id,
        by_name=member.name,
        note=note,
        board=board or {},
    )


def _withdraw(row: Task, now: datetime) -> None:
    """What was said about the task before is no longer true."""
    for kind in (rules.ASSIGNED, rules.COMING_UP):
        reminders.withdraw(farm=row.farm, kind=kind, subject=("task", row.pk), now=now)


def _tell_assigned(row: Task, member: Member, now: datetime) -> None:
    if row.assigned_to_id != member.person_id:
        words = gettext_noop("New task for you: “{task}” on block {block}, planned for {starts_at}.")
        _tell(row, rules.ASSIGNED, f"version {row.version}", row.assigned_to_id, words, now)


def _tell_no_longer(row: Task, person_id: int, member: Member, now: datetime) -> None:
    if person_id != member.person_id:
        words = gettext_noop("The task “{task}” on block {block} is no longer yours.")
        _tell(row, rules.CALLED_OFF, f"version {row.version}", person_id, words, now)


def _tell(row: Task, kind: str, occasion: str, person_id: int, template: str, now: datetime, **numbers: str) -> None:
    reminders.tell(
        farm=row.farm,
        kind=kind,
        subject=("task", row.pk),
        occasion=occasion,
        to=[person_id],
        template=template,
        numbers={"task": row.title, "block": str(row.block), "starts_at": row.starts_at, **numbers},
        path=f"/f/{row.farm.slug}/tasks/{row.pk}/",
        at=row.starts_at if kind == rules.ASSIGNED else None,
        until=row.ends_at if kind == rules.ASSIGNED else None,
        now=now,
    )
