"""Rows to facts: what counts as history, at which rate, from which label; and how many queries it takes."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.crops.rules import Bloom
from apps.products.rules import Method
from apps.spraying import checking, queries, services
from apps.spraying.facts import check_facts
from apps.spraying.history import Labels, events_on
from apps.spraying.models import Job
from apps.spraying.rules.record import Meaning
from farmops.units import Quantity
from tests.factories.crops import CropFactory, PlantingEventFactory, PlantingFactory
from tests.factories.equipment import SprayerFactory
from tests.factories.land import BlockFactory, SensitivePlaceFactory, square
from tests.factories.products import LabelFactory
from tests.factories.spraying import ENDED, NOW, REPORTED, STARTED, WINDOW, line, plot_of, shield_document
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db


def history(bench, block=0):
    return events_on(bench.farm, [bench.blocks[block].pk], labels=Labels()).get(bench.blocks[block].pk, ())


def rates(bench) -> list[Quantity | None]:
    return [e.lines[0].rate.per_acre(e.spray_gpa) for e in history(bench)]


class TestHistory:
    def test_drafts_do_not_count_booked_jobs_do(self, bench):
        bench.planned()
        assert history(bench) == ()
        bench.assigned()
        event = history(bench)[0]
        assert (event.done, event.signed, event.on_date) == (False, False, date(2026, 7, 6))
        assert rates(bench) == [Quantity(Decimal("5.0000"), "floz")]

    @pytest.mark.parametrize("step", ["spraying", "sprayed"])
    def test_what_is_not_signed_counts_as_done_at_the_planned_maximum(self, bench, step):
        """G14: an amount that is not signed counts at the planned maximum."""
        done = {"done": less(bench)} if step == "sprayed" else {}
        getattr(bench, step)(**done)
        event = history(bench)[0]
        assert (event.done, event.signed) == (True, False)
        assert rates(bench)[0] == Quantity(Decimal("5.0000"), "floz")

    def test_a_report_above_the_plan_counts_at_once(self, bench):
        bench.sprayed(done=more(bench))
        assert rates(bench)[0].amount.quantize(Decimal("0.01")) == Decimal("6.50")

    def test_a_signed_spray_counts_as_it_was(self, bench):
        bench.sign(bench.sprayed(done=less(bench)))
        event = history(bench)[0]
        assert (event.signed, event.starts_at, event.ends_at) == (True, STARTED, ENDED)
        assert rates(bench)[0].amount.quantize(Decimal("0.01")) == Decimal("4.00")

    def test_a_block_where_nothing_was_treated_has_no_history(self, bench):
        job = bench.spraying(blocks=[{"block_id": b.pk} for b in bench.blocks])
        first = job.job_blocks.all()[0].planned_acres
        done = bench.done_values(
            job,
            blocks=[
                {"block_id": bench.blocks[0].pk, "treated_acres": str(first)},
                {"block_id": bench.blocks[1].pk, "treated_acres": "0"},
            ],
            products=[{"product_id": bench.product.pk, "amount": str(5 * first), "unit": "floz"}],
        )
        services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=REPORTED)
        assert (len(history(bench)), history(bench, 1)) == (1, ())

    def test_called_off_in_doubt_counts_until_it_is_signed_not_applied(self, bench):
        job = bench.assigned()
        services.call_off(member=bench.manager, job_id=job.pk, reason="too windy", now=WINDOW[0])
        assert len(history(bench)) == 1
        bench.sign(job, meaning=Meaning.NOT_APPLIED)
        assert history(bench) == ()

    def test_called_off_in_time_does_not_count(self, bench):
        job = bench.assigned()
        services.call_off(member=bench.manager, job_id=job.pk, reason="too windy", now=NOW)
        assert history(bench) == ()

    def test_history_reads_the_label_it_was_sprayed_under(self, bench):
        bench.signed()
        LabelFactory(product=bench.product, number=2, document=shield_document() | {"rei_hours": "48"})
        assert history(bench)[0].lines[0].label.rei_hours == Decimal(12)

    def test_the_job_itself_is_not_its_own_history(self, bench):
        job = bench.assigned()
        facts = check_facts(queries.job(bench.farm, job.pk), checking.planned(job, NOW))
        assert [f.history for f in facts.values()] == [()]

    def test_parts_are_kept_apart(self, bench):
        bench.assigned(blocks=[{"block_id": bench.blocks[0].pk, "zone": "south half"}])
        assert history(bench)[0].parts == frozenset({"south half"})


def used(bench, rate: str) -> dict:
    acres = bench.blocks[0].planted_acres
    amount = str((Decimal(rate) * acres).quantize(Decimal("0.0001")))
    return {
        "products": [{"product_id": bench.product.pk, "amount": amount, "unit": "floz"}],
        "deviation_reason": "as it came out",
    }


def less(bench) -> dict:
    return used(bench, "4")


def more(bench) -> dict:
    return used(bench, "6.5")


class TestGround:
    def facts(self, bench, **changes):
        job = bench.planned(**changes)
        found = check_facts(queries.job(bench.farm, job.pk), checking.planned(job, NOW))
        return next(iter(found.values()))

    def test_crop_harvest_people_machine_and_shed(self, bench):
        facts = self.facts(bench)
        assert (facts.site_code, facts.planted_on) == ("winter_squash", date(2026, 6, 10))
        assert facts.harvest_at == datetime.fromisoformat("2026-09-10T00:00:00-05:00")
        assert (facts.method, facts.sprayer.measured_gpa) == (Method.GROUND, Decimal("30"))
        assert facts.applicator.certificates[0].number == "12345"
        stock = facts.stock[bench.product.pk]
        need = (5 * bench.blocks[0].planted_acres).quantize(Decimal("0.0001")) / 128
        assert (stock.available, stock.needed.unit) == (Quantity(Decimal("5.000000000"), "gal"), "gal")
        assert stock.needed.amount == need.quantize(Decimal("0.000000001"))

    def test_water_and_hives_near_the_block(self, bench):
        west, south = bench.blocks[0].polygon["coordinates"][0][0]
        for kind, shift in (("water", 0.003), ("hives", 0.004), ("house", 0.0021)):
            point = {"type": "Point", "coordinates": [west + shift, south]}
            SensitivePlaceFactory(farm=bench.farm, kind=kind, geometry=point)
        facts = self.facts(bench)
        # 0.001 degree of longitude at 40.2 N is about 279 ft (WGS 84).
        assert Decimal(270) < facts.water_ft < Decimal(290)
        assert Decimal(540) < facts.hive_ft < Decimal(570)

    def test_no_place_entered_is_not_known_not_none(self, bench):
        facts = self.facts(bench)
        assert (facts.water_ft, facts.hive_ft) == (None, None)

    def test_a_neighbour_in_bloom_is_seen_and_one_that_is_not_is_left_out(self, bench):
        west, south = bench.blocks[0].polygon["coordinates"][0][0]
        clover = CropFactory(farm=bench.farm, code="crimson_clover", name="Crimson clover", family="fabaceae")
        near = BlockFactory(farm=bench.farm, code="C1", polygon=square(west + 0.0025, south))
        far = BlockFactory(farm=bench.farm, code="C2", polygon=square(west + 0.02, south + 0.02))
        for block in (near, far):
            planting = PlantingFactory(
                farm=bench.farm, block=block, crop=clover, purpose="cover", sown_on=date(2025, 9, 20)
            )
            PlantingEventFactory(planting=planting, kind="bloom_start", on=date(2026, 7, 1))
        facts = self.facts(bench)
        assert [b.name for b in facts.bloom_nearby] == [str(near)]
        assert facts.bloom is Bloom.NO

    def test_scheduled_work_of_the_window_and_after(self, bench, cast):
        TaskFactory(
            farm=bench.farm,
            block=bench.blocks[0],
            assigned_to_id=cast.staff.person_id,
            starts_at=WINDOW[1] + timedelta(hours=1),
        )
        TaskFactory(farm=bench.farm, block=bench.blocks[1], assigned_to_id=cast.staff.person_id, starts_at=WINDOW[1])
        facts = self.facts(bench)
        assert [(e.activity, e.at, e.is_harvest) for e in facts.entries] == [
            ("hand_labor", WINDOW[1] + timedelta(hours=1), False)
        ]

    def test_drip_is_chemigation_for_a_label(self, bench):
        drip = SprayerFactory(farm=bench.farm, method="drip")
        assert self.facts(bench, sprayer_id=drip.pk, spray_gpa="30").method is Method.CHEMIGATION

    def test_empty_ground_has_no_site(self, bench):
        block = BlockFactory(farm=bench.farm, code="E1", polygon=plot_of(6))
        assert self.facts(bench, blocks=[{"block_id": block.pk}]).site_code is None

    def test_each_product_is_meant_for_its_own_targets(self, bench):
        document = shield_document()
        document["uses"][0]["targets"] = ["powdery_mildew"]
        named = bench.product_of("Demo Named", document)
        facts = self.facts(bench, products=[line(named), line(bench.product)], targets=["powdery_mildew", "squash_bug"])
        assert [x.targets for x in facts.lines] == [("powdery_mildew",), ("powdery_mildew", "squash_bug")]


def test_the_check_of_a_job_takes_the_same_number_of_queries_for_any_number_of_blocks(bench):
    def taken(job: Job) -> int:
        with CaptureQueriesContext(connection) as context:
            checking.check_job(queries.job(bench.farm, job.pk), checking.planned(job, NOW))
        return len(context)

    bench.signed()
    one = taken(bench.planned())
    more_blocks = [BlockFactory(farm=bench.farm, code=f"Q{n}", polygon=plot_of(10 + n)) for n in range(6)]
    for block in more_blocks:
        PlantingFactory(farm=bench.farm, block=block, crop=bench.crop, sown_on=date(2026, 6, 10))
    for n in range(3):
        bench.assigned(
            blocks=[{"block_id": more_blocks[n].pk}],
            products=[line(bench.product_of(f"Demo {n}", shield_document()))],
        )
    many = taken(bench.planned(blocks=[{"block_id": b.pk} for b in (*bench.blocks, *more_blocks)]))
    assert (one, many) == (one, one)
    assert one < 35
