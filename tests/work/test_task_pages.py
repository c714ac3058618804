"""The pages of tasks: mine first, the board's word on top, Start only on yes."""

from __future__ import annotations

import re

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.work.models import Task
from tests.factories.work import TaskFactory
from tests.work.conftest import HOUR, NOON

pytestmark = pytest.mark.django_db
LIST = "/f/alder-bend/tasks/"
START = "Start this task"


@pytest.fixture(autouse=True)
def at_noon():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def task(cast, block) -> Task:
    return TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id)


def text(answer) -> str:
    main = answer.content.decode().split('<main id="main"')[1].split("</main>")[0]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", main))


def test_mine_come_first(cast, block, task, browser_client):
    TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.manager.person_id, title="Mend the fence")
    TaskFactory(farm=cast.farm, block=block, title="Old one", state="done")
    said = text(browser_client(cast.staff).get(LIST))
    order = [said.index(w) for w in ("Yours", "Thin the rows", "Everybody else's", "Mend the fence", "Old one")]
    assert order == sorted(order)
    assert text(browser_client(cast.manager).get(LIST)).index("Mend the fence") < said.index("Everybody else's")


def test_the_pages_cost_the_same_for_few_and_many(cast, block, task, browser_client):
    client, counts = browser_client(cast.staff), []
    for _ in range(2):
        TaskFactory.create_batch(8, farm=cast.farm, block=block)
        for address in (LIST, f"{LIST}{task.pk}/"):
            with CaptureQueriesContext(connection) as asked:
                client.get(address)
            counts.append(len(asked))
    assert counts[:2] == counts[2:]


def test_on_yes_the_word_the_work_and_the_button(cast, task, browser_client):
    said = text(browser_client(cast.staff).get(f"{LIST}{task.pk}/"))
    assert "River (R1) · Weeding, thinning or pruning · Mon, Jun 1, 9:00 AM CDT" in said
    assert "Entry allowed Entrada permitida Weeding, thinning or pruning Deshierbe, raleo o poda" in said
    assert "If a sign is up, keep out. Si hay un letrero, no entre." in said
    assert "Good until Mon, Jun 1, 7:30 AM CDT Vence el lun 1 de jun, 7:30 a.m. CDT" in said
    assert START in said


@pytest.mark.parametrize(
    ("kind", "reason", "hours", "words"),
    [
        ("entry", "rei", 1, "KEEP OUT NO ENTRE until Mon, Jun 1, 8:00 AM CDT"),
        ("underway", "spraying", None, "KEEP OUT NO ENTRE Spraying now. No end time yet."),
        ("unconfirmed", "unsigned", None, "KEEP OUT NO ENTRE Not confirmed."),
    ],
)
def test_on_no_and_unknown_the_reason_and_no_button_for_anybody(
    cast, task, hang, browser_client, kind, reason, hours, words
):
    hang(kind, reason, ends_at=NOON + hours * HOUR if hours else None)
    for member in (cast.staff, cast.manager):
        answer = browser_client(member).get(f"{LIST}{task.pk}/")
        said = text(answer)
        assert words in said
        assert "This task cannot be started now. Nobody can override the board." in said
        assert (START in said, "disabled" in answer.content.decode()) == (False, False)
        assert "<title>KEEP OUT / NO ENTRE · Thin the rows</title>" in answer.content.decode()


def test_harvest_is_a_line_of_its_own(cast, block, hang, browser_client):
    hang("harvest", "phi", ends_at=NOON + 48 * HOUR)
    row = TaskFactory(farm=cast.farm, block=block, activity="picking_by_hand", assigned_to_id=cast.staff.person_id)
    said = text(browser_client(cast.staff).get(f"{LIST}{row.pk}/"))
    hold = "Do not pick yet No coseche todavía until Wed, Jun 3, 7:00 AM CDT"
    assert 0 < said.index(hold) < said.index("Entry allowed")
    assert START not in said


def test_a_colleague_sees_the_answer_but_no_button(cast, task, browser_client):
    said = text(browser_client(cast.applicator).get(f"{LIST}{task.pk}/"))
    assert ("Entry allowed" in said, START in said, "Call off" in said) == (True, False, False)


def test_start_and_finish_by_their_buttons(cast, task, browser_client):
    client = browser_client(cast.staff)
    client.post(f"{LIST}{task.pk}/start/", {"once_key": "a-key-for-start"})
    client.post(f"{LIST}{task.pk}/start/", {"once_key": "a-key-for-start"})
    said = text(client.get(f"{LIST}{task.pk}/"))
    assert ("State started" in said, "Finish this task" in said, START in said) == (True, True, False)
    client.post(f"{LIST}{task.pk}/finish/", {"note": "All rows", "once_key": "a-key-for-finish"})
    said = text(client.get(f"{LIST}{task.pk}/"))
    assert ("State done" in said, "finished, Ana Ruiz: All rows" in said) == (True, True)
    assert text(client.get(LIST)).count("Thin the rows") == 1


def test_whoever_is_on_ground_that_closed_is_told_to_leave(cast, block, hang, browser_client):
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id, state="started")
    assert "Leave the block" not in text(browser_client(cast.staff).get(f"{LIST}{row.pk}/"))
    hang("underway", "spraying")
    said = text(browser_client(cast.staff).get(f"{LIST}{row.pk}/"))
    assert "KEEP OUT NO ENTRE Spraying now." in said
    assert "The board does not say yes any more. Leave the block and call." in said
    assert ("Finish this task" in said, START in said) == (True, False)


def test_a_board_that_closed_meanwhile_refuses_the_button(cast, task, hang, browser_client):
    hang("underway", "spraying")
    answer = browser_client(cast.staff).post(f"{LIST}{task.pk}/start/")
    assert answer.status_code == 409
    assert "Nothing was changed The board says no. Its answer and reasons follow." in text(answer)
    assert "Spraying now. No end time yet." in text(answer)
    task.refresh_from_db()
    assert task.state == "planned"


def test_the_address_of_a_button_leads_back_to_the_task(cast, task, browser_client):
    answer = browser_client(cast.staff).get(f"{LIST}{task.pk}/start/")
    assert (answer.status_code, answer["Location"]) == (302, f"{LIST}{task.pk}/")


def test_calling_off_without_a_reason_is_asked_for(cast, task, browser_client):
    client = browser_client(cast.manager)
    answer = client.post(f"{LIST}{task.pk}/call-off/", {"reason": ""})
    assert answer.status_code == 400
    assert "There is a problem Why it is called off: Enter why the task is called off." in text(answer)
    client.post(f"{LIST}{task.pk}/call-off/", {"reason": "Rain"})
    task.refresh_from_db()
    assert task.state == "called_off"


def form_data(cast, block, **more):
    given = {
        "title": "Pick",
        "block_id": block.pk,
        "activity": "picking_by_hand",
        "assigned_to_id": cast.staff.person_id,
        "starts_at": "2026-06-02T06:30",
        "ends_at": "",
        "notes": "",
    }
    return {**given, **more}


def test_a_manager_plans_in_farm_time(cast, block, browser_client):
    client = browser_client(cast.manager)
    assert "Farm time (America/Chicago)" in text(client.get(LIST + "new/"))
    answer = client.post(LIST + "new/", form_data(cast, block, ends_at="2026-06-02T10:00"))
    row = Task.objects.for_farm(cast.farm).get()
    assert (answer.status_code, answer["Location"]) == (302, f"{LIST}{row.pk}/")
    assert (row.starts_at.isoformat(), row.ends_at.isoformat(), row.is_harvest) == (
        "2026-06-02T11:30:00+00:00",
        "2026-06-02T15:00:00+00:00",
        True,
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"starts_at": "2027-03-14T02:30"}, "Starts: 2027-03-14 02:30 does not exist"),
        ({"starts_at": "2026-11-01T01:30"}, "Starts: 2026-11-01 01:30 happens twice"),
        ({"starts_at": "Tuesday"}, "Starts: Must be a date and a time"),
        ({"starts_at": "2026-06-01T05:00"}, "Starts: The start must be now or later."),
        ({"ends_at": "2026-06-02T06:00"}, "Ends: The end must be after the start."),
        ({"title": ""}, "What is to be done: Enter what is to be done."),
    ],
    ids=["skipped hour", "doubled hour", "no time", "past", "end before start", "no title"],
)
def test_bad_input_keeps_what_was_typed_and_names_the_field(cast, block, browser_client, change, words):
    answer = browser_client(cast.manager).post(LIST + "new/", form_data(cast, block, notes="Keep me", **change))
    assert (answer.status_code, Task.rows.count()) == (400, 0)
    assert words in text(answer)
    assert "Keep me" in text(answer)
    assert "<title>Error: Plan a task</title>" in answer.content.decode()


def test_the_edit_form_holds_the_task_and_saves_the_change(cast, task, browser_client):
    client, address = browser_client(cast.manager), f"{LIST}{task.pk}/edit/"
    page = client.get(address).content.decode()
    assert ('value="2026-06-01T09:00"' in page, 'value="Thin the rows"' in page) == (True, True)
    data = form_data(cast, task.block, title="Weed", activity="hand_labor", starts_at="2026-06-01T09:00", version=1)
    assert client.post(address, data)["Location"] == f"{LIST}{task.pk}/"
    task.refresh_from_db()
    assert (task.title, task.starts_at, task.version) == ("Weed", NOON + 2 * HOUR, 2)


def test_a_form_opened_before_somebody_elses_change_is_turned_down(cast, task, browser_client):
    Task.objects.for_farm(cast.farm).update(version=2)
    data = form_data(cast, task.block, title="Weed", version=1)
    answer = browser_client(cast.manager).post(f"{LIST}{task.pk}/edit/", data)
    assert (answer.status_code, "Somebody changed this since you opened it." in text(answer)) == (412, True)


def test_a_title_with_markup_stays_text(cast, block, browser_client):
    row = TaskFactory(farm=cast.farm, block=block, title="<script>x</script>", assigned_to_id=cast.staff.person_id)
    for address in (LIST, f"{LIST}{row.pk}/"):
        page = browser_client(cast.staff).get(address).content.decode()
        assert ("<script>x" in page, "&lt;script&gt;x" in page) == (False, True)


def test_the_headline_in_spanish_says_no_entre_as_well(cast, task, hang, browser_client):
    hang("entry", "rei", ends_at=NOON + HOUR)
    client = browser_client(cast.staff)
    client.cookies["django_language"] = "es"
    page = client.get(f"{LIST}{task.pk}/").content.decode()
    assert '<html lang="es-US">' in page
    assert '<span lang="es-US">NO ENTRE</span><span lang="en-US">KEEP OUT</span>' in page
    assert "No antes del lun 1 de jun, 8:00 a.m. CDT" in page
