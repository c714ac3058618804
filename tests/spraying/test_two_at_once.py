"""Two people at once, on real transactions: one assignment, one signature, one chain, nobody sprayed on."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier

import pytest
from django.db import OperationalError, connection, connections

from apps.inventory import queries as shed
from apps.safety.models import Closure
from apps.spraying import proof, services
from apps.spraying.models import Job, JobStep, SprayRecord
from apps.spraying.rules.record import Meaning
from apps.spraying.services.sign import shown
from apps.work.models import Task
from apps.work.services import start_task
from farmops.errors import FarmError, Refused
from tests.factories.crops import PlantingFactory
from tests.factories.land import BlockFactory
from tests.factories.spraying import NOW, PASSWORD, READINGS, SIGNED, STARTED, WINDOW, line, plot_of, shield_document
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db(transaction=True)


def patiently(act: Callable[[], object]) -> object:
    """SQLite's shared memory turns a second writer away instead of letting it wait; whoever is turned away repeats."""
    for _ in range(400):
        try:
            return act()
        except OperationalError as error:
            if connection.vendor != "sqlite" or "locked" not in str(error):
                raise
            time.sleep(0.01)
    raise AssertionError("never got its turn")


def at_once(acts: list[Callable[[], object]]) -> Counter[str]:
    """Run all of them at the same moment, each on its own connection; how often each outcome came."""
    gate = Barrier(len(acts))

    def run(act: Callable[[], object]) -> str:
        try:
            gate.wait(timeout=30)
            patiently(act)
            return "done"
        except Refused as no:
            return no.findings[0].code
        except FarmError as no:
            return type(no).__name__
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(acts)) as pool:
        return Counter(pool.map(run, acts))


def test_a_job_is_assigned_once_however_many_press(bench):
    job = bench.planned()

    def assign() -> object:
        return services.assign_job(member=bench.manager, job_id=job.pk, reason="as planned", now=NOW)

    assert at_once([assign] * 4) == {"done": 1, "wrong_state": 3}
    assert JobStep.rows.filter(job=job, step="assign").count() == 1
    assert Closure.rows.count() == 1
    assert shed.rebuild_balances(bench.farm) == []
    assert len(shed.reserved_for(bench.farm, ("job", job.pk))) == 1


def test_two_managers_who_read_the_same_version_do_not_both_win(bench):
    job = bench.planned()

    def assign() -> object:
        return services.assign_job(
            member=bench.manager, job_id=job.pk, reason="as planned", expected_version=1, now=NOW
        )

    def edit() -> object:
        return services.edit_job(
            member=bench.manager, job_id=job.pk, expected_version=1, changes={"notes": "mine"}, now=NOW
        )

    outcome = at_once([assign, edit])
    assert outcome["done"] == 1
    assert Job.rows.get(pk=job.pk).version == 2


def test_the_last_of_the_stock_is_promised_once(bench):
    acres = bench.blocks[0].planted_acres
    scarce = bench.product_of("Demo Scarce", shield_document(), amount=str(6 * acres), unit="floz")
    jobs = [bench.planned(products=[line(scarce)], blocks=[{"block_id": b.pk}]) for b in bench.blocks]
    acts = [
        lambda j=job: services.assign_job(member=bench.manager, job_id=j.pk, reason="as planned", now=NOW)
        for job in jobs
    ]
    assert at_once(acts) == {"done": 1, "stock_short": 1}
    assert sorted(Job.rows.values_list("state", flat=True)) == ["assigned", "draft"]
    assert shed.rebuild_balances(bench.farm) == []


def test_the_same_signature_by_many_is_one_record(bench):
    job = bench.sprayed()
    _, body_hash, _ = shown(job, bench.applicator, Meaning.APPLIED)

    def sign() -> object:
        return services.sign_off(
            member=bench.applicator, job_id=job.pk, password=PASSWORD, checked=True, body_hash=body_hash, now=SIGNED
        )

    assert at_once([sign] * 4) == {"done": 1, "wrong_state": 3}
    assert SprayRecord.rows.count() == 1
    assert proof.chain(bench.farm).fault is None
    assert sorted(Closure.rows.filter(lifted_at=None).values_list("kind", flat=True)) == ["entry", "harvest"]


def test_signing_and_unsaying_at_once_leave_one_of_the_two(bench):
    job = bench.sprayed()
    applied = shown(job, bench.applicator, Meaning.APPLIED)[1]
    nothing = shown(job, bench.applicator, Meaning.NOT_APPLIED)[1]
    mine = {"member": bench.applicator, "job_id": job.pk, "password": PASSWORD, "checked": True, "now": SIGNED}
    outcome = at_once(
        [
            lambda: services.sign_off(**mine, body_hash=applied),
            lambda: services.sign_not_applied(**mine, body_hash=nothing, reason="wrong field"),
        ]
    )
    assert outcome["done"] == 1
    record = SprayRecord.rows.get()
    hanging = Closure.rows.filter(lifted_at=None).count()
    assert (record.meaning, hanging) in {("applied", 2), ("not_applied", 0)}
    assert [found for _, found in proof.faults([bench.farm], {})] == []


def test_many_jobs_signed_at_once_make_one_unbroken_chain(bench):
    blocks = [BlockFactory(farm=bench.farm, code=f"Q{n}", polygon=plot_of(10 + n)) for n in range(5)]
    for block in blocks:
        PlantingFactory(farm=bench.farm, block=block, crop=bench.crop, sown_on="2026-06-10")
    jobs = [bench.sprayed(blocks=[{"block_id": block.pk}]) for block in blocks]
    hashes = {job.pk: shown(job, bench.applicator, Meaning.APPLIED)[1] for job in jobs}
    acts = [
        lambda pk=pk, h=h: services.sign_off(
            member=bench.applicator, job_id=pk, password=PASSWORD, checked=True, body_hash=h, now=SIGNED
        )
        for pk, h in hashes.items()
    ]
    assert at_once(acts) == {"done": 5}
    found = proof.chain(bench.farm)
    assert (found.records, found.fault) == (5, None)
    assert [fault for _, fault in proof.faults([bench.farm], {})] == []


def test_jobs_planned_at_once_get_a_number_each(bench):
    assert at_once([bench.planned] * 4) == {"done": 4}
    assert sorted(Job.rows.values_list("number", flat=True)) == [1, 2, 3, 4]


def test_a_call_off_and_a_start_at_once_leave_the_block_closed(bench):
    job = bench.assigned()
    outcome = at_once(
        [
            lambda: services.call_off(member=bench.manager, job_id=job.pk, reason="too windy", now=STARTED),
            lambda: services.start_spraying(member=bench.applicator, job_id=job.pk, readings=READINGS, now=STARTED),
        ]
    )
    assert outcome == {"done": 1, "wrong_state": 1}
    kind = Closure.rows.get(lifted_at=None).kind
    assert (Job.rows.get(pk=job.pk).state, kind) in {("called_off", "planned"), ("spraying", "underway")}


def test_nobody_is_sent_into_a_block_at_the_moment_spraying_starts(bench, cast):
    """A second before the window the board still says yes; the other presses start as the window begins."""
    job = bench.assigned()
    task = TaskFactory(farm=bench.farm, block=bench.blocks[0], assigned_to_id=cast.staff.person_id, starts_at=WINDOW[0])
    outcome = at_once(
        [
            lambda: start_task(member=cast.staff, task_id=task.pk, now=WINDOW[0] - timedelta(seconds=1)),
            lambda: services.start_spraying(
                member=bench.applicator, job_id=job.pk, readings=READINGS, reason="looked all round", now=WINDOW[0]
            ),
        ]
    )
    assert outcome["done"] == 1
    ended = (Job.rows.get(pk=job.pk).state, Task.rows.get(pk=task.pk).state)
    assert ended in {("spraying", "planned"), ("assigned", "started")}
