"""A real Celery worker and beat on Redis and PostgreSQL: a due notice is made and mailed, once, through kill -9."""

from __future__ import annotations

import sys
from datetime import time, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection

from apps.people.models import Person
from apps.reminders.models import Letter, Notice, Preference, SweepRun
from farmops import clock
from tests.factories.land import BlockFactory
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.services
CELERY = [str(Path(sys.executable).parent / "celery"), "-A", "farmops"]


def worker(elsewhere):
    command = [*CELERY, "worker", "--loglevel", "warning", "--concurrency", "1", "--without-mingle", "--without-gossip"]
    return elsewhere.start(*command, REDIS_URL=settings.REDIS_URL)


def swept_since(moment):
    return lambda: SweepRun.objects.filter(last_finished_at__gt=moment).exists()


def test_a_due_notice_is_mailed_once_though_the_worker_is_killed(elsewhere, cast, tmp_path):
    assert (connection.vendor, bool(settings.REDIS_URL)) == ("postgresql", True), "set DATABASE_URL and REDIS_URL"
    Person.objects.filter(pk=cast.staff.person_id).update(email="ana@farm.example", language="es")
    never = {"quiet_from": time(0), "quiet_to": time(0)}
    Preference.objects.add(farm=cast.farm, person_id=cast.staff.person_id, **never)
    task = TaskFactory(
        farm=cast.farm,
        block=BlockFactory(farm=cast.farm),
        assigned_to_id=cast.staff.person_id,
        planned_by_id=cast.staff.person_id,
        starts_at=clock.now() + timedelta(minutes=50),
    )
    office = elsewhere.office
    office.stuck_at = "DATA"
    beat = ["beat", "--loglevel", "warning", "--schedule", str(tmp_path / "beat")]
    elsewhere.start(*CELERY, *beat, REDIS_URL=settings.REDIS_URL)
    first = worker(elsewhere)
    elsewhere.wait(office.reached.is_set, seconds=60)  # claimed, and in the middle of sending
    elsewhere.kill(first)
    office.stuck_at = ""
    elsewhere.lease_over()
    worker(elsewhere)
    elsewhere.wait(lambda: office.taken, seconds=60)
    elsewhere.wait(lambda: Letter.rows.filter(outcome="sent").exists())
    for _ in range(3):  # more sweeps by the living worker, nothing new
        elsewhere.wait(swept_since(clock.now()))
    told, row = Notice.rows.get(), Letter.rows.get()
    assert (told.kind, told.subject_id, told.letter, row.attempts) == ("task_coming", str(task.pk), row, 2)
    assert [(m["To"], m["Message-ID"], m["Content-Language"]) for m in office.letters] == [
        ("ana@farm.example", f"<letter-{row.pk}-{row.created_at:%Y%m%d%H%M%S}@farm.example>", "es")
    ]
