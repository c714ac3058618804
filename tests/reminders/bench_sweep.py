"""What a sweep costs with 10, 100 and 1,000 farms of 50 blocks when the same twenty things are due.

``pytest -c .pytest.ini -s tests/reminders/bench_sweep.py``; not collected by the suite. The floor is what the same run
pays for asking every source about every farm, as a sweep without a watch would.
"""

from __future__ import annotations

import os
import time
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.audit import services as audit
from apps.land.models import Block
from apps.people.models import Farm, Person
from apps.reminders import services, sources
from apps.reminders.models import Notice, SweepRun, Watch
from farmops import clock
from tests.factories.land import BlockFactory
from tests.factories.people import FarmFactory, MembershipFactory, PersonFactory
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db
BLOCKS, BUSY, TASKS = 50, 5, 4
FLOOR = int(os.environ.get("BENCH_FLOOR", "100"))
"""Asking everybody is not measured with more farms: minutes of what nobody does."""
SAME = ["polygon", "mapped_acres", "planted_acres", "min_lon", "min_lat", "max_lon", "max_lat"]


def grow(to: int, person: Person) -> None:
    """Farms with fifty blocks each, all looked at a moment ago and at rest until tomorrow."""
    have, pattern = Farm.objects.count(), BlockFactory.build(farm=None, field=None)
    farms = FarmFactory.create_batch(to - have)
    now = clock.now()
    for farm in farms:
        MembershipFactory(farm=farm, person=person, is_manager=True)
        first = BlockFactory(farm=farm)
        like = {name: getattr(pattern, name) for name in SAME}
        rows = [Block(farm=farm, field=first.field, code=f"K{n}", name=f"K{n}", **like) for n in range(BLOCKS - 1)]
        Block.objects.for_farm(farm).bulk_create(rows)
    Watch.objects.bulk_create([Watch(farm=f, looked_at=now, look_at=now + timedelta(hours=5)) for f in farms])
    mark = sources.fingerprint(sources.load_all()[0])
    SweepRun.objects.update_or_create(pk=1, defaults={"sources": mark})


def make_due(person: Person, member: object) -> None:
    """Twenty tasks that begin within the hour, on five farms, each planned with its line in the trail."""
    now = clock.now()
    for farm in Farm.objects.order_by("pk")[:BUSY]:
        block = Block.objects.for_farm(farm).first()
        for n in range(TASKS):
            given = {"assigned_to": person, "planned_by": person, "starts_at": now + timedelta(minutes=30 + n)}
            task = TaskFactory(farm=farm, block=block, **given)
            audit.record(farm=farm, actor=person, verb="planned", subject=task, now=now)


def cost(act) -> tuple[float, int]:
    with CaptureQueriesContext(connection) as asked:
        begun = time.perf_counter()
        act()
        spent = time.perf_counter() - begun
    return spent * 1000, len(asked)


def ask_everybody() -> None:
    now, found = clock.now(), sources.load_all()[0]
    for farm in Farm.objects.all():
        for source in found.values():
            source.due(farm, now)


def test_the_cost_follows_what_is_due(db):
    person = PersonFactory()
    print(f"\n{connection.vendor}, ms (queries): farms | twenty due | nothing due | asking everybody")
    for farms in (10, 100, 1000):
        grow(farms, person)
        services.sweep(clock.now())
        make_due(person, None)
        before = Notice.rows.count()
        due = cost(lambda: services.sweep(clock.now()))
        assert Notice.rows.count() - before == BUSY * TASKS
        idle = min(cost(lambda: services.sweep(clock.now())) for _ in range(5))
        floor = cost(ask_everybody) if farms <= FLOOR else None
        shown = f"{floor[0]:.0f} ({floor[1]})" if floor else "not run"
        print(f"{farms:>6} | {due[0]:.0f} ({due[1]}) | {idle[0]:.1f} ({idle[1]}) | {shown}")
