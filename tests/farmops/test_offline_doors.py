"""What the book says to phones that keep pages: whose page it is, what may be kept, what the worker is."""

from __future__ import annotations

import pytest

from farmops.offline import reader_key
from tests.architecture.doors import farm_doors

NEVER = {"board/", "may-i-enter/", "early-entry/"}


def test_no_page_with_an_answer_about_ground_may_ever_be_kept():
    kept = {d.route for d in farm_doors() if getattr(d.view, "keep_offline", False)}
    assert {route for route in kept if any(part in route for part in NEVER)} == set()
    assert {route for route in kept if route.startswith("api/")} == set()


@pytest.mark.django_db
def test_the_worker_stands_at_the_root_and_is_asked_for_again_each_time(client):
    answer = client.get("/worker.js")
    assert answer["Content-Type"] == "text/javascript; charset=utf-8"
    assert (answer["Service-Worker-Allowed"], answer["Cache-Control"]) == ("/", "no-cache")
    assert "worker-src 'self'" in answer["Content-Security-Policy"]
    assert '"/static/farm/farm.css"' in answer.content.decode()
    assert not answer.cookies


def test_a_page_names_its_reader_without_naming_the_person(cast, browser_client):
    answer = browser_client(cast.staff).get("/f/alder-bend/board/")
    assert answer["Farm-Reader"] == reader_key(cast.staff.person_id)
    assert answer["Farm-Reader"] != reader_key(cast.manager.person_id)
    assert "Keep-Offline" not in answer.headers
    assert answer["Cache-Control"] == "no-store"


def _sent(client, reader: str, **values: str):
    return client.post("/f/alder-bend/me/", values, headers={"outbox": reader})


ME = {"full_name": "Ana Ruiz Soto", "email": "", "phone": "555-0111", "language": "es", "once_key": "a" * 16}


def test_a_waiting_form_is_answered_in_words_a_script_can_tell_from_a_log_in_page(cast, browser_client):
    answer = _sent(browser_client(cast.staff), reader_key(cast.staff.person_id), **ME)
    assert (answer.status_code, answer["Farm-Outbox"], answer.json()) == (200, "done", {"next": "/f/alder-bend/me/"})
    assert cast.person(cast.staff).full_name == "Ana Ruiz Soto"


def test_sent_twice_it_acts_once(cast, browser_client):
    client, reader = browser_client(cast.staff), reader_key(cast.staff.person_id)
    _sent(client, reader, **ME)
    person = cast.person(cast.staff)
    person.full_name = "Changed Meanwhile"
    person.save()
    again = _sent(client, reader, **ME)
    assert (again["Farm-Outbox"], cast.person(cast.staff).full_name) == ("done", "Changed Meanwhile")


def test_nobody_sends_what_another_person_wrote(cast, browser_client):
    answer = _sent(browser_client(cast.staff), reader_key(cast.manager.person_id), **ME)
    assert (answer.status_code, answer.headers.get("Farm-Outbox")) == (401, None)
    assert cast.person(cast.staff).full_name == "Ana Ruiz"
    nobody = _sent(browser_client(), reader_key(cast.staff.person_id), **ME)
    assert (nobody.status_code, nobody.headers.get("Farm-Outbox")) == (401, None)


def test_what_the_book_refuses_is_not_called_done(cast, browser_client):
    reader = reader_key(cast.staff.person_id)
    answer = _sent(browser_client(cast.staff), reader, **{**ME, "full_name": ""})
    assert (answer.status_code, answer["Farm-Reader"], answer.headers.get("Farm-Outbox")) == (400, reader, None)
