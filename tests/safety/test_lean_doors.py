"""The short way to an answer gives the bytes of the long way, and whatever is not plain goes the long way."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.test import Client
from rest_framework.renderers import JSONRenderer

from apps.people import services as people
from apps.people.models import Farm, Person
from apps.safety import api as doors
from apps.safety import reading
from apps.safety.seen.models import AnswerGiven
from farmops.lean import LeanAPI, as_json
from tests.factories.land import BlockFactory
from tests.factories.safety import ClosureFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 14, 30, 15, 250, tzinfo=UTC)
HOUR = timedelta(hours=1)
PART = {"type": "Point", "coordinates": [1.5, 2]}
HUNG = [
    [],
    [{"starts_at": NOW - HOUR}],
    [{"kind": "harvest"}, {"kind": "planned", "starts_at": NOW + HOUR}],
    [{"starts_at": NOW - HOUR, "activities": ["picking_by_hand"], "product_names": ["Demo “A”\u2028\n/é\x7f"]}],
    [{"kind": "underway"}, {"kind": "unconfirmed"}, {"kind": "posted"}],
    [{"kind": "zone", "reason_code": "zone", "ends_at": None, "numbers": {"next_to": "<S1> & ñ"}}],
    [{"starts_at": NOW - HOUR, "part": PART, "numbers": {"acres": "1.25 ac"}}],
    [{"starts_at": NOW - HOUR, "activities": 7}],
]
ASKED = ["", "?activity=irrigation", "?at=2026-06-02T01:00:00-05:00", "?part=rest", "?activity=other&part=rest"]


@pytest.fixture
def block(cast):
    return BlockFactory(farm=cast.farm, name="North Seven", code="N7")


@pytest.fixture
def both_ways(cast, api, browser_client, monkeypatch):
    """Asks an address by the short way and by the long way; says which way it really went."""
    went = []
    short = LeanAPI._short
    monkeypatch.setattr(LeanAPI, "_short", lambda self, *a, **kw: went.append("short") or short(self, *a, **kw))

    def ask(address, language="en", who=cast.staff):
        headers = {"Accept-Language": language}
        with time_machine.travel(NOW, tick=False):
            client = browser_client(who)
            client.cookies["django_language"] = language
            quick = client.get(address)
            assert went == ["short"]
            plain = api(who).get(address, headers=headers)
        assert went == ["short"]
        went.clear()
        return quick, plain

    return ask


@pytest.mark.parametrize("hung", HUNG, ids=range(len(HUNG)))
@pytest.mark.parametrize("language", ["en", "es"])
def test_both_ways_give_the_same_bytes_and_headers(block, both_ways, hung, language):
    for more in hung:
        ClosureFactory(block=block, **more)
    base = "/api/v1/farms/alder-bend/"
    questions = [f"{base}blocks/{block.pk}/{door}/{asked}" for door in ("entry", "harvest") for asked in ASKED]
    for address in [*questions, *(f"{base}board/{asked}" for asked in ASKED[:3])]:
        quick, plain = both_ways(address, language)
        assert (quick.status_code, quick.content) == (200, plain.content)
        assert {**quick.headers, "Vary": ""} == {**plain.headers, "Vary": ""}
        assert set(plain["Vary"].split(", ")) <= set(quick["Vary"].split(", "))
        assert quick["Cache-Control"] == "no-store"


def test_any_body_is_written_as_the_framework_writes_it():
    body = {
        "text": "".join(map(chr, range(0x250))) + "\u2027\u2028\u2029\u202a\ufeff\U0001f33e",
        "times": [NOW, NOW.replace(microsecond=0), NOW.astimezone(tz=None)],
        "none": None, "flags": [True, False], "numbers": [0, -1, 2**53],
        "nested": [{}, [], {"": [{"a": "b"}]}],
    }  # fmt: skip
    assert as_json(body) == JSONRenderer().render(body)


def test_the_answer_takes_two_queries_beside_the_log_in(cast, block, browser_client, django_assert_num_queries):
    client = browser_client(cast.staff)
    for door in (f"blocks/{block.pk}/entry", f"blocks/{block.pk}/harvest", "board"):
        with django_assert_num_queries(4):  # session, person; member, block with its closures
            client.get(f"/api/v1/farms/alder-bend/{door}/")


@pytest.mark.parametrize("door", ["blocks/{}/entry/", "blocks/{}/harvest/", "board/"])
def test_with_a_session_too_strangers_learn_nothing(cast, block, browser_client, door):
    address = "/api/v1/farms/alder-bend/" + door.format(block.pk)
    for who in (cast.outsider, cast.neighbour):
        answer = browser_client(who).get(address)
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
        assert "North Seven" not in answer.content.decode()
    answer = Client().get(address)
    assert (answer.status_code, answer["Content-Type"]) == (401, "application/problem+json")


def test_a_role_that_may_not_is_told_so_with_a_session(cast, block, browser_client, monkeypatch):
    monkeypatch.setattr(doors.Entry, "needs", {})
    answer = browser_client(cast.staff).get(f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/")
    assert (answer.status_code, answer.json()["detail"]) == (403, "Nobody may do this here.")


def test_who_was_locked_out_is_out_at_once(cast, block, browser_client):
    client = browser_client(cast.staff)
    Person.objects.filter(pk=cast.staff.person_id).update(is_active=False)
    assert client.get(f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/").status_code == 401


def test_a_key_opens_its_own_farm_and_goes_the_long_way(cast, block, monkeypatch):
    monkeypatch.setattr(LeanAPI, "_short", None)
    made = {}
    for member in (cast.staff, cast.neighbour):
        _, made[member.name] = people.make_token(member=member, name="phone", now=datetime.now(UTC))
    address = f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/"
    answer = Client().get(address, headers={"Authorization": f"Bearer {made[cast.staff.name]}"})
    assert (answer.status_code, answer.json()["answer"]) == (200, "yes")
    assert Client().get(address, headers={"Authorization": f"Bearer {made['Otto Vance']}"}).status_code == 404
    wrong = Client().get(address, headers={"Authorization": "Bearer nobody.atall"})
    assert (wrong.status_code, wrong["Content-Type"]) == (401, "application/problem+json")


def test_a_wrong_key_beside_a_good_session_is_still_a_wrong_key(cast, block, browser_client):
    client = browser_client(cast.staff)
    address = f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/"
    assert client.get(address, headers={"Authorization": "Bearer nobody.atall"}).status_code == 401


@pytest.mark.parametrize(
    ("method", "accept", "status"),
    [("head", "*/*", 200), ("options", "*/*", 200), ("post", "*/*", 403), ("get", "text/html", 406),
     ("get", "application/json; indent=2", 200), ("get", "text/html, */*", 200)],
)  # fmt: skip
def test_what_is_not_plain_is_answered_as_everywhere(cast, block, browser_client, method, accept, status):
    client = browser_client(cast.manager)
    answer = getattr(client, method)(f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/", headers={"Accept": accept})
    assert answer.status_code == status
    if "indent" in accept:
        assert answer.content.startswith(b'{\n  "block_id"')


def test_bad_input_and_another_farms_block_are_put_in_words(cast, block, browser_client):
    client = browser_client(cast.staff)
    theirs = BlockFactory(farm=cast.other_farm)
    answer = client.get(f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/?activity=dancing")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, ["activity"])
    for number in (theirs.pk, 10**30):
        answer = client.get(f"/api/v1/farms/alder-bend/blocks/{number}/entry/")
        assert (answer.status_code, answer.json()["title"]) == (404, "Not found")


def test_a_fault_on_the_short_way_is_answered_unknown(cast, block, browser_client, monkeypatch):
    def broken(*args, **kwargs):
        raise RuntimeError("disk")

    monkeypatch.setattr(reading, "ground_and_hung", broken)
    body = browser_client(cast.staff).get(f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/").json()
    assert (body["answer"], body["because"][0]["code"]) == ("unknown", "fault")


def test_a_fault_in_writing_the_answer_down_goes_the_long_way(cast, block, browser_client, monkeypatch):
    monkeypatch.setattr("farmops.lean.as_json", None)
    answer = browser_client(cast.staff).get(f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/")
    assert (answer.status_code, answer.json()["answer"]) == (200, "yes")


def test_an_answer_is_kept_once_by_either_way(cast, block, both_ways):
    Farm.objects.filter(pk=cast.farm.pk).update(keep_answers=True)
    both_ways(f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/?activity=irrigation&part=rest")
    kept = AnswerGiven.rows.values_list("person_id", "answer", "activity", "rest", "how", "block_id")
    assert list(kept) == [(cast.staff.person_id, "yes", "irrigation", True, "api", block.pk)] * 2
