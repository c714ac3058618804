"""Who is planned where, the next harvest, what keeps a block, and the reminder of a task."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from apps.reminders import services as reminders
from apps.reminders.models import Notice
from apps.work import queries, services
from apps.work.rules import PlannedEntry
from tests.factories.land import BlockFactory
from tests.factories.work import TaskFactory
from tests.work.conftest import HOUR, NOON

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def ana(cast):
    return cast.person(cast.staff)


def test_planned_entries_of_the_asked_blocks_earliest_first(cast, block, ana):
    other, foreign = BlockFactory(farm=cast.farm), BlockFactory(farm=cast.farm)
    late = TaskFactory(farm=cast.farm, block=block, assigned_to=ana, starts_at=NOON + 5 * HOUR, activity="irrigation")
    pick = TaskFactory(farm=cast.farm, block=other, assigned_to=ana, starts_at=NOON + HOUR, activity="picking_by_hand")
    there = TaskFactory(farm=cast.farm, block=block, assigned_to=ana, starts_at=NOON - 30 * HOUR, state="started")
    TaskFactory(farm=cast.farm, block=foreign, assigned_to=ana, starts_at=NOON + HOUR)
    for state in ("done", "called_off"):
        TaskFactory(farm=cast.farm, block=block, assigned_to=ana, starts_at=NOON + HOUR, state=state)
    TaskFactory(farm=cast.farm, block=block, starts_at=NOON - 3 * HOUR, ends_at=NOON - HOUR)
    found = queries.entries_planned([block.pk, other.pk], NOON)
    assert found == [
        entry(there, at=NOON, activity="hand_labor", started=True),
        entry(pick, at=NOON + HOUR, activity="picking_by_hand", is_harvest=True),
        entry(late, at=NOON + 5 * HOUR, activity="irrigation"),
    ]


def entry(task, **facts) -> PlannedEntry:
    given = {"block_id": task.block_id, "task_id": task.pk, "person": "Ana Ruiz", "is_harvest": False, "started": False}
    return PlannedEntry(**{**given, **facts})


def test_planned_entries_cost_one_query_however_many(cast, django_assert_num_queries):
    blocks = BlockFactory.create_batch(3, farm=cast.farm)
    for _ in range(2):
        with django_assert_num_queries(1):
            queries.entries_planned([b.pk for b in blocks], NOON)
        for b in blocks:
            TaskFactory.create_batch(4, farm=cast.farm, block=b, starts_at=NOON + HOUR)


def test_the_next_harvest_of_each_block(cast, block):
    bare = BlockFactory(farm=cast.farm)
    TaskFactory(farm=cast.farm, block=block, starts_at=NOON + HOUR)
    second = TaskFactory(farm=cast.farm, block=block, starts_at=NOON + 3 * HOUR, activity="picking_by_hand")
    TaskFactory(farm=cast.farm, block=block, starts_at=NOON + 9 * HOUR, activity="picking_by_hand")
    found = queries.next_harvest([block.pk, bare.pk], NOON)
    assert {b: e.task_id for b, e in found.items()} == {block.pk: second.pk}


def test_an_open_task_keeps_its_block(cast, block):
    for state in ("planned", "started", "done", "called_off"):
        TaskFactory(farm=cast.farm, block=block, state=state, title=state)
    found = queries.block_guard(block, NOON)
    assert [(f.code, f.severity.value, f.numbers["task"]) for f in found] == [
        ("task_open", "refuse", "planned"),
        ("task_open", "refuse", "started"),
    ]


@pytest.mark.parametrize(
    ("starts_at", "state", "due"),
    [
        (NOON + 2 * HOUR, "planned", True),
        (NOON + 2 * HOUR + MINUTE, "planned", False),
        (NOON - HOUR, "planned", True),
        (NOON - 2 * HOUR, "planned", False),
        (NOON + HOUR, "started", False),
        (NOON + HOUR, "called_off", False),
    ],
    ids=["two hours ahead", "a minute more", "the sweep was late", "long past", "started", "called off"],
)
def test_a_task_is_due_in_the_two_hours_around_its_start(cast, block, ana, starts_at, state, due):
    row = TaskFactory(farm=cast.farm, block=block, assigned_to=ana, starts_at=starts_at, state=state)
    assert [d.subject_id for d in queries.due(cast.farm, NOON)] == ([row.pk] if due else [])


def test_the_sweep_reminds_once_and_again_when_the_time_changes(cast, block, ana, settings):
    settings.REMINDER_SOURCES = ["apps.work.queries.due"]
    row = services.plan_task(
        member=cast.manager, block_id=block.pk, title="Thin the rows", activity="hand_labor",
        assigned_to_id=ana.pk, starts_at=NOON + HOUR, now=NOON - 24 * HOUR,
    )  # fmt: skip
    coming = Notice.objects.for_farm(cast.farm).filter(kind="task_coming").order_by("id")
    for n in range(3):
        reminders.sweep(NOON + n * MINUTE)
    assert list(coming.values_list("occasion", "withdrawn_at")) == [("2026-06-01T13:00Z", None)]
    services.edit_task(
        member=cast.manager, task_id=row.pk, expected_version=1, changes={"starts_at": NOON + 3 * HOUR}, now=NOON
    )
    reminders.sweep(NOON + 90 * MINUTE)
    assert list(coming.values_list("occasion", "withdrawn_at")) == [
        ("2026-06-01T13:00Z", NOON),
        ("2026-06-01T15:00Z", None),
    ]


def test_the_reminder_names_the_hour_also_when_it_comes_twice(cast, block, ana):
    from apps.reminders import letters

    # 15 USC 260a: 1:30 AM comes twice in Chicago on November 1, 2026.
    second = datetime(2026, 11, 1, 7, 30, tzinfo=UTC)
    TaskFactory(farm=cast.farm, block=block, assigned_to=ana, starts_at=second)
    row = queries.due(cast.farm, second - HOUR)
    assert [d.occasion for d in row] == ["2026-11-01T07:30Z"]
    reminders.sweep(second - HOUR)
    notice = Notice.objects.for_farm(cast.farm).get(kind="task_coming")
    assert letters.said(notice, "en") == (
        "Your task “Thin the rows” on block R1 River is planned for Sun, Nov 1, 1:30 AM CST. Ask the board first."
    )


def test_due_costs_one_query(cast, block, django_assert_num_queries):
    TaskFactory.create_batch(5, farm=cast.farm, block=block, starts_at=NOON + HOUR)
    with django_assert_num_queries(1):
        assert len(queries.due(cast.farm, NOON)) == 5
