"""A season's trainings from one list: every row answered, all or nothing, the same list again changes nothing."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from apps.audit.models import AuditEvent
from apps.training.lists import rules, services
from apps.training.lists.rules import Outcome
from apps.training.models import TrainingRecord
from apps.training.services import strike_training
from farmops.errors import BadInput, NotYourRole
from tests.conftest import place
from tests.factories.training import TrainingFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 14, 0, tzinfo=UTC)
HEADER = "person,training,date,topic,trainer,note\n"
GOOD = HEADER + "Ana Ruiz,worker,2026-05-02,,Pia Holm,in Spanish\nLuis Mora,Product,2026-05-03,Paraquat,,\n"


def outcomes(farm, text) -> list[Outcome]:
    return [a.outcome for a in services.examine(farm, text, NOW).answers]


def wrong(farm, text) -> dict[int, set[str]]:
    return {a.row: {f.column for f in a.faults} for a in services.examine(farm, text, NOW).answers if a.faults}


def kept(farm) -> list[tuple]:
    rows = TrainingRecord.objects.for_farm(farm).order_by("id")
    return [(r.person.full_name, r.kind, r.trained_on, r.topic, r.trainer, r.note) for r in rows]


def test_every_row_is_recorded_and_said_in_the_trail(cast):
    found = services.record_list(member=cast.manager, name="may.csv", text=GOOD, now=NOW)
    assert [a.outcome for a in found.answers] == [Outcome.NEW, Outcome.NEW]
    assert kept(cast.farm) == [
        ("Ana Ruiz", "worker", date(2026, 5, 2), "", "Pia Holm", "in Spanish"),
        ("Luis Mora", "product", date(2026, 5, 3), "paraquat", "", ""),
    ]
    assert AuditEvent.objects.filter(verb="recorded", subject_type="training.trainingrecord").count() == 2
    line = AuditEvent.objects.get(verb="brought in trainings to")
    assert line.after == {"file": "may.csv", "trainings": 2, "on record already": 0}


def test_the_same_list_again_changes_nothing(cast):
    services.record_list(member=cast.manager, name="may.csv", text=GOOD, now=NOW)
    written = AuditEvent.objects.count()
    again = "\ufeff" + GOOD.replace(",", ";")  # the same in another dialect, with a byte-order mark
    assert outcomes(cast.farm, again) == [Outcome.THERE, Outcome.THERE]
    services.record_list(member=cast.manager, name="again.csv", text=again, now=NOW)
    assert (len(kept(cast.farm)), AuditEvent.objects.count()) == (2, written)


def test_only_what_is_new_is_added(cast):
    TrainingFactory(farm=cast.farm, person_id=cast.staff.person_id, kind="worker", trained_on=date(2026, 5, 2))
    assert outcomes(cast.farm, GOOD) == [Outcome.THERE, Outcome.NEW]
    services.record_list(member=cast.manager, name="may.csv", text=GOOD, now=NOW)
    assert len(kept(cast.farm)) == 2


def test_a_struck_training_does_not_stand_in_the_way(cast):
    services.record_list(member=cast.manager, name="may.csv", text=GOOD, now=NOW)
    first = TrainingRecord.objects.for_farm(cast.farm).order_by("id")[0]
    strike_training(member=cast.manager, training_id=first.pk, because="wrong day", now=NOW)
    assert outcomes(cast.farm, GOOD) == [Outcome.NEW, Outcome.THERE]


@pytest.mark.parametrize(
    ("row", "columns"),
    [
        ("Nobody Here,worker,2026-05-02", {"person"}),
        (",,,,Pia Holm", {"person", "training", "date"}),
        ("Ana Ruiz,first aid,2026-05-02", {"training"}),
        ("Ana Ruiz,worker,05/02/2026", {"date"}),
        ("Ana Ruiz,worker,2026-02-30", {"date"}),
        ("Ana Ruiz,worker,2026-06-02", {"date"}),
        ("Ana Ruiz,worker,1926-05-02", {"date"}),
        ("Ana Ruiz,worker,2026-05-02,paraquat", {"topic"}),
        ("Ana Ruiz,product,2026-05-02,", {"topic"}),
        ("Ana Ruiz,product,2026-05-02," + "x" * 65, {"topic"}),
        ("Ana Ruiz,worker,2026-05-02,,Holm, Pia,twice,more", {""}),
        ("Luis Mora,handler,2026-05-04", {""}),
    ],
    ids=lambda v: v[:40] if isinstance(v, str) else "+".join(sorted(v)),
)
def test_one_wrong_row_and_nothing_is_recorded(cast, row, columns):
    text = GOOD + "Luis Mora,handler,2026-05-04\n" + row + "\n"
    assert wrong(cast.farm, text) == {5: columns}
    with pytest.raises(BadInput) as bad:
        services.record_list(member=cast.manager, name="may.csv", text=text, now=NOW)
    assert list(bad.value.errors) == ["row 5"]
    assert kept(cast.farm) == []


def test_two_of_one_name_are_told_apart_by_their_log_in_names(cast):
    other = place(cast.farm, "staff", "Ana  ruiz", "ana2")
    assert wrong(cast.farm, HEADER + "ANA RUIZ,worker,2026-05-02\n") == {2: {"person"}}
    services.record_list(member=cast.manager, name="a.csv", text=HEADER + "ana2,supervised use,2026-05-02\n", now=NOW)
    assert TrainingRecord.objects.for_farm(cast.farm).get().person_id == other.person_id


def test_a_neighbours_people_are_nobody_here(cast):
    name = cast.neighbour.name
    assert wrong(cast.farm, HEADER + f"{name},worker,2026-05-02\n") == {2: {"person"}}


@pytest.mark.parametrize(
    "text",
    [
        "",
        HEADER + "Ana Ruiz,worker,2026-05-02,,,no\0te",
        "person,date\nx,y",
        HEADER,
        HEADER.replace("note", "nota") + "a,b,c",
    ],
)
def test_what_is_no_such_list_is_said_of_the_file(text):
    with pytest.raises(BadInput) as bad:
        rules.read(text)
    assert set(bad.value.errors) == {"file"}


def test_only_who_keeps_the_cards_may(cast):
    with pytest.raises(NotYourRole):
        services.record_list(member=cast.applicator, name="may.csv", text=GOOD, now=NOW)


def test_over_the_interface(cast, api, monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: NOW)
    base = "/api/v1/farms/alder-bend/trainings/"
    body = {"name": "may.csv", "text": GOOD + "Nobody,worker,2026-05-02\n"}
    dry = api(cast.manager).post(f"{base}check-list/", body, format="json").json()
    assert (dry["good"], [r["outcome"] for r in dry["rows"]]) == (False, ["new", "new", "wrong"])
    assert dry["rows"][2]["faults"] == [
        {
            "column": "person",
            "said": "Nobody of this name works on this farm: Nobody. Write the full name or the log-in name.",
        }
    ]
    answer = api(cast.manager).post(f"{base}list/", body, format="json")
    assert (answer.status_code, set(answer.json()["errors"]), kept(cast.farm)) == (400, {"row 4"}, [])
    answer = api(cast.manager).post(f"{base}list/", {"name": "may.csv", "text": GOOD}, format="json")
    assert (answer.status_code, len(kept(cast.farm))) == (201, 2)


def test_on_the_pages(cast, browser_client, monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: NOW)
    client, page = browser_client(cast.manager), "/f/alder-bend/cards/trainings/list/"
    assert f'href="{page}"' in client.get("/f/alder-bend/cards/").content.decode()
    bad = client.post(page, {"file": SimpleUploadedFile("may.csv", b"person\nx")}).content.decode()
    assert "There is no column “training”." in bad
    latin = client.post(page, {"file": SimpleUploadedFile("may.csv", (HEADER + "Añá,worker,x").encode("latin-1"))})
    assert "Save the file as CSV in UTF-8." in latin.content.decode()
    wrong_row = client.post(page, {"file": SimpleUploadedFile("may.csv", (GOOD + "x,y,z\n").encode())})
    assert "1 row cannot be brought in. Nothing was written." in wrong_row.content.decode()
    answer = client.post(page, {"file": SimpleUploadedFile("may.csv", b"\xef\xbb\xbf" + GOOD.encode())})
    assert "New: 2. On record already: 0." in answer.content.decode()
    again = answer.context["again"].initial
    assert kept(cast.farm) == []
    assert client.post(f"{page}record/", again)["Location"] == "/f/alder-bend/cards/"
    assert len(kept(cast.farm)) == 2
    refused = client.post(f"{page}record/", {"name": "x", "text": GOOD + "x,y,z\n"})
    assert (refused.status_code, "row 4" in refused.content.decode()) == (400, True)
