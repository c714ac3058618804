"""A block with an unfinished job on it is neither archived nor moved."""

from __future__ import annotations

import pytest

from apps.land import queries as land
from apps.spraying import queries, services
from apps.spraying.rules.record import Meaning
from tests.factories.spraying import NOW, STARTED, WINDOW, JobFactory

pytestmark = pytest.mark.django_db


def off(bench, at):
    return services.call_off(member=bench.manager, job_id=bench.assigned().pk, reason="too windy", now=at)


@pytest.mark.parametrize(
    ("bring", "held"),
    [
        (lambda b: b.planned(), True),
        (lambda b: b.assigned(), True),
        (lambda b: b.spraying(), True),
        (lambda b: b.sprayed(), True),
        (lambda b: b.signed(), False),
        (lambda b: off(b, NOW), False),
        (lambda b: off(b, WINDOW[0]), True),
        (lambda b: b.sign(off(b, WINDOW[0]), meaning=Meaning.NOT_APPLIED), False),
    ],
    ids=["draft", "assigned", "spraying", "sprayed", "signed", "called off", "in doubt", "not applied"],
)
def test_which_jobs_hold_their_block(bench, bring, held):
    bring(bench)
    found = queries.block_guard(bench.blocks[0], STARTED)
    assert [(f.code, f.severity, f.numbers["number"]) for f in found] == ([("job_open", "refuse", "1")] if held else [])
    assert queries.block_guard(bench.blocks[1], STARTED) == []


def test_land_asks_the_guard(bench):
    bench.planned()
    assert "job_open" in [f.code for f in land.against_leaving(bench.blocks[0], NOW)]


def test_jobs_that_need_somebody_stand_in_order_of_their_windows(bench):
    late = JobFactory(
        farm=bench.farm, window_starts_at=WINDOW[0].replace(day=9), window_ends_at=WINDOW[1].replace(day=9)
    )
    early = JobFactory(farm=bench.farm)
    JobFactory(farm=bench.farm, state="called_off")
    doubt = JobFactory(farm=bench.farm, state="called_off", doubt=True)
    assert list(queries.jobs_by_time(bench.farm)) == [early, doubt, late]
