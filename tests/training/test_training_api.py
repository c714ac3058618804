"""Certificates, trainings and cards over HTTP."""

from __future__ import annotations

from datetime import date

import pytest

from apps.training.models import Certificate, Suspension, TrainingRecord
from tests.factories.training import CertificateFactory, SuspensionFactory, TrainingFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("june")]
HOME = "/api/v1/farms/alder-bend/"
PAPER = {
    "number": "P-77",
    "jurisdiction": "IN",
    "held_as": "private",
    "categories": ["general"],
    "valid_from": "2026-01-01",
    "valid_to": "2026-12-31",
}


def send(client, address, body, method="post", **headers):
    return getattr(client, method)(HOME + address, body, format="json", headers=headers)


def test_record_suspend_lift_and_read_the_card(cast, api):
    client, person = api(cast.manager), cast.applicator.person_id
    made = send(client, "certificates/", {**PAPER, "person_id": person})
    assert (made.status_code, made["ETag"], made.json()["person"]) == (201, '"v1"', "Luis Mora")
    one = f"certificates/{made.json()['id']}/"
    held = send(client, one + "suspend/", {"from_on": "2026-06-01", "reason": "Inquiry"})
    assert held.json()["suspensions"] == [{"from_on": "2026-06-01", "lifted_on": None, "reason": "Inquiry"}]
    card = client.get(f"{HOME}cards/{person}/").json()
    assert (card["certified"], card["certificates"][0]["standing"]) == (False, "suspended")
    send(client, one + "lift/", {"lifted_on": "2026-06-01"})
    mine = api(cast.applicator).get(HOME + "my-card/").json()
    assert (mine["name"], mine["certified"], mine["certificates"][0]["days_left"]) == ("Luis Mora", True, 213)
    assert [c["name"] for c in client.get(HOME + "cards/").json()] == ["Ana Ruiz", "Ines Prado", "Luis Mora"]


def test_put_right_needs_the_version(cast, api):
    row = CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id, number="WRONG")
    client, address = api(cast.manager), f"certificates/{row.pk}/"
    assert send(client, address, {"number": "P-9"}, "patch").status_code == 428
    assert send(client, address, {"number": "P-9"}, "patch", **{"If-Match": "v3"}).status_code == 412
    saved = send(client, address, {"number": "P-9", "held_as": "commercial"}, "patch", **{"If-Match": "v1"})
    assert (saved["ETag"], saved.json()["number"], saved.json()["held_as"]) == ('"v2"', "P-9", "commercial")
    row.refresh_from_db()
    assert (row.number, row.kind, row.valid_to) == ("P-9", "commercial", date(2027, 12, 31))


def test_training_and_striking(cast, api):
    client = api(cast.manager)
    made = send(
        client,
        "trainings/",
        {"person_id": cast.staff.person_id, "training": "product", "topic": "Paraquat", "trained_on": "2026-05-01"},
    )
    assert (made.status_code, made.json()["topic"], made.json()["training"]) == (201, "paraquat", "product")
    struck = send(client, f"trainings/{made.json()['id']}/strike/", {"because": "not attended"})
    assert (struck.json()["struck_because"], struck.json()["struck_at"][:10]) == ("not attended", "2026-06-01")
    assert client.get(HOME + "trainings/?struck=false").json()["results"] == []
    assert len(client.get(HOME + "trainings/?training=product").json()["results"]) == 1
    assert client.get(f"{HOME}cards/{cast.staff.person_id}/").json()["trainings"] == []


def test_filters(cast, api):
    old = CertificateFactory(farm=cast.farm, valid_from=date(2020, 1, 1), valid_to=date(2024, 1, 1))
    CertificateFactory(farm=cast.farm)
    client = api(cast.applicator)
    found = client.get(HOME + "certificates/?valid_on=2023-06-01").json()["results"]
    assert [c["id"] for c in found] == [old.pk]
    assert client.get(f"{HOME}certificates/?person={old.person_id}").json()["results"][0]["id"] == old.pk


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"valid_to": "2025-01-01"}, "valid_to"),
        ({"valid_to": "31/12/2026"}, "valid_to"),
        ({"held_as": "royal"}, "held_as"),
        ({"number": ""}, "number"),
        ({"categories": ["§"]}, "categories"),
        ({"person_id": 987654}, "person_id"),
    ],
)
def test_bad_certificates_name_the_field_and_save_nothing(cast, api, body, field):
    answer = send(api(cast.manager), "certificates/", {**PAPER, "person_id": cast.applicator.person_id, **body})
    assert (answer.status_code, list(answer.json()["errors"])) == (400, [field])
    assert Certificate.rows.count() == 0


@pytest.mark.parametrize(
    ("method", "address"),
    [
        ("get", "certificates/{certificate}/"),
        ("patch", "certificates/{certificate}/"),
        ("post", "certificates/{certificate}/suspend/"),
        ("post", "certificates/{certificate}/lift/"),
        ("post", "trainings/{training}/strike/"),
        ("get", "cards/{person}/"),
    ],
)
def test_another_farms_papers_do_not_exist_here(cast, api, method, address):
    theirs = CertificateFactory(farm=cast.other_farm, person_id=cast.neighbour.person_id, number="SECRET")
    SuspensionFactory(certificate=theirs)
    taught = TrainingFactory(farm=cast.other_farm, person_id=cast.neighbour.person_id)
    body = {"from_on": "2026-06-01", "reason": "x", "lifted_on": "2026-06-01", "because": "x", "number": "Y"}
    path = address.format(certificate=theirs.pk, training=taught.pk, person=cast.neighbour.person_id)
    answer = send(api(cast.manager), path, body, method, **{"If-Match": "v1"})
    assert (answer.status_code, "SECRET" in answer.content.decode()) == (404, False)
    assert Suspension.rows.get().lifted_on is None
    assert (Certificate.rows.get().number, TrainingRecord.rows.get().struck_at) == ("SECRET", None)


def test_roles(cast, api):
    assert api(cast.staff).get(HOME + "my-card/").json()["name"] == "Ana Ruiz"
    for address in ("cards/", "certificates/", "trainings/"):
        answer = api(cast.staff).get(HOME + address)
        assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: manager / applicator.")
        assert api(cast.applicator).get(HOME + address).status_code == 200
    refused = send(api(cast.applicator), "certificates/", {**PAPER, "person_id": cast.applicator.person_id})
    assert (refused.status_code, refused.json()["detail"]) == (403, "This needs one of: manager.")
