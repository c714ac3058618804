"""Tasks over HTTP: the whole walk, the board's refusal, other farms, wrong roles, bad input."""

from __future__ import annotations

import pytest
import time_machine

from apps.work.models import Task
from tests.factories.land import BlockFactory
from tests.factories.work import TaskFactory
from tests.work.conftest import HOUR, NOON

pytestmark = pytest.mark.django_db
LIST = "/api/v1/farms/alder-bend/tasks/"


@pytest.fixture(autouse=True)
def at_noon():
    with time_machine.travel(NOON, tick=False):
        yield


def body(cast, block, **more):
    given = {
        "block_id": block.pk,
        "title": "Thin the rows",
        "activity": "hand_labor",
        "assigned_to_id": cast.staff.person_id,
        "starts_at": "2026-06-01T13:00:00Z",
    }
    return {**given, **more}


def test_the_walk_from_plan_to_done(cast, block, api):
    manager, staff = api(cast.manager), api(cast.staff)
    made = manager.post(LIST, body(cast, block), format="json")
    assert made.status_code == 201
    task = made.json()
    assert {k: task[k] for k in ("state", "block", "assigned_to", "starts_at", "version", "is_harvest")} == {
        "state": "planned",
        "block": "R1 River",
        "assigned_to": "Ana Ruiz",
        "starts_at": "2026-06-01T13:00:00Z",
        "version": 1,
        "is_harvest": False,
    }
    address = f"{LIST}{task['id']}/"
    assert staff.get(address).json()["board"] == {
        "answer": "yes",
        "may_start": True,
        "opens_at": None,
        "as_of": "2026-06-01T12:00:00Z",
        "good_until": "2026-06-01T12:30:00Z",
        "because": [],
    }
    changed = manager.patch(address, {"title": "Weed"}, format="json", headers={"If-Match": made["ETag"]})
    assert (changed.status_code, changed.json()["title"], changed["ETag"]) == (200, "Weed", '"v2"')
    assert staff.post(address + "start/").json()["state"] == "started"
    under_way = staff.get(address).json()["board"]
    assert (under_way["answer"], under_way["may_start"]) == ("yes", False)
    assert staff.post(address + "finish/", {"note": "All done"}, format="json").json()["state"] == "done"
    shown = staff.get(address).json()
    assert shown["board"] is None
    assert [(s["step"], s["by"], s["note"]) for s in shown["steps"]] == [
        ("plan", "Ines Prado", ""),
        ("edit", "Ines Prado", ""),
        ("start", "Ana Ruiz", ""),
        ("finish", "Ana Ruiz", "All done"),
    ]


def test_the_boards_no_is_409_with_its_reasons_and_the_hour(cast, block, hang, api):
    hang("entry", "rei", ends_at=NOON + HOUR)
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id)
    answer = api(cast.staff).post(f"{LIST}{row.pk}/start/")
    assert answer.status_code == 409
    assert [f["code"] for f in answer.json()["findings"]] == ["board_no", "entry_interval"]
    assert "Do not enter before Mon, Jun 1, 8:00 AM CDT." in answer.json()["detail"]
    shown = api(cast.staff).get(f"{LIST}{row.pk}/").json()
    assert shown["state"] == "planned"
    assert {k: shown["board"][k] for k in ("answer", "may_start", "opens_at")} == {
        "answer": "no",
        "may_start": False,
        "opens_at": "2026-06-01T13:00:00Z",
    }


def test_a_harvest_task_says_entry_and_harvest_reasons(cast, block, hang, api):
    hang("harvest", "phi", ends_at=NOON + 48 * HOUR)
    row = TaskFactory(farm=cast.farm, block=block, activity="picking_by_hand", assigned_to_id=cast.staff.person_id)
    found = api(cast.staff).get(f"{LIST}{row.pk}/").json()["board"]
    assert (found["answer"], [f["code"] for f in found["because"]]) == ("no", ["board_no", "harvest_interval"])


def test_another_farms_task_is_404_for_every_operation(cast, block, api):
    row = TaskFactory(farm=cast.farm, block=block)
    BlockFactory(farm=cast.other_farm)
    client, address = api(cast.neighbour), f"/api/v1/farms/far-side/tasks/{row.pk}/"
    answers = [
        client.get(address),
        client.patch(address, {"title": "X"}, format="json", headers={"If-Match": "v1"}),
        client.post(address + "start/"),
        client.post(address + "finish/"),
        client.post(address + "call-off/", {"reason": "rain"}, format="json"),
    ]
    assert {(a.status_code, a.json()["detail"]) for a in answers} == {(404, "No such entry in this farm's book.")}
    row.refresh_from_db()
    assert (row.state, row.title) == ("planned", "Thin the rows")


def test_another_farms_block_and_person_are_named(cast, block, api):
    foreign = BlockFactory(farm=cast.other_farm)
    sent = body(cast, foreign, assigned_to_id=cast.neighbour.person_id)
    answer = api(cast.manager).post(LIST, sent, format="json")
    assert (answer.status_code, answer.json()["errors"]) == (
        400,
        {
            "block_id": ["There is no such block on this farm."],
            "assigned_to_id": ["Nobody with that number works on this farm."],
        },
    )
    assert Task.rows.count() == 0


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_only_managers_write_the_plan(cast, block, api, role):
    row = TaskFactory(farm=cast.farm, block=block)
    client, address = api(cast.by_role(role)), f"{LIST}{row.pk}/"
    answers = [
        client.post(LIST, body(cast, block), format="json"),
        client.patch(address, {"title": "X"}, format="json", headers={"If-Match": "v1"}),
        client.post(address + "call-off/", {"reason": "rain"}, format="json"),
    ]
    assert {(a.status_code, a.json()["detail"]) for a in answers} == {(403, "This needs one of: manager.")}
    assert Task.rows.count() == 1


def test_a_colleagues_task_is_not_yours_to_start(cast, block, api):
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id)
    answer = api(cast.applicator).post(f"{LIST}{row.pk}/start/")
    assert (answer.status_code, answer.json()["detail"]) == (
        403,
        "This is the task of Ana Ruiz. Only they or a manager can do this.",
    )


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"starts_at": "2027-03-14T02:30:00"}, "starts_at"),
        ({"starts_at": "2026-11-01T01:30:00"}, "starts_at"),
        ({"starts_at": "tomorrow"}, "starts_at"),
        ({"starts_at": "2026-05-01T12:00:00Z"}, "starts_at"),
        ({"ends_at": "2026-06-01T12:59:00Z"}, "ends_at"),
        ({"activity": "flying"}, "activity"),
        ({"title": ""}, "title"),
        ({"title": "x" * 121}, "title"),
        ({"block_id": 2**70}, "block_id"),
        ({"assigned_to_id": "Ana"}, "assigned_to_id"),
        ({"notes": "x" * 2001}, "notes"),
    ],
    ids=[
        "an hour the spring change skips",
        "an hour the autumn change doubles",
        "no time",
        "a month ago",
        "end before start",
        "unknown work",
        "no title",
        "endless title",
        "absurd block",
        "a name for a number",
        "endless notes",
    ],
)
def test_bad_input_names_its_field_and_writes_nothing(cast, block, api, change, field):
    answer = api(cast.manager).post(LIST, body(cast, block, **change), format="json")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, [field])
    assert Task.rows.count() == 0


def test_a_time_without_an_offset_is_the_farms(cast, block, api):
    sent = body(cast, block, starts_at="2026-06-01T09:30:00", ends_at="2026-06-01T11:00:00-05:00")
    made = api(cast.manager).post(LIST, sent, format="json").json()
    assert (made["starts_at"], made["ends_at"]) == ("2026-06-01T14:30:00Z", "2026-06-01T16:00:00Z")


def test_the_same_plan_sent_twice_is_one_task(cast, block, api):
    client, key = api(cast.manager), {"Idempotency-Key": "thin-r1-june-1"}
    first, second = (client.post(LIST, body(cast, block), format="json", headers=key) for _ in range(2))
    assert (first.json(), Task.rows.count(), second["Idempotent-Replay"]) == (second.json(), 1, "true")


def test_lists_are_narrowed_by_what_is_asked(cast, block, api):
    other = BlockFactory(farm=cast.farm)
    mine = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id, title="mine")
    TaskFactory(farm=cast.farm, block=other, assigned_to_id=cast.manager.person_id, title="his", state="done")
    TaskFactory(farm=cast.farm, block=other, starts_at=NOON + 48 * HOUR, title="later", activity="picking_by_hand")
    TaskFactory(farm=cast.other_farm, title="elsewhere")
    client = api(cast.staff)

    def titles(query: str = "") -> list[str]:
        return [t["title"] for t in client.get(LIST + query).json()["results"]]

    assert titles() == ["later", "his", "mine"]
    assert titles("?mine=true") == ["mine"]
    assert titles("?mine=false") == ["later", "his"]
    assert titles("?state=done") == ["his"]
    assert titles(f"?block_id={block.pk}") == ["mine"]
    assert titles(f"?assigned_to_id={mine.assigned_to_id}") == ["mine"]
    assert titles("?is_harvest=true") == ["later"]
    assert titles("?starts_from=2026-06-02T00:00:00Z") == ["later"]
    assert titles("?starts_before=2026-06-02T00:00:00Z") == ["his", "mine"]
    assert list(client.get(LIST + "?stat=done").json()["errors"]) == ["stat"]


def test_the_list_costs_the_same_for_many(cast, block, api, django_assert_max_num_queries):
    client = api(cast.staff)
    for _ in range(2):
        TaskFactory.create_batch(10, farm=cast.farm, block=block)
        with django_assert_max_num_queries(4):
            client.get(LIST)
