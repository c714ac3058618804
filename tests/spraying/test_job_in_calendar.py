"""A spray job in its applicator's calendar: one event with its window, cancelled with the job (RFC 5545, 5546)."""

from __future__ import annotations

from datetime import timedelta

import icalendar
import pytest
import time_machine
from django.test import Client

from apps.reminders import services as reminders
from apps.reminders.models import Notice
from apps.spraying import services
from tests.factories.spraying import NOW, WINDOW

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def calendar(bench):
    secret = reminders.open_calendar(member=bench.applicator, now=NOW)

    def of(kind: str, at=NOW) -> list[icalendar.Event]:
        with time_machine.travel(at, tick=False):
            body = Client().get(f"/calendar/{secret}.ics").content
        events = icalendar.Calendar.from_ical(body).walk("VEVENT")
        return [event for event in events if event["CATEGORIES"].to_ical().decode() == kind]

    return of


def said(event: icalendar.Event) -> tuple[object, ...]:
    return (str(event["STATUS"]), event.decoded("DTSTART"), event.decoded("DTEND"))


def test_the_window_stands_in_the_calendar_and_is_cancelled_with_the_job(bench, calendar):
    job = bench.assigned()
    (before,) = calendar("job_assigned")
    assert said(before) == ("CONFIRMED", *WINDOW)
    services.call_off(member=bench.manager, job_id=job.pk, reason="rain is coming", now=NOW + MINUTE)
    (after,) = calendar("job_assigned", NOW + MINUTE)
    assert said(after) == ("CANCELLED", *WINDOW)
    assert (after["UID"], after["SEQUENCE"] > before["SEQUENCE"]) == (before["UID"], True)


def test_another_job_is_another_event(bench, calendar):
    first = bench.assigned()
    services.call_off(member=bench.manager, job_id=first.pk, reason="rain is coming", now=NOW + MINUTE)
    later = (WINDOW[0] + timedelta(hours=3), WINDOW[1] + timedelta(hours=3))
    bench.assigned(now=NOW + 2 * MINUTE, window_starts_at=later[0], window_ends_at=later[1])
    events = calendar("job_assigned", NOW + 3 * MINUTE)
    assert [said(event) for event in events] == [("CANCELLED", *WINDOW), ("CONFIRMED", *later)]
    assert len({str(event["UID"]) for event in events}) == 2


def test_an_assigned_job_that_is_called_off_before_its_e_mail_went_is_mailed_once(bench):
    job = bench.assigned()
    services.call_off(member=bench.manager, job_id=job.pk, reason="rain is coming", now=NOW + MINUTE)
    mine = Notice.objects.for_farm(bench.farm).filter(person_id=bench.applicator.person_id, withdrawn_at=None)
    assert [row.kind for row in mine] == ["job_called_off"]
