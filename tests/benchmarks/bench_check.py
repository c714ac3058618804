"""What the check of a five-product mix costs against the length of the history: 10, 100, 1,000 jobs in ten years.

Not collected with the tests. Run: ``pytest -c .pytest.ini tests/benchmarks/bench_check.py --benchmark-only``.
The floor is the same check without any history, in the same run; ``rules`` is the arithmetic alone, ``job`` the
whole way from the tables. The number of queries is asserted to be the same for every length.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.spraying import checking, queries
from apps.spraying.models import Job, JobBlock, JobProduct
from apps.spraying.rules import check
from tests.factories.products import label_document
from tests.factories.spraying import NOW, WINDOW, bench_for, line
from tests.spraying.mixes import facts, past

LENGTHS = [0, 10, 100, 1000]
MIX = [("F1", 2), ("F3", 5), ("F4", 6), ("I4", 4), ("N1", 2)]
TEN_YEARS = 3650


def day(place: int, of: int) -> str:
    """Days spread evenly over the ten years before the planned spray."""
    return str((datetime(2026, 7, 20, tzinfo=UTC) - timedelta(days=TEN_YEARS * place // max(of, 1))).date())


@pytest.mark.parametrize("jobs", LENGTHS)
def test_rules(benchmark, jobs):
    """The arithmetic of one block; 0 jobs is the floor."""
    history = [past(day(n, jobs), *MIX) for n in range(jobs)]
    found = benchmark(lambda: check(facts(MIX, history)))
    assert bool(found) or jobs == 0


def write_history(bench, products, jobs: int) -> None:
    """Signed jobs as they would stand in the tables, written in bulk."""
    farm, block = bench.farm, bench.blocks[0]
    common = {
        "farm": farm,
        "sprayer": bench.sprayer,
        "applicator_id": bench.applicator.person_id,
        "spray_gpa": Decimal(30),
        "created_by_id": bench.manager.person_id,
        "state": "signed",
    }
    rows = []
    for n in range(jobs):
        at = WINDOW[0] - timedelta(days=14 + TEN_YEARS * n // jobs)
        times = {"window_starts_at": at, "window_ends_at": at + timedelta(hours=2)}
        done = {"started_at": at, "ended_at": at + timedelta(hours=1), "finished_at": at + timedelta(hours=1)}
        rows.append(Job(number=10_000 + n, **common, **times, **done))
    made = Job.rows.bulk_create(rows)
    acres = block.planted_acres
    JobBlock.rows.bulk_create(
        JobBlock(farm=farm, job=job, block=block, site_code="winter_squash", planned_acres=acres, treated_acres=acres)
        for job in made
    )
    JobProduct.rows.bulk_create(
        JobProduct(
            farm=farm, job=job, product=product, label_version=version, position=n, rate_amount=Decimal(4),
            rate_unit="floz", actual_amount=(4 * acres).quantize(Decimal("0.0001")), actual_unit="floz",
        )
        for job in made
        for n, (product, version) in enumerate(products, start=1)
    )  # fmt: skip


@pytest.fixture
def ready(cast):
    """The cast's farm with five products of five groups."""
    bench = bench_for(cast)
    codes = ["M05", "3", "7", "13", "50"]
    made = [
        bench.product_of(f"Demo {code}", label_document(bee_class="none", groups=[{"scheme": "frac", "code": code}]))
        for code in codes
    ]
    products = [(p, p.label_versions.get()) for p in made]
    job = bench.planned(products=[line(p, "4") for p in made])
    return bench, products, queries.job(bench.farm, job.pk)


@pytest.mark.django_db
@pytest.mark.parametrize("jobs", LENGTHS)
def test_job(benchmark, ready, jobs):
    """A job of one block from the tables to its findings; 0 jobs is the floor."""
    bench, products, job = ready
    counts = []
    for wanted in sorted({min(jobs, 1), jobs}):
        Job.rows.filter(number__gte=10_000).delete()
        write_history(bench, products, wanted)
        with CaptureQueriesContext(connection) as context:
            checking.check_job(job, checking.planned(job, NOW))
        counts.append(len(context))
    assert len(set(counts)) == 1, f"the number of queries depends on the history: {counts}"
    benchmark.extra_info["queries"] = counts[0]
    benchmark.pedantic(lambda: checking.check_job(job, checking.planned(job, NOW)), rounds=5)
