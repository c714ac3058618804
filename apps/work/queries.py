"""Reading tasks, and what the field board says about them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import one
from apps.reminders.rules import Due
from apps.safety import queries as board
from apps.safety.rules import Activity
from apps.safety.treated import last_restricted
from apps.training.queries import credentials
from apps.training.rules import LOOK_BACK_DAYS, Credentials, worker_findings
from apps.work import rules
from apps.work.models import Task, TaskStep
from apps.work.rules import OPEN, PlannedEntry, Standing, State
from farmops import clock
from farmops.errors import Finding, Severity, gettext_noop


def tasks(farm: Farm) -> QuerySet[Task]:
    """Every task of the farm, by planned time."""
    found = Task.objects.for_farm(farm).select_related("farm", "block", "assigned_to", "planned_by")
    return found.order_by("starts_at", "pk")


def task(farm: Farm, task_id: int) -> Task:
    """One task, or ``Unknown``."""
    return one(tasks(farm).filter(pk=task_id))


def open_tasks(farm: Farm) -> QuerySet[Task]:
    """Planned and started tasks."""
    return tasks(farm).filter(state__in=OPEN)


def tasks_of(farm: Farm, person_id: int) -> QuerySet[Task]:
    """One person's open tasks."""
    return open_tasks(farm).filter(assigned_to_id=person_id)


def closed_since(farm: Farm, since: datetime) -> QuerySet[Task]:
    """Tasks done or called off from ``since`` on, newest first."""
    return tasks(farm).exclude(state__in=OPEN).filter(closed_at__gte=since).order_by("-closed_at", "-pk")


def steps(row: Task) -> QuerySet[TaskStep]:
    """What was done with a task, oldest first."""
    return TaskStep.objects.for_farm(row.farm).filter(task=row).order_by("pk")


def standing(row: Task, *, now: datetime) -> Standing:
    """What the board says now about entering the task's block for its work, and for a harvest about picking.

    One query for each of the two questions.
    """
    asked = {"activity": row.activity, "at": now, "now": now}
    return Standing(
        entry=board.entry_answer(row.block, **asked),
        harvest=board.harvest_answer(row.block, **asked) if row.is_harvest else None,
    )


def training_needed(row: Task, *, now: datetime) -> list[Finding]:
    """The worker training the task's person lacks for ground treated or closed within 30 days (40 CFR 170.401).

    Judged for the day it is planned, or today when that is past. Owners and their immediate family are spared it
    (40 CFR 170.601(a)), certified applicators and trained handlers need no other.
    """
    at = max(row.starts_at, now) if row.state == State.PLANNED else now
    seen = last_restricted(row.block, at, within=timedelta(days=LOOK_BACK_DAYS + 1))
    who = credentials(row.farm, [row.assigned_to_id]).get(row.assigned_to_id) if seen else None
    if seen is None or (who is not None and who.family):
        return []
    who = who or Credentials(person_id=row.assigned_to_id, name=row.assigned_to.full_name, born_on=None)
    zone = row.farm.time_zone
    return worker_findings(
        who,
        clock.to_local(at, zone).date(),
        row.farm.jurisdiction,
        last_restricted_on=clock.to_local(seen, zone).date(),
    )


def entries_planned(block_ids: Collection[int], from_at: datetime) -> list[PlannedEntry]:
    """Who is going to be in these blocks at ``from_at`` or later, earliest first. One query.

    A started task counts until it is finished. A planned one counts until its end has passed
    (12 hours after its start when it has none).
    """
    return [
        PlannedEntry(
            block_id=row.block_id,
            at=max(row.starts_at, from_at),
            activity=Activity(row.activity),
            is_harvest=row.is_harvest,
            task_id=row.pk,
            started=row.state == State.STARTED,
            person=row.assigned_to.full_name,
        )
        for row in sorted(_ahead(block_ids, from_at), key=lambda t: (max(t.starts_at, from_at), t.pk))
    ]


def _ahead(block_ids: Collection[int], from_at: datetime) -> list[Task]:
    """The open tasks that may put somebody into these blocks from ``from_at`` on."""
    earliest = from_at - max(rules.LONGEST, rules.OPEN_ENDED)
    maybe = Q(state=State.STARTED) | Q(state=State.PLANNED, starts_at__gt=earliest)
    # Asked by block, and a block belongs to one farm: the caller has read the blocks through it.
    found = Task.rows.filter(maybe, block_id__in=block_ids).select_related("assigned_to")
    return [t for t in found if rules.still_ahead(t.state, t.starts_at, t.ends_at, from_at)]


def next_harvest(block_ids: Collection[int], from_at: datetime) -> dict[int, PlannedEntry]:
    """The earliest planned harvest in each of these blocks that has one. One query."""
    found: dict[int, PlannedEntry] = {}
    for entry in entries_planned(block_ids, from_at):
        if entry.is_harvest:
            found.setdefault(entry.block_id, entry)
    return found


def block_guard(block: Block, now: datetime) -> list[Finding]:
    """What work has against archiving a block or moving its outline: open tasks on it."""
    return [
        Finding(
            code="task_open",
            severity=Severity.REFUSE,
            template=gettext_noop("The task “{task}” on this block is still open. Finish it or call it off first."),
            numbers={"task": row.title},
            source="project rule",
        )
        for row in open_tasks(block.farm).filter(block=block)
    ]


def next_due(farm: Farm, now: datetime) -> datetime | None:
    """When time alone may change ``due``: a planned task comes within two hours, or is two hours past. One query."""
    planned = tasks(farm).filter(state=State.PLANNED, starts_at__gt=now - rules.COMING).order_by("starts_at")
    starts = planned.values_list("starts_at", flat=True)
    return min(
        (at for start in starts for at in (start - rules.COMING, start + rules.COMING) if at > now), default=None
    )


def due(farm: Farm, now: datetime) -> Sequence[Due]:
    """Tasks that begin within two hours (or should have, while no sweep ran), for their person. One query."""
    soon = tasks(farm).filter(state=State.PLANNED, starts_at__gt=now - rules.COMING, starts_at__lte=now + rules.COMING)
    return [coming(row) for row in soon]


def coming(row: Task) -> Due:
    """The reminder of a task. A new planned time is a new occasion."""
    return Due(
        kind=rules.COMING_UP,
        subject_type="task",
        subject_id=row.pk,
        occasion=f"{row.starts_at:%Y-%m-%dT%H:%MZ}",
        person_ids=[row.assigned_to_id],
        template=gettext_noop("Your task “{task}” on block {block} is planned for {starts_at}. Ask the board first."),
        numbers={"task": row.title, "block": str(row.block), "starts_at": row.starts_at},
        path=f"/f/{row.farm.slug}/tasks/{row.pk}/",
        at=row.starts_at,
        until=row.ends_at,
    )
