"""A task is started at the very moment a closure is hung: whoever comes second sees the first."""

from __future__ import annotations

import threading
import time

from django.conf import settings
from django.db import connection, transaction

from apps.safety.models import Closure
from apps.safety.rules import Kind, NewClosure, Reason
from apps.safety.services import hang_closures
from apps.work import services
from farmops.errors import Refused
from tests.factories.land import BlockFactory
from tests.factories.work import TaskFactory
from tests.work.conftest import HOUR, NOON


def spraying(block_id: int) -> NewClosure:
    return NewClosure(
        block_id=block_id,
        kind=Kind.UNDERWAY,
        reason_code=Reason.SPRAYING,
        starts_at=NOON,
        provisional_ends_at=NOON + HOUR,
        product_names=("Demo Fungicide",),
    )


def test_a_start_waits_for_a_closure_being_hung_and_is_refused(transactional_db, cast):
    block = BlockFactory(farm=cast.farm)
    task = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id)
    if connection.vendor == "sqlite":
        # One writer at a time from the first statement on: the two can never overlap here.
        assert settings.DATABASES["default"]["OPTIONS"]["transaction_mode"] == "IMMEDIATE"
        return
    said: list[object] = []

    def start() -> None:
        try:
            said.append(services.start_task(member=cast.staff, task_id=task.pk, now=NOON))
        except Refused as refused:
            said.append([f.code for f in refused.findings])
        finally:
            connection.close()

    other = threading.Thread(target=start)
    with transaction.atomic():
        hang_closures(farm=cast.farm, member=cast.applicator, source="job:1", closures=[spraying(block.pk)], now=NOON)
        other.start()
        time.sleep(0.5)
        assert said == []  # it waits for the ground
    other.join(20)
    assert said == [["board_no", "spraying_now"]]
    task.refresh_from_db()
    assert (task.state, Closure.objects.for_farm(cast.farm).count()) == ("planned", 1)


def test_the_same_start_by_two_at_once_happens_once(transactional_db, cast):
    task = TaskFactory(farm=cast.farm, block=BlockFactory(farm=cast.farm), assigned_to_id=cast.staff.person_id)
    if connection.vendor == "sqlite":
        assert settings.DATABASES["default"]["OPTIONS"]["transaction_mode"] == "IMMEDIATE"
        return
    said: list[str] = []

    def start(member) -> None:
        try:
            said.append(services.start_task(member=member, task_id=task.pk, now=NOON).state)
        except Refused as refused:
            said.append(refused.findings[0].code)
        finally:
            connection.close()

    both = [threading.Thread(target=start, args=(m,)) for m in (cast.staff, cast.manager)]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join(20)
    assert sorted(said) == ["started", "wrong_state"]
    assert task.steps.count() == 1
