"""The calendar feed, the wishes and the numbers over HTTP and on the pages."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

import icalendar
import pytest
import time_machine
from django.test import Client

from apps.people.models import Membership, Person
from apps.reminders import services
from apps.reminders.models import CalendarAddress, Endpoint, Notice, Preference, SweepRun
from apps.reminders.rules import Due
from apps.reminders.services.telling import reconcile

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 17, 0, tzinfo=UTC)
API = "/api/v1/farms/alder-bend/"


def due(*people: int, **more) -> Due:
    given = {
        "kind": "task_coming", "subject_type": "task", "subject_id": 7, "occasion": "once", "person_ids": people,
        "template": "Weed block {block} at {at}.", "numbers": {"block": "7 North", "at": NOON},
        "path": "/f/alder-bend/", "at": NOON + timedelta(hours=2), "until": NOON + timedelta(hours=4), **more,
    }  # fmt: skip
    return Due(**given)


def feed(secret: str, at: datetime = NOON) -> list[icalendar.Event]:
    with time_machine.travel(at, tick=False):
        answer = Client().get(f"/calendar/{secret}.ics")
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    return list(icalendar.Calendar.from_ical(answer.content).walk("VEVENT"))


def facts(event: icalendar.Event) -> tuple[object, ...]:
    return (int(event["SEQUENCE"]), str(event["STATUS"]), event.decoded("DTSTART"), str(event["SUMMARY"]))


def test_an_event_keeps_its_uid_through_changes_and_is_cancelled_in_the_end(cast):
    secret, ana = services.open_calendar(member=cast.staff, now=NOON), cast.staff.person_id
    shown = []
    for minute, found in enumerate([[due(ana)], [due(ana, numbers={"block": "8", "at": NOON})], []]):
        reconcile(cast.farm, "tests", found, NOON + timedelta(minutes=minute))
        shown += feed(secret)
    starts_at = NOON + timedelta(hours=2)
    assert [facts(event) for event in shown] == [
        (0, "CONFIRMED", starts_at, "Weed block 7 North at Mon, Jun 1, noon CDT."),
        (1, "CONFIRMED", starts_at, "Weed block 8 at Mon, Jun 1, noon CDT."),
        (2, "CANCELLED", starts_at, "Weed block 8 at Mon, Jun 1, noon CDT."),
    ]
    assert {str(event["UID"]) for event in shown} == {f"notice-{Notice.rows.get().pk}@127.0.0.1"}
    assert b"DTSTART:20260601T190000Z" in shown[0].to_ical()
    assert "On the farm: Mon, Jun 1, 2:00 PM CDT." in str(shown[0]["DESCRIPTION"])


def test_what_is_over_is_not_cancelled_afterwards(cast):
    secret = services.open_calendar(member=cast.staff, now=NOON)
    reconcile(cast.farm, "tests", [due(cast.staff.person_id)], NOON)
    reconcile(cast.farm, "tests", [], NOON + timedelta(hours=5))
    assert [str(event["STATUS"]) for event in feed(secret)] == ["CONFIRMED"]


def test_whole_days_are_dates_of_the_farm(cast):
    secret = services.open_calendar(member=cast.staff, now=NOON)
    reconcile(cast.farm, "tests", [due(cast.staff.person_id, at=date(2026, 6, 3), until=date(2026, 6, 5))], NOON)
    (event,) = feed(secret)
    assert (event.decoded("DTSTART"), event.decoded("DTEND")) == (date(2026, 6, 3), date(2026, 6, 6))


def test_in_the_persons_language_with_nobody_elses_notices(cast, spanish):
    spanish["Weed block {block} at {at}."] = "Deshierbe el bloque {block} el {at}."
    Person.objects.filter(pk=cast.staff.person_id).update(language="es")
    secret = services.open_calendar(member=cast.staff, now=NOON)
    reconcile(cast.farm, "tests", [due(cast.staff.person_id), due(cast.manager.person_id, occasion="other")], NOON)
    (event,) = feed(secret)
    assert str(event["SUMMARY"]) == "Deshierbe el bloque 7 North el lunes 1 de junio, mediodía CDT."


def test_a_kind_left_out_is_not_in_it(cast, api):
    secret = services.open_calendar(member=cast.staff, now=NOON)
    reconcile(cast.farm, "tests", [due(cast.staff.person_id)], NOON)
    wish = {
        "quiet_from": "21:00", "quiet_to": "04:30", "digest_at": "05:00", "email": {"task_coming": "page"},
        "not_in_calendar": ["task_coming"],
    }  # fmt: skip
    answer = api(cast.staff).put(API + "notice-wishes/", wish, format="json")
    assert answer.json() == {**wish, "quiet_from": "21:00:00", "quiet_to": "04:30:00", "digest_at": "05:00:00"}
    assert feed(secret) == []


def test_a_new_address_ends_the_old_one_and_a_person_who_left_has_none(cast, api):
    first = api(cast.staff).post(API + "calendar/").json()["address"]
    second = api(cast.staff).post(API + "calendar/").json()["address"]
    paths = [address.removeprefix("http://127.0.0.1:8000") for address in (first, second)]
    assert [Client().get(path).status_code for path in paths] == [404, 200]
    assert CalendarAddress.rows.filter(secret_hash__in=paths).count() == 0  # only the hash is kept
    Membership.objects.for_farm(cast.farm).filter(person_id=cast.staff.person_id).update(active=False)
    assert Client().get(paths[1]).status_code == 404
    Membership.objects.for_farm(cast.farm).filter(person_id=cast.staff.person_id).update(active=True)
    assert api(cast.staff).delete(API + "calendar/").status_code == 204
    assert Client().get(paths[1]).status_code == 404


def test_a_feed_costs_the_same_with_many(cast, django_assert_num_queries):
    secret = services.open_calendar(member=cast.staff, now=NOON)
    for many in (1, 60):
        reconcile(cast.farm, "tests", [due(cast.staff.person_id, occasion=str(n)) for n in range(many)], NOON)
        with django_assert_num_queries(4):
            feed(secret)


# ---- wishes ----------------------------------------------------------------------------


def test_unknown_kinds_and_modes_are_named(cast, api):
    hours = {"quiet_from": "20:00", "quiet_to": "05:00", "digest_at": "05:15", "not_in_calendar": []}
    for email, field in (({"no_such_kind": "now"}, "email"), ({"task_coming": "shout"}, "email")):
        answer = api(cast.staff).put(API + "notice-wishes/", {**hours, "email": email}, format="json")
        assert (answer.status_code, [name.split(".")[0] for name in answer.json()["errors"]]) == (400, [field])
    assert Preference.rows.count() == 0


def text(answer) -> str:
    main = answer.content.decode().split('<main id="main"')[1].split("</main>")[0]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", main))


def test_the_wishes_page_saves_and_shows_what_was_saved(cast, browser_client):
    client, page = browser_client(cast.staff), "/f/alder-bend/notices/wishes/"
    sent = {"quiet_from": "21:00", "quiet_to": "04:00", "digest_at": "06:00", "task_coming": "digest", "calendar": []}
    answer = client.post(page, {**sent, "entry_opens": "usual"}, follow=True)
    assert "Saved. What waits follows your new wish." in answer.content.decode()
    row = Preference.rows.get()
    assert (f"{row.quiet_from:%H:%M}", row.email) == ("21:00", {"task_coming": "digest"})
    assert row.person_id == cast.staff.person_id
    shown = client.get(page).content.decode()
    assert re.search(r'name="quiet_from"[^>]* value="21:00"|value="21:00"[^>]* name="quiet_from"', shown)


def test_the_page_shows_a_new_calendar_address_once(cast, browser_client):
    client = browser_client(cast.staff)
    shown = client.post("/f/alder-bend/notices/calendar/", follow=True).content.decode()
    path = re.search(r"http://127\.0\.0\.1:8000(/calendar/[\w-]+\.ics)", shown)[1]
    assert Client().get(path).status_code == 200
    assert "/calendar/" not in text(client.get("/f/alder-bend/notices/wishes/"))


def test_the_other_programs_page_adds_turns_off_and_shows_the_secret_once(cast, browser_client):
    client, page = browser_client(cast.manager), "/f/alder-bend/webhooks/"
    shown = client.post(page, {"url": "https://program.example/farm"}, follow=True).content.decode()
    row = Endpoint.rows.get()
    assert (row.secret in shown, row.secret in client.get(page).content.decode()) == (True, False)
    client.post(f"{page}{row.pk}/switch/", {"on": "0"})
    assert "Off." in text(client.get(page))
    client.post(f"{page}{row.pk}/switch/", {"on": "1"})
    assert "In use." in text(client.get(page))
    bad = client.post(page, {"url": "http://program.example/"})
    assert (bad.status_code, "Must begin with https" in text(bad)) == (400, True)


def test_a_dangerous_notice_is_acknowledged_with_its_own_button(cast, browser_client):
    services.tell(
        farm=cast.farm, kind="job_over_label", subject=("job", 7), occasion="once", to=[cast.applicator.person_id],
        template="Stop.", urgent=True, now=NOON,
    )  # fmt: skip
    client = browser_client(cast.applicator)
    assert "I have it" in text(client.get("/f/alder-bend/notices/"))
    after = client.post(f"/f/alder-bend/notices/{Notice.rows.get().pk}/seen/", follow=True).content.decode()
    assert "You have it. Nobody else is called about it now." in after


# ---- is it alive? ----------------------------------------------------------------------


def test_the_dead_mans_switch_fails_when_no_sweep_ended_lately(sources, db):
    sources()
    assert (Client().get("/sweepz").status_code, Client().get("/sweepz").json()["late"]) == (503, True)
    services.sweep(NOON)
    for minutes, status in ((4, 200), (6, 503)):
        with time_machine.travel(NOON + timedelta(minutes=minutes), tick=False):
            answer = Client().get("/sweepz")
        assert (answer.status_code, round(answer.json()["lag_seconds"] / 60)) == (status, minutes)


def numbers(**headers) -> str:
    return Client().get("/metrics", headers=headers).content.decode()


def test_the_numbers_are_read_from_the_book_when_asked_for(cast, sources):
    sources()
    services.add_endpoint(member=cast.manager, url="https://program.example/", kinds=[], now=NOON)
    Person.objects.filter(pk=cast.manager.person_id).update(email="ines@farm.example")
    services.tell(
        farm=cast.farm, kind="sign_down_due", subject=("sign", 7), occasion="once", to=[cast.manager.person_id],
        template="Take it down.", now=NOON,
    )  # fmt: skip
    SweepRun.objects.create(pk=1, last_finished_at=NOON, sweeps=12)
    with time_machine.travel(NOON + timedelta(minutes=7), tick=False):
        lines = numbers().splitlines()
    expected = [
        "farmops_reminders_late 1.0", "farmops_reminders_last_sweep_age_seconds 420.0",
        "farmops_reminders_sweeps_total 12.0", 'farmops_reminders_waiting{what="notice"} 1.0',
        'farmops_reminders_waiting{what="call"} 1.0', 'farmops_reminders_oldest_waiting_seconds{what="call"} 420.0',
        "farmops_reminders_farm_changes 1.0",
    ]  # fmt: skip
    assert [line for line in expected if line not in lines] == []
    assert not any("Alder" in line or "alder" in line for line in lines)


def test_the_numbers_are_for_the_token_or_this_machine_only(db, settings):
    assert "farmops_reminders_late" in numbers()
    assert Client().get("/metrics", headers={"X-Forwarded-For": "127.0.0.1"}).status_code == 404
    assert Client(REMOTE_ADDR="10.0.0.9").get("/metrics").status_code == 404
    settings.METRICS_TOKEN = "a-long-secret"
    assert Client().get("/metrics").status_code == 404
    assert Client().get("/metrics", headers={"Authorization": "Bearer wrong"}).status_code == 404
    assert "farmops_reminders_late" in numbers(Authorization="Bearer a-long-secret")
