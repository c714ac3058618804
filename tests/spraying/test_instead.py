"""What could be done instead, on real rows: ways out re-checked, refusal by refusal, and the first evening."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.spraying import checking, queries, services
from apps.spraying.instead.drafts import unsaved_job
from apps.spraying.instead.queries import first_evening, instead_of
from apps.spraying.models import Job, JobBlock, JobProduct
from farmops.errors import refusals
from tests.factories.crops import PlantingFactory
from tests.factories.land import BlockFactory
from tests.factories.spraying import NOW, SIGNED, WINDOW, line, plot_of, shield_document

pytestmark = pytest.mark.django_db
BASE = "/api/v1/farms/alder-bend/jobs"


def said(found) -> list[list[str]]:
    return [[c.sentence for c in way.changes] for way in found.suggestions]


def after_a_spray(bench, days=3, **changes) -> Job:
    """A job three days after a signed one; the label asks for a week between."""
    bench.signed()
    later = timedelta(days=days)
    window = {"window_starts_at": WINDOW[0] + later, "window_ends_at": WINDOW[1] + later}
    job = bench.planned(**{**window, **changes})
    return queries.job(bench.farm, job.pk)


def test_a_job_that_nothing_refuses_needs_nothing(bench):
    found = instead_of(queries.job(bench.farm, bench.planned().pk), NOW)
    assert (found.refused, found.nothing_helps, said(found), found.by_refusal) == (False, False, [], ())


def test_the_earliest_day_after_the_interval(bench):
    """7 days after Monday 6 July (the label): Monday 13 July at the planned clock time."""
    found = instead_of(after_a_spray(bench), SIGNED)
    assert said(found) == [["Start at Mon, Jul 13, 8:00 AM CDT instead."]]
    (row,) = found.by_refusal
    assert (row.finding.code, row.blocks, [c.value for c in row.changes]) == (
        "interval",
        (str(bench.blocks[0]),),
        ["2026-07-13T13:00:00+00:00"],
    )


def test_a_suggestion_saved_as_a_plan_has_no_refusal(bench):
    """The same check that assigning runs, on the plan as suggested."""
    job = after_a_spray(bench)
    way = instead_of(job, SIGNED).suggestions[0]
    changes = {"window_starts_at": way.facts[0].start_at, "window_ends_at": way.facts[0].end_at}
    changed = services.edit_job(
        member=bench.manager, job_id=job.pk, expected_version=job.version, changes=changes, now=SIGNED
    )
    again = checking.check_job(queries.job(bench.farm, changed.pk), checking.planned(changed, SIGNED))
    assert refusals(checking.flat(again)) == []


def test_another_product_of_the_shed_with_another_group(bench):
    """The same week, a fungicide of another group and ingredient; it fits the shed and names the crop."""
    other = shield_document(
        groups=[{"scheme": "frac", "code": "M05"}],
        ingredients=[{"name": "chlorothalonil", "amount": "6", "basis": "lb_per_gal"}],
    )
    wrong_crop = shield_document(groups=[{"scheme": "frac", "code": "50"}])
    wrong_crop["uses"] = [{**use, "site_code": "sweet_corn"} for use in wrong_crop["uses"]]
    product = bench.product_of("Demo Other", other)
    bench.product_of("Demo Corn Only", wrong_crop)
    bench.product_of("Demo Twin", shield_document())
    job = after_a_spray(bench)
    most = max(Decimal(str(use["rate_max"])) for use in other["uses"])
    unit = {"floz": "fl oz"}.get(other["uses"][0]["rate_unit"], other["uses"][0]["rate_unit"])

    swaps = [c for way in instead_of(job, SIGNED).suggestions for c in way.changes if c.turn == "product"]
    assert [(c.sentence, c.value, c.product_id) for c in swaps] == [
        (f"Demo Other at {most} {unit}/acre instead of Demo Shield.", str(product.pk), bench.product.pk)
    ]


def test_an_empty_shed_leaves_the_acres_it_is_enough_for(bench):
    """5 gal = 640 fl oz; 6 fl oz on more than 106 acres is too much, so fewer acres are offered."""
    acres = bench.blocks[0].planted_acres
    need = Decimal(640) / acres
    document = shield_document()
    document["uses"][0]["rate_max"] = str((need * 3).quantize(Decimal("1")))
    strong = bench.product_of("Demo Strong", document)
    rate = (need * 2).quantize(Decimal("0.01"))
    job = queries.job(bench.farm, bench.planned(products=[line(strong, str(rate))]).pk)

    found = instead_of(job, NOW)
    turns = {c.turn for way in found.suggestions for c in way.changes}
    assert {row.finding.code for row in found.by_refusal} == {"stock_short"}
    assert {"area", "rate"} <= turns


def test_a_block_that_is_refused_may_be_left_out(bench):
    """Only the first block was sprayed three days ago; within the days looked at nothing else is tried first."""
    bench.signed()
    both = [{"block_id": b.pk} for b in bench.blocks]
    later = timedelta(days=3)
    job = bench.planned(blocks=both, window_starts_at=WINDOW[0] + later, window_ends_at=WINDOW[1] + later)
    found = instead_of(queries.job(bench.farm, job.pk), SIGNED)
    assert [f"Leave {bench.blocks[0]} out of this job."] in said(found)
    assert [row.blocks for row in found.by_refusal] == [(str(bench.blocks[0]),)]


def test_it_says_plainly_when_nothing_helps(bench):
    """The label does not name what stands on the block."""
    block = BlockFactory(farm=bench.farm, code="E1", polygon=plot_of(6))
    found = instead_of(queries.job(bench.farm, bench.planned(blocks=[{"block_id": block.pk}]).pk), NOW)
    assert (found.refused, found.nothing_helps) == (True, True)
    assert [(r.finding.code, r.changes) for r in found.by_refusal] == [("site_unknown", ())]


def test_a_block_out_of_use_is_no_way_out(bench):
    job = bench.planned()
    bench.blocks[0].archived_at = NOW
    bench.blocks[0].save()
    found = instead_of(queries.job(bench.farm, job.pk), NOW)
    assert (found.nothing_helps, [r.finding.code for r in found.by_refusal]) == (True, ["block_archived"])
    assert first_evening(queries.job(bench.farm, job.pk), NOW).starts_at is None


def test_somebody_else_who_may(bench, cast):
    """The product is restricted; the manager has no certificate, the applicator has one."""
    from apps.people.models import Membership

    Membership.rows.filter(person_id=cast.manager.person_id, farm=bench.farm).update(is_applicator=True)
    restricted = bench.product_of("Demo Restricted", shield_document(restricted_use=True))
    job = bench.planned(products=[line(restricted)], applicator_id=cast.manager.person_id)
    found = instead_of(queries.job(bench.farm, job.pk), NOW)
    changes = [c for way in found.suggestions for c in way.changes if c.turn == "applicator"]
    assert [c.value for c in changes][:1] == [str(bench.applicator.person_id)]


class TestFirstEvening:
    def test_the_first_sunset_after_the_interval(self, bench):
        """Sunset at 40.2 N 86.2 W on 13 July 2026, 8:17 PM CDT within a few minutes (NOAA solar calculator, from
        memory 9:17 EDT at Indianapolis)."""
        found = first_evening(after_a_spray(bench), SIGNED)
        local = found.starts_at.astimezone(datetime.fromisoformat("2026-07-13T00:00-05:00").tzinfo)
        assert local.date() == date(2026, 7, 13)
        assert abs(local - datetime.fromisoformat("2026-07-13T20:14-05:00")) < timedelta(minutes=10)
        assert [[f.code for _, f in row.refused] for row in found.tried] == [["interval"]] * 4 + [[]]
        assert found.ends_at - found.starts_at == WINDOW[1] - WINDOW[0]

    def test_none_within_the_days_asked_for(self, bench):
        found = first_evening(after_a_spray(bench), SIGNED, days=2)
        assert (found.starts_at, found.ends_at, len(found.tried)) == (None, None, 2)

    def test_a_long_window_ends_with_the_night(self, bench):
        job = bench.planned(window_ends_at=WINDOW[0] + timedelta(hours=14))
        found = first_evening(queries.job(bench.farm, job.pk), NOW)
        assert timedelta(hours=8) < found.ends_at - found.starts_at < timedelta(hours=10)


class TestUnsaved:
    def test_an_unsaved_plan_is_judged_like_a_saved_one_and_leaves_nothing(self, bench):
        bench.signed()
        later = timedelta(days=3)
        values = bench.plan_values(window_starts_at=WINDOW[0] + later, window_ends_at=WINDOW[1] + later)
        rows = [m.rows.count() for m in (Job, JobBlock, JobProduct)]
        job = unsaved_job(member=bench.manager, now=SIGNED, **values)
        found = checking.snapshot(checking.check_job(job, checking.planned(job, SIGNED)))
        assert [m.rows.count() for m in (Job, JobBlock, JobProduct)] == rows

        saved = services.plan_job(member=bench.manager, now=SIGNED, **values)
        assert found == saved.findings
        assert said(instead_of(job, SIGNED)) == said(instead_of(queries.job(bench.farm, saved.pk), SIGNED))

    def test_its_faults_are_named(self, bench):
        from farmops.errors import BadInput

        with pytest.raises(BadInput) as caught:
            unsaved_job(member=bench.manager, now=NOW, **bench.plan_values(blocks=[]))
        assert list(caught.value.errors) == ["blocks"]


def test_queries_do_not_grow_with_history_or_blocks(bench):
    def taken(job_id: int) -> int:
        job = queries.job(bench.farm, job_id)
        with CaptureQueriesContext(connection) as context:
            instead_of(job, SIGNED)
        return len(context)

    one = taken(after_a_spray(bench).pk)
    blocks = [BlockFactory(farm=bench.farm, code=f"Q{n}", polygon=plot_of(10 + n)) for n in range(4)]
    for block in blocks:
        PlantingFactory(farm=bench.farm, block=block, crop=bench.crop, sown_on=date(2026, 6, 10))
    for n in range(4):
        bench.assigned(
            blocks=[{"block_id": blocks[n].pk}], products=[line(bench.product_of(f"Demo {n}", shield_document()))]
        )
    later = timedelta(days=3)
    many = bench.planned(
        blocks=[{"block_id": b.pk} for b in (*bench.blocks, *blocks)],
        window_starts_at=WINDOW[0] + later,
        window_ends_at=WINDOW[1] + later,
    )
    assert taken(many.pk) <= one + 2  # the days tried may differ by one; each asks for the sprayer once
    assert one < 60


class TestDoors:
    @pytest.fixture
    def client(self, api, bench):
        with time_machine.travel(SIGNED, tick=False):
            yield api(bench.manager)

    def body(self, bench, **changes):
        return {
            **bench.plan_values(),
            "window_starts_at": "2026-07-09T08:00",
            "window_ends_at": "2026-07-09T11:00",
            **changes,
        }

    def test_check_mix(self, bench, client):
        bench.signed()
        before = Job.rows.count()
        answer = client.post(f"{BASE}/check/", self.body(bench), format="json")
        body = answer.json()
        assert (answer.status_code, body["refused"], Job.rows.count()) == (200, True, before)
        assert body["instead"]["ways"][0]["changes"][0]["sentence"] == "Start at Mon, Jul 13, 8:00 AM CDT instead."
        assert body["instead"]["ways"][0]["window_starts_at"] == "2026-07-13T13:00:00Z"
        assert body["instead"]["by_refusal"][0]["finding"]["code"] == "interval"
        assert [f["code"] for f in body["blocks"][0]["findings"] if f["severity"] == "refuse"] == ["interval"]

    def test_a_fault_in_the_plan_is_named(self, bench, client):
        answer = client.post(f"{BASE}/check/", self.body(bench, products=[]), format="json")
        assert (answer.status_code, list(answer.json()["errors"])) == (400, ["products"])

    def test_of_a_job(self, bench, client):
        job = after_a_spray(bench)
        body = client.get(f"{BASE}/{job.pk}/instead/").json()
        assert (body["refused"], body["nothing_helps"], len(body["ways"])) == (True, False, 1)
        assert body["by_refusal"][0]["changes"][0]["answers"] == ["interval"]

    def test_the_first_evening_in_one_call(self, bench, client):
        bench.signed()
        answer = client.post(f"{BASE}/first-evening/", self.body(bench, days=10), format="json").json()
        assert answer["starts_at"][:13] == "2026-07-14T01"  # 8 PM on the 13th at the farm
        assert [len(row["refused"]) for row in answer["tried"]] == [1, 1, 1, 1, 0]

    def test_the_first_evening_of_a_job(self, bench, client):
        job = after_a_spray(bench)
        answer = client.get(f"{BASE}/{job.pk}/first-evening/?days=3").json()
        assert (answer["starts_at"], len(answer["tried"])) == (None, 3)

    @pytest.mark.parametrize("days", ["0", "soon", "121", "9999999999999"])
    def test_days_that_cannot_be(self, bench, client, days):
        job = bench.planned()
        answer = client.get(f"{BASE}/{job.pk}/first-evening/?days={days}")
        assert (answer.status_code, answer.json()["errors"]) == (400, {"days": ["Use 1 to 120."]})
