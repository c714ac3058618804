"""Reporting what was done: every impossible value named, the truth above a label recordable, the block closed."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from apps.reminders.models import Notice
from apps.safety import queries as board
from apps.safety.models import Closure
from apps.spraying import services
from apps.spraying.models import Job, JobStep
from apps.spraying.rules.record import Meaning
from farmops.errors import BadInput, NotYourRole, Refused
from tests.conftest import place
from tests.factories.land import square
from tests.factories.spraying import ENDED, NOW, READINGS, REPORTED, STARTED, WINDOW, certify, line

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


def finish(bench, job, *, by=None, now=REPORTED, **changes):
    done = bench.done_values(job, **changes)
    return services.finish_spraying(member=by or bench.applicator, job_id=job.pk, done=done, now=now)


def used(bench, amount: str, unit: str = "floz") -> list[dict]:
    return [{"product_id": bench.product.pk, "amount": amount, "unit": unit}]


def treated(bench, acres: str | None, **more) -> list[dict]:
    return [{"block_id": bench.blocks[0].pk, "treated_acres": acres, **more}]


BOW_TIE = [[-86.19, 40.2], [-86.189, 40.201], [-86.189, 40.2], [-86.19, 40.201], [-86.19, 40.2]]
BAD = {
    "end before start": (lambda b: {"ended_at": STARTED - MINUTE}, ["ended_at"]),
    "end at the start": (lambda b: {"ended_at": STARTED}, ["ended_at"]),
    "end in the future": (lambda b: {"ended_at": REPORTED + 3 * MINUTE}, ["ended_at"]),
    "start in the future": (lambda b: {"started_at": REPORTED + 3 * MINUTE}, ["ended_at", "started_at"]),
    "the wrong day": (lambda b: {"started_at": STARTED - timedelta(days=2)}, ["ended_at"]),
    "no loads": (lambda b: {"loads": "0"}, ["loads"]),
    "loads in words": (lambda b: {"loads": "three"}, ["loads"]),
    "no area": (lambda b: {"blocks": treated(b, "")}, ["blocks.0.treated_acres"]),
    "negative area": (lambda b: {"blocks": treated(b, "-1")}, ["blocks.0.treated_acres"]),
    "twice the block": (lambda b: {"blocks": treated(b, "99")}, ["blocks.0.treated_acres"]),
    "nothing treated": (lambda b: {"blocks": treated(b, "0")}, ["blocks"]),
    "a block left out": (lambda b: {"blocks": []}, ["blocks"]),
    "another block": (lambda b: {"blocks": [{"block_id": b.blocks[1].pk, "treated_acres": "1"}]}, ["blocks"]),
    "a block twice": (lambda b: {"blocks": treated(b, "1") * 2}, ["blocks"]),
    "a part elsewhere": (
        lambda b: {"blocks": treated(b, None, part=square(-86.15, 40.20, 0.001))},
        ["blocks.0.part"],
    ),
    "a part that crosses itself": (
        lambda b: {"blocks": treated(b, None, part={"type": "Polygon", "coordinates": [BOW_TIE]})},
        ["blocks.0.part"],
    ),
    "a product left out": (lambda b: {"products": []}, ["products"]),
    "weight for a liquid": (lambda b: {"products": used(b, "40", "oz")}, ["products.0.unit"]),
    "unknown unit": (lambda b: {"products": used(b, "40", "cup")}, ["products.0.unit"]),
    "negative amount": (lambda b: {"products": used(b, "-4")}, ["products.0.amount"]),
    "no amount": (lambda b: {"products": used(b, "")}, ["products.0.amount"]),
    "nothing used": (lambda b: {"products": used(b, "0")}, ["products"]),
    "wind of 200": (lambda b: {"wind_mph": "200"}, ["wind_mph"]),
    "several at once": (
        lambda b: {"loads": "x", "blocks": treated(b, "x"), "products": used(b, "x")},
        ["blocks.0.treated_acres", "loads", "products.0.amount"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_is_named_and_nothing_changes(bench, name):
    make, fields = BAD[name]
    job = bench.spraying()
    with pytest.raises(BadInput) as error:
        finish(bench, job, **make(bench))
    assert sorted(error.value.errors) == fields
    again = Job.rows.get(pk=job.pk)
    assert (again.state, again.ended_at, again.version) == ("spraying", None, job.version)
    assert [c.kind for c in Closure.rows.filter(lifted_at=None)] == ["underway"]


class TestRates:
    @pytest.mark.parametrize(
        ("share", "asks"),
        [("1.05", False), ("1.051", True), ("0.95", False), ("0.949", True), ("2", True)],
        ids=lambda v: str(v),
    )
    def test_more_than_5_percent_off_asks_for_a_reason(self, bench, share, asks):
        job = bench.spraying()
        acres = job.job_blocks.all()[0].planned_acres
        amount = str((5 * acres * Decimal(share)).quantize(Decimal("0.0001")))
        if not asks:
            assert finish(bench, job, products=used(bench, amount)).state == "sprayed"
            return
        with pytest.raises(BadInput) as error:
            finish(bench, job, products=used(bench, amount))
        assert list(error.value.errors) == ["deviation_reason"]
        assert "Demo Shield" in error.value.errors["deviation_reason"][0]
        finish(bench, job, products=used(bench, amount), deviation_reason="the boom overlapped at the ends")
        assert Job.rows.get(pk=job.pk).deviation_reason == "the boom overlapped at the ends"

    def test_another_unit_of_the_same_kind_is_the_same_amount(self, bench):
        job = bench.spraying()
        gallons = (5 * job.job_blocks.all()[0].planned_acres / 128).quantize(Decimal("0.0001"))
        assert finish(bench, job, products=used(bench, str(gallons), "gal")).state == "sprayed"

    def test_above_the_label_is_recorded_as_it_was_and_the_managers_are_called(self, bench):
        job = bench.spraying()
        acres = job.job_blocks.all()[0].planned_acres
        over = finish(
            bench, job, products=used(bench, str(7 * acres)), deviation_reason="a nozzle was worn and not seen"
        )
        assert over.job_products.all()[0].actual_amount == 7 * acres
        flagged = [f["code"] for f in over.finish_findings[0]["findings"] if f["severity"] == "refuse"]
        assert flagged == ["rate_high"]
        told = Notice.rows.get(kind="job_over_label")
        assert (told.person_id, told.urgent) == (bench.manager.person_id, True)
        assert "7 fl oz/acre is above the label's highest rate, 6 fl oz/acre" in told.numbers["what"]


class TestGround:
    def test_a_drawn_part_gives_its_own_acres_and_the_whole_block_stays_closed(self, bench):
        west, south = bench.blocks[0].polygon["coordinates"][0][0]
        job = bench.spraying()
        part = square(west, south, 0.001)
        done = {"blocks": treated(bench, None, part=part), "products": used(bench, "11.68")}
        row = finish(bench, job, **done).job_blocks.all()[0]
        assert row.treated_acres == pytest.approx(Decimal("2.3325"), abs=Decimal("0.01"))
        assert row.part["type"] == "Polygon"
        assert board.entry_answer(bench.blocks[0], activity=None, at=REPORTED, now=REPORTED).answer == "unknown"

    def test_a_block_left_untreated_is_said_so(self, bench):
        job = bench.spraying(blocks=[{"block_id": b.pk} for b in bench.blocks])
        first = job.job_blocks.all()[0].planned_acres
        done = {
            "blocks": [
                {"block_id": bench.blocks[0].pk, "treated_acres": str(first)},
                {"block_id": bench.blocks[1].pk, "treated_acres": "0", "part_note": "rain came"},
            ],
            "products": used(bench, str(5 * first)),
        }
        rows = {r.block_id: r for r in finish(bench, job, **done).job_blocks.all()}
        assert rows[bench.blocks[1].pk].treated_acres == 0
        closed = Closure.rows.filter(lifted_at=None).values_list("block_id", "kind")
        assert sorted(closed) == sorted((b.pk, "unconfirmed") for b in bench.blocks)


class TestCorrections:
    def test_before_signing_one_reports_again_and_both_reports_stay(self, bench):
        job = bench.sprayed()
        again = services.correct_finish(
            member=bench.applicator,
            job_id=job.pk,
            done=bench.done_values(job, ended_at=ENDED - 10 * MINUTE),
            now=REPORTED + MINUTE,
        )
        assert (again.state, again.ended_at, again.disputed) == ("sprayed", ENDED - 10 * MINUTE, False)
        ends = [s.details["ended_at"] for s in JobStep.rows.filter(job=job, step__in=["finish", "correct"])]
        assert ends == [ENDED.isoformat(), (ENDED - 10 * MINUTE).isoformat()]
        hung = Closure.rows.filter(kind="unconfirmed").order_by("pk")
        assert [(c.lift_reason, c.provisional_ends_at) for c in hung] == [
            ("lengthened", ENDED + timedelta(hours=12)),
            ("", ENDED - 10 * MINUTE + timedelta(hours=12)),
        ]

    def test_two_people_with_two_ends_leave_the_later_one_and_say_so(self, bench):
        """Project rule: the later of two claimed ends counts, and the ground stays restricted until it is resolved."""
        boss = place(bench.farm, "applicator", "Pia Holm", "pia")
        certify(bench.farm, boss.person_id, "777")
        job = bench.sprayed(supervisor_id=boss.person_id)
        disputed = services.correct_finish(
            member=boss, job_id=job.pk, done=bench.done_values(job, ended_at=ENDED + 4 * MINUTE), now=REPORTED
        )
        assert (disputed.ended_at, disputed.disputed) == (ENDED + 4 * MINUTE, True)
        assert Closure.rows.get(lifted_at=None).reason_code == "two_ends"
        settled = services.correct_finish(
            member=bench.applicator,
            job_id=job.pk,
            done=bench.done_values(job, ended_at=ENDED + 4 * MINUTE),
            now=REPORTED,
        )
        assert (settled.ended_at, settled.disputed) == (ENDED + 4 * MINUTE, False)

    def test_nobody_else_reports_or_corrects(self, bench, cast):
        job = bench.sprayed()
        other = place(bench.farm, "applicator", "Pia Holm", "pia")
        for who in (other, cast.manager, cast.staff):
            with pytest.raises(NotYourRole):
                services.correct_finish(member=who, job_id=job.pk, done=bench.done_values(job), now=REPORTED)


class TestReportLate:
    def late(self, bench, job, **changes):
        typed = {"readings": READINGS, "done": bench.done_values(job), "reason": "the phone was dead", **changes}
        return services.report_late(member=bench.applicator, job_id=job.pk, now=REPORTED, **typed)

    def test_a_spray_that_was_never_started_here_can_be_reported(self, bench):
        job = self.late(bench, bench.assigned())
        assert (job.state, job.started_at, job.ended_at) == ("sprayed", STARTED, ENDED)
        assert job.start_readings["taken_at"] == STARTED.isoformat()
        assert [(c.kind, c.lift_reason) for c in Closure.rows.order_by("pk")] == [
            ("planned", "finished"),
            ("unconfirmed", ""),
        ]
        assert bench.sign(job).meaning == "applied"

    def test_also_when_it_was_called_off_too_late(self, bench):
        job = bench.assigned()
        services.call_off(member=bench.manager, job_id=job.pk, reason="too windy", now=WINDOW[0])
        reported = self.late(bench, job)
        assert (reported.state, reported.doubt) == ("sprayed", False)
        assert bench.sign(reported).meaning == "applied"

    def test_also_when_it_was_called_off_in_time_and_sprayed_all_the_same(self, bench):
        job = bench.assigned()
        services.call_off(member=bench.manager, job_id=job.pk, reason="too windy", now=NOW)
        reported = self.late(bench, job)
        assert Closure.rows.get(lifted_at=None).kind == "unconfirmed"
        assert bench.sign(reported).meaning == "applied"

    def test_not_after_it_was_signed_that_nothing_was_applied(self, bench):
        job = bench.assigned()
        bench.sign(job, meaning=Meaning.NOT_APPLIED)
        with pytest.raises(Refused) as error:
            self.late(bench, job)
        assert [f.code for f in error.value.findings] == ["signed_not_applied"]

    def test_a_reason_is_asked_for(self, bench):
        with pytest.raises(BadInput) as error:
            self.late(bench, bench.assigned(), reason="")
        assert list(error.value.errors) == ["reason"]


def test_amounts_of_a_share_of_the_volume_are_compared_as_volume(bench):
    """0.5 % of 30 gal/acre is 0.15 gal/acre."""
    oil = bench.product_of(
        "Demo Oil",
        {
            "kind": "adjuvant",
            "restricted_use": False,
            "ingredients": [],
            "groups": [],
            "contains_oil": True,
            "rei_hours": "0",
            "uses": [
                {
                    "site_code": "winter_squash",
                    "rate_max": "1",
                    "rate_unit": "%vv",
                    "rate_basis": "percent_vv",
                    "phi_days": 0,
                }
            ],
        },
        amount="20",
    )
    job = bench.spraying(products=[line(oil, "0.5", "%vv", "percent_vv")])
    acres = job.job_blocks.all()[0].planned_acres
    with pytest.raises(BadInput) as error:
        finish(bench, job, products=[{"product_id": oil.pk, "amount": str(acres), "unit": "gal"}])
    assert list(error.value.errors) == ["deviation_reason"]
    amount = (acres * Decimal("0.15")).quantize(Decimal("0.0001"))
    done = finish(bench, job, products=[{"product_id": oil.pk, "amount": str(amount), "unit": "gal"}])
    assert done.state == "sprayed"
