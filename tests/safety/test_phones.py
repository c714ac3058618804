"""Numbers to call: the farm types them, everybody reads them, phones keep them."""

from __future__ import annotations

import pytest

from apps.audit.models import AuditEvent
from apps.safety.phones import queries, rules, services
from apps.safety.phones.models import PhoneNumber
from farmops import clock
from farmops.errors import BadInput, NotYourRole, Stale, Unknown

pytestmark = pytest.mark.django_db

CLINIC = {"purpose": "clinic", "name": "Demo clinic", "number": "555-0142", "note": "Open day and night"}


@pytest.mark.parametrize(
    ("number", "calls"), [("555-0142", "5550142"), ("+1 (217) 555-0142", "+12175550142"), ("911", "911")]
)
def test_what_a_link_dials(number, calls):
    assert rules.could_be_called(number)
    assert rules.dialled(number) == calls


@pytest.mark.parametrize("number", ["", "call Ana", "5", "555-0142; drop", "x" * 30])
def test_what_no_phone_can_dial_is_not_taken(cast, number):
    assert not rules.could_be_called(number)
    with pytest.raises(BadInput) as refused:
        services.add_number(member=cast.manager, values={**CLINIC, "number": number}, now=clock.now())
    assert list(refused.value.errors) == ["number"]
    assert PhoneNumber.objects.for_farm(cast.farm).count() == 0


def test_the_most_urgent_stands_first(cast):
    for purpose in ("other", "clinic", "emergency", "poison"):
        services.add_number(member=cast.manager, values={**CLINIC, "purpose": purpose}, now=clock.now())
    assert [row.purpose for row in queries.numbers(cast.farm)] == ["emergency", "poison", "clinic", "other"]
    assert [row.purpose for row in queries.urgent(cast.farm)] == ["emergency", "poison", "clinic"]
    assert queries.numbers(cast.other_farm) == []


def test_only_the_manager_writes_and_the_trail_keeps_what_was(cast):
    now = clock.now()
    row = services.add_number(member=cast.manager, values=CLINIC, now=now)
    for member in (cast.applicator, cast.staff):
        with pytest.raises(NotYourRole):
            services.remove_number(member=member, number_id=row.pk, now=now)
    with pytest.raises(Unknown):
        services.remove_number(member=cast.neighbour, number_id=row.pk, now=now)
    edit = {"member": cast.manager, "number_id": row.pk, "now": now}
    services.edit_number(**edit, expected_version=1, changes={"number": "555-0143"})
    with pytest.raises(Stale):
        services.edit_number(**edit, expected_version=1, changes={"number": "555-0144"})
    services.remove_number(member=cast.manager, number_id=row.pk, now=now)
    trail = list(AuditEvent.objects.filter(subject_type="safety.phonenumber").order_by("pk"))
    assert [(e.verb, e.before.get("number"), e.after.get("number")) for e in trail] == [
        ("added", None, "555-0142"),
        ("changed", "555-0142", "555-0143"),
        ("removed", "555-0143", None),
    ]


def test_the_page_may_be_kept_and_has_the_steps_for_somebody_who_feels_ill(cast, browser_client):
    services.add_number(member=cast.manager, values=CLINIC, now=clock.now())
    answer = browser_client(cast.staff).get("/f/alder-bend/phones/")
    text = answer.content.decode()
    assert answer["Keep-Offline"] == "yes"
    assert 'href="tel:5550142"' in text and "Clinic or hospital: Demo clinic 555-0142" in text
    assert "Call for help at once. Do not wait for this book." in text
    assert "Remove Demo clinic" not in text
    assert "Remove Demo clinic" in browser_client(cast.manager).get("/f/alder-bend/phones/").content.decode()


def test_a_farm_without_numbers_says_so_and_invents_none(cast, browser_client):
    text = browser_client(cast.staff).get("/f/alder-bend/phones/").content.decode()
    assert "No emergency numbers are entered on this farm" in text
    assert text.count("tel:") == 2  # the farm's own contact, on the page and in the footer


def test_what_stands_in_without_reception_holds_no_answer(cast, browser_client):
    answer = browser_client(cast.staff).get("/f/alder-bend/no-connection/")
    text = answer.content.decode()
    assert answer["Keep-Offline"] == "yes"
    assert 'data-answer="unknown"' in text and 'data-answer="yes"' not in text
    assert "<title>KEEP OUT / NO ENTRE" in text


def test_numbers_over_the_api(cast, api):
    manager, there = api(cast.manager), "/api/v1/farms/alder-bend/phone-numbers/"
    made = manager.post(there, CLINIC, format="json")
    assert (made.status_code, made["ETag"]) == (201, '"v1"')
    one = f"{there}{made.data['id']}/"
    changed = manager.patch(one, {"number": "555-0150"}, format="json", headers={"if-match": '"v1"'})
    assert changed.data["number"] == "555-0150"
    assert [r["number"] for r in api(cast.staff).get(there).data["results"]] == ["555-0150"]
    bad = manager.post(there, {**CLINIC, "number": "call Ana"}, format="json")
    assert (bad.status_code, list(bad.data["errors"])) == (400, ["number"])
    assert manager.post(f"{one}remove/").status_code == 204
    assert manager.get(one).status_code == 404
