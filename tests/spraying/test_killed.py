"""Real processes on PostgreSQL, killed in the middle of a step or two at once: one record or none, never half."""

from __future__ import annotations

import time
from collections import Counter
from datetime import timedelta

import pytest

from apps.safety.models import Closure
from apps.spraying import proof
from apps.spraying.models import Job, SprayRecord
from tests.conftest import place
from tests.factories.spraying import REPORTED, SIGNED, certify
from tests.processes import said, started

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]
HOUR = timedelta(hours=1)


def died(step: str, bench, job, now) -> dict:
    asked = {"farm": bench.farm.slug, "person": bench.applicator.person_id, "job": job.pk, "now": now.isoformat()}
    return said(started("tests.spraying.dying", "die", step, asked=asked))


def faults(bench) -> list:
    return [fault for _, fault in proof.faults([bench.farm], {})]


def test_a_process_killed_in_the_middle_of_each_step_leaves_nothing_half(bench):
    """Killed after its first write, then after later ones up to the commit; let through: one record a signature."""
    job = bench.spraying()
    walk = [
        ("finish", REPORTED, "sprayed", 0),
        ("sign", SIGNED, "signed", 1),
        ("amend", SIGNED + HOUR, "sprayed", 1),
        ("sign", SIGNED + HOUR, "signed", 2),
        ("void", SIGNED + HOUR, "sprayed", 3),
        ("not_applied", SIGNED + 2 * HOUR, "called_off", 4),
    ]
    for step, now, state, records in walk:
        found = died(step, bench, job, now)
        assert (step, found["code"], found["changed"]) == (step, 0, [])
        assert found["deaths"] >= 2, step
        assert (Job.rows.get(pk=job.pk).state, SprayRecord.rows.count()) == (state, records)
        assert faults(bench) == []
    assert Closure.rows.filter(lifted_at=None).count() == 0


def test_two_people_sign_the_same_job_and_one_record_stands(bench):
    boss = place(bench.farm, "applicator", "Pia Holm", "pia")
    certify(bench.farm, boss.person_id, "777")
    job = bench.sprayed(supervisor_id=boss.person_id)
    asked = {"farm": bench.farm.slug, "job": job.pk, "now": SIGNED.isoformat(), "at": time.time() + 8}
    people = (bench.applicator, boss, bench.applicator)
    racing = [started("tests.spraying.dying", "once", "sign", asked={**asked, "person": p.person_id}) for p in people]
    outcomes = Counter(said(process)["outcome"] for process in racing)
    assert outcomes["done"] == 1
    assert set(outcomes) <= {"done", "wrong_state", "Stale"}
    record = SprayRecord.rows.get()
    assert record.signed_by_id in {p.person_id for p in people}
    assert sorted(Closure.rows.filter(lifted_at=None).values_list("kind", flat=True)) == ["entry", "harvest"]
    assert faults(bench) == []
