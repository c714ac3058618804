"""Planning, starting, finishing and calling off: what is written, who hears of it, what the board forbids."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from apps.audit import queries as audit
from apps.people.models import Membership
from apps.reminders.models import Notice
from apps.work import queries, services
from apps.work.models import Task, TaskStep
from farmops.errors import BadInput, NotYourRole, Refused, Stale, Unknown
from tests.factories.land import BlockFactory
from tests.factories.training import TrainingFactory
from tests.factories.work import TaskFactory
from tests.work.conftest import HOUR, NOON

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


def plan(cast, block, **more) -> Task:
    given = {
        "member": cast.manager,
        "block_id": block.pk,
        "title": "Thin the rows",
        "activity": "hand_labor",
        "assigned_to_id": cast.staff.person_id,
        "starts_at": NOON + HOUR,
        "now": NOON,
    }
    return services.plan_task(**{**given, **more})


def told(farm) -> list[tuple[str, str, str]]:
    rows = Notice.objects.for_farm(farm).filter(withdrawn_at=None).order_by("id")
    return list(rows.values_list("person__username", "kind", "occasion"))


def history(task: Task) -> list[tuple[str, str, str]]:
    return list(queries.steps(task).values_list("step", "to_state", "by_name"))


def test_planning_writes_the_task_its_history_the_trail_and_one_notice(cast, block):
    row = plan(cast, block, notes="Two hands to a row")
    assert (row.state, row.version, row.is_harvest, row.notes) == ("planned", 1, False, "Two hands to a row")
    assert history(row) == [("plan", "planned", "Ines Prado")]
    assert told(cast.farm) == [("ana", "task_assigned", "version 1")]
    assert audit.events(cast.farm.pk)[0].verb == "planned"


def test_nobody_is_told_of_a_task_they_gave_themselves(cast, block):
    plan(cast, block, assigned_to_id=cast.manager.person_id)
    assert told(cast.farm) == []


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_only_managers_plan(cast, block, role):
    with pytest.raises(NotYourRole, match="manager"):
        plan(cast, block, member=cast.by_role(role))
    assert Task.objects.for_farm(cast.farm).count() == 0


def test_picking_by_hand_becomes_harvest_unasked(cast, block):
    assert plan(cast, block, activity="picking_by_hand").is_harvest is True


def test_what_is_not_this_farms_or_cannot_be_is_named_all_at_once(cast, block):
    foreign = BlockFactory(farm=cast.other_farm)
    with pytest.raises(BadInput) as caught:
        plan(
            cast,
            block,
            block_id=foreign.pk,
            assigned_to_id=cast.neighbour.person_id,
            activity="flying",
            title="  ",
            starts_at=NOON - 2 * HOUR,
            ends_at=NOON - 3 * HOUR,
        )
    assert caught.value.errors == {
        "block_id": ["There is no such block on this farm."],
        "assigned_to_id": ["Nobody with that number works on this farm."],
        "starts_at": ["The start must be now or later."],
        "ends_at": ["The end must be after the start."],
        "activity": ["Choose the kind of work from the list."],
        "title": ["Enter what is to be done."],
    }
    assert (Task.rows.count(), TaskStep.rows.count(), Notice.rows.count()) == (0, 0, 0)


def test_a_person_who_left_and_a_block_out_of_use_are_named(cast, block):
    Membership.objects.for_farm(cast.farm).filter(person_id=cast.staff.person_id).update(active=False)
    block.archived_at = NOON
    block.save()
    with pytest.raises(BadInput) as caught:
        plan(cast, block)
    assert caught.value.errors == {
        "block_id": ["This block is no longer in use."],
        "assigned_to_id": ["Nobody with that number works on this farm."],
    }


# ---- starting --------------------------------------------------------------------------

# (kind, reason, ends after noon in hours or None) hung on the block -> codes of the refusal; None = it may start.
BOARD = [
    pytest.param([], "hand_labor", None, id="nothing hung"),
    pytest.param([("entry", "rei", 1)], "hand_labor", ["board_no", "entry_interval"], id="interval runs"),
    pytest.param([("entry", "rei", 0)], "hand_labor", None, id="interval ended this minute"),
    pytest.param([("entry", "rei_missing", None)], "hand_labor", ["board_unknown", "rei_missing"], id="REI unknown"),
    pytest.param([("underway", "spraying", None)], "hand_labor", ["board_no", "spraying_now"], id="spraying now"),
    pytest.param([("unconfirmed", "unsigned", None)], "hand_labor", ["board_unknown", "unsigned"], id="not signed"),
    pytest.param([("planned", "window", 1)], "hand_labor", ["board_no", "planned_now"], id="in a job's window"),
    pytest.param(
        [("planned", "window", -0.5)], "hand_labor", ["board_unknown", "planned_unreported"], id="window unreported"
    ),
    pytest.param([("posted", "sign", None)], "hand_labor", ["board_no", "sign_up"], id="sign still up"),
    pytest.param([("harvest", "phi", 48)], "hand_labor", None, id="only harvest waits, and this is none"),
    pytest.param([("harvest", "phi", 48)], "picking_by_hand", ["board_no", "harvest_interval"], id="harvest waits"),
    pytest.param(
        [("harvest", "phi_missing", None)], "picking_by_hand", ["board_unknown", "phi_missing"], id="PHI unknown"
    ),
    pytest.param([("harvest", "phi", 0)], "picking_by_hand", None, id="harvest wait is over"),
    pytest.param(
        [("entry", "rei", 1), ("harvest", "phi", 48)],
        "picking_by_hand",
        ["board_no", "entry_interval", "harvest_interval"],
        id="both run",
    ),
]


@pytest.mark.parametrize(("hung", "activity", "codes"), BOARD)
def test_a_task_starts_only_on_the_boards_yes(cast, block, hang, hung, activity, codes):
    TrainingFactory(farm=cast.farm, person_id=cast.staff.person_id, kind="worker", trained_on=date(2026, 2, 1))
    for kind, reason, hours in hung:
        hang(kind, reason, ends_at=None if hours is None else NOON + hours * HOUR)
    row = TaskFactory(farm=cast.farm, block=block, activity=activity, assigned_to_id=cast.staff.person_id)
    if codes is None:
        started = services.start_task(member=cast.staff, task_id=row.pk, now=NOON)
        assert (started.state, started.started_at, started.version) == ("started", NOON, 2)
        return
    for member in (cast.staff, cast.manager):  # a manager cannot override
        with pytest.raises(Refused) as caught:
            services.start_task(member=member, task_id=row.pk, now=NOON)
        assert [f.code for f in caught.value.findings] == codes
    row.refresh_from_db()
    assert (row.state, row.started_at, history(row)) == ("planned", None, [])


def test_a_block_out_of_use_is_unknown_and_nobody_starts(cast, block):
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id)
    block.archived_at = NOON
    block.save()
    with pytest.raises(Refused) as caught:
        services.start_task(member=cast.staff, task_id=row.pk, now=NOON)
    assert [f.code for f in caught.value.findings] == ["board_unknown", "block_archived"]


def test_the_board_of_another_block_does_not_count(cast, block, hang):
    hang("underway", "spraying")
    other = TaskFactory(farm=cast.farm, assigned_to_id=cast.staff.person_id)
    assert services.start_task(member=cast.staff, task_id=other.pk, now=NOON).state == "started"


def test_what_the_board_said_at_the_start_stays_in_the_history(cast, block, hang):
    hang("planned", "window", starts_at=NOON + 2 * HOUR, ends_at=NOON + 3 * HOUR)
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id)
    services.start_task(member=cast.staff, task_id=row.pk, now=NOON)
    step = queries.steps(row).get()
    assert (step.board["answer"], step.board["as_of"]) == ("yes", "2026-06-01T12:00:00+00:00")
    assert [f["code"] for f in step.board["findings"]] == ["planned_later"]


def test_only_the_person_or_a_manager_acts_on_a_task(cast, block):
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id)
    with pytest.raises(NotYourRole, match="This is the task of Ana Ruiz"):
        services.start_task(member=cast.applicator, task_id=row.pk, now=NOON)
    assert services.start_task(member=cast.manager, task_id=row.pk, now=NOON).state == "started"
    with pytest.raises(NotYourRole, match="This is the task of Ana Ruiz"):
        services.finish_task(member=cast.applicator, task_id=row.pk, now=NOON)


def test_another_farms_task_is_unknown_to_every_step(cast, block):
    row = TaskFactory(farm=cast.farm, block=block)
    for step in (
        lambda **k: services.start_task(**k),
        lambda **k: services.finish_task(**k),
        lambda **k: services.call_off_task(reason="rain", **k),
        lambda **k: services.edit_task(expected_version=1, changes={"title": "X"}, **k),
    ):
        with pytest.raises(Unknown):
            step(member=cast.neighbour, task_id=row.pk, now=NOON)


def test_starting_twice_is_refused(cast, block):
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id)
    services.start_task(member=cast.staff, task_id=row.pk, now=NOON)
    with pytest.raises(Refused, match="Only a planned task can be started; this one is started"):
        services.start_task(member=cast.staff, task_id=row.pk, now=NOON)
    assert len(history(row)) == 1


# ---- finishing, calling off, changing --------------------------------------------------


def test_finishing_keeps_the_note_and_the_time(cast, block, hang):
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id, state="started")
    hang("underway", "spraying")  # whoever must leave can always say that they left
    done = services.finish_task(member=cast.staff, task_id=row.pk, note="Half of it", now=NOON)
    assert (done.state, done.closed_at) == ("done", NOON)
    assert list(queries.steps(row).values_list("step", "note")) == [("finish", "Half of it")]


def test_calling_off_needs_a_reason_and_tells_the_person(cast, block):
    row = plan(cast, block)
    with pytest.raises(BadInput) as caught:
        services.call_off_task(member=cast.manager, task_id=row.pk, reason=" ", now=NOON)
    assert caught.value.errors == {"reason": ["Enter why the task is called off."]}
    services.call_off_task(member=cast.manager, task_id=row.pk, reason="Rain", now=NOON)
    assert told(cast.farm) == [("ana", "task_called_off", "called off")]
    assert history(row)[-1] == ("call_off", "called_off", "Ines Prado")


def test_another_time_is_a_new_notice_and_the_old_one_is_withdrawn(cast, block):
    row = plan(cast, block)
    services.edit_task(
        member=cast.manager, task_id=row.pk, expected_version=1, changes={"starts_at": NOON + 3 * HOUR}, now=NOON
    )
    assert told(cast.farm) == [("ana", "task_assigned", "version 2")]
    assert history(row)[-1] == ("edit", "planned", "Ines Prado")


def test_another_person_both_are_told(cast, block):
    row = plan(cast, block)
    services.edit_task(
        member=cast.manager,
        task_id=row.pk,
        expected_version=1,
        changes={"assigned_to_id": cast.applicator.person_id},
        now=NOON,
    )
    assert told(cast.farm) == [("luis", "task_assigned", "version 2"), ("ana", "task_called_off", "version 2")]


def test_a_change_of_words_bothers_nobody_and_no_change_writes_nothing(cast, block):
    row = plan(cast, block)
    services.edit_task(member=cast.manager, task_id=row.pk, expected_version=1, changes={"title": "Weed"}, now=NOON)
    services.edit_task(member=cast.manager, task_id=row.pk, expected_version=2, changes={"title": "Weed"}, now=NOON)
    assert told(cast.farm) == [("ana", "task_assigned", "version 1")]
    assert [step for step, _, _ in history(row)] == ["plan", "edit"]
    row.refresh_from_db()
    assert (row.title, row.version) == ("Weed", 2)


def test_changing_to_picking_makes_it_harvest(cast, block):
    row = plan(cast, block)
    saved = services.edit_task(
        member=cast.manager,
        task_id=row.pk,
        expected_version=1,
        changes={"activity": "picking_by_hand", "is_harvest": False},
        now=NOON,
    )
    assert saved.is_harvest is True


def test_a_change_is_checked_like_a_new_task(cast, block):
    row = plan(cast, block)
    foreign = BlockFactory(farm=cast.other_farm)
    with pytest.raises(BadInput) as caught:
        services.edit_task(
            member=cast.manager, task_id=row.pk, expected_version=1, changes={"block_id": foreign.pk}, now=NOON
        )
    assert list(caught.value.errors) == ["block_id"]


def test_a_late_task_can_still_be_reworded(cast, block):
    row = plan(cast, block)
    later = NOON + 5 * HOUR
    saved = services.edit_task(
        member=cast.manager, task_id=row.pk, expected_version=1, changes={"notes": "Still to do"}, now=later
    )
    assert saved.notes == "Still to do"


def test_an_edit_of_an_old_version_or_a_started_task_is_turned_down(cast, block):
    row = plan(cast, block)
    with pytest.raises(Stale):
        services.edit_task(member=cast.manager, task_id=row.pk, expected_version=9, changes={"title": "X"}, now=NOON)
    services.start_task(member=cast.staff, task_id=row.pk, now=NOON)
    with pytest.raises(Refused, match="Only a planned task can be changed; this one is started"):
        services.edit_task(member=cast.manager, task_id=row.pk, expected_version=2, changes={"title": "X"}, now=NOON)


def test_every_move_stands_in_the_trail(cast, block):
    row = plan(cast, block)
    services.start_task(member=cast.staff, task_id=row.pk, now=NOON)
    services.finish_task(member=cast.staff, task_id=row.pk, now=NOON)
    verbs = audit.events(cast.farm.pk).filter(subject_type="work.task").order_by("id")
    assert list(verbs.values_list("verb", "actor_name")) == [
        ("planned", "Ines Prado"),
        ("start", "Ana Ruiz"),
        ("finish", "Ana Ruiz"),
    ]


def test_the_night_the_clocks_change_a_task_begins_by_elapsed_time(cast, block, hang):
    # 15 USC 260a: on November 1, 2026 the hour from 1 AM comes twice in Chicago. Four hours after
    # midnight CDT (05:00 UTC) is 3 AM CST (09:00 UTC), not 4 AM.
    midnight, over = (datetime(2026, 11, 1, hour, 0, tzinfo=UTC) for hour in (5, 9))
    hang("entry", "rei", starts_at=midnight, ends_at=over)
    TrainingFactory(farm=cast.farm, person_id=cast.staff.person_id, kind="worker", trained_on=date(2026, 2, 1))
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id)
    with pytest.raises(Refused):
        services.start_task(member=cast.staff, task_id=row.pk, now=over - MINUTE)
    started = services.start_task(member=cast.staff, task_id=row.pk, now=over)
    assert started.state == "started"
