"""The back-check: gallons and acres give the rate that was really put on. Never corrected, always said."""

from __future__ import annotations

import json
from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest

from apps.reminders.models import Notice
from apps.spraying import services
from apps.spraying.mixing import achieved_volume
from apps.spraying.models import Job
from apps.spraying.rules.outcome import achieved_gpa, deviation, off_plan, percent_text
from apps.spraying.rules.signing import read_back
from apps.spraying.services.sign import shown
from farmops.errors import BadInput
from farmops.units import Quantity
from tests.factories.spraying import REPORTED, Bench, line, shield_document

ACRES = "8"


def gal(amount: str) -> Quantity:
    return Quantity(D(amount), "gal")


def report(bench: Bench, job: Job, **done: Any) -> Job:
    values = bench.done_values(job, **done)
    return services.finish_spraying(member=bench.applicator, job_id=job.pk, done=values, now=REPORTED)


@pytest.fixture
def job(bench: Bench) -> Job:
    """8 acres planned at 30 gal/ac: 240 gallons."""
    return bench.spraying(blocks=[{"block_id": bench.blocks[0].pk, "planned_acres": ACRES}], spray_gpa="30")


def test_gallons_over_acres() -> None:
    # Montana State University Extension slides "Calibrating Your Field Sprayer": 4 gal on 66 x 66 ft (0.1 ac) is 40.
    assert achieved_gpa(D(4), D("0.1")) == 40


@pytest.mark.parametrize(
    ("planned", "actual", "asks"),
    [("30", "31.5", False), ("30", "31.51", True), ("30", "28.5", False), ("30", "28.49", True)],
    ids=["5 % over", "more", "5 % under", "less"],
)
def test_more_than_five_percent_off(planned: str, actual: str, asks: bool) -> None:
    # Within 5 % of the wanted rate: USDA and EPA recommendation, reported by Ohio State University, 17 April 2012.
    assert off_plan(gal(planned), gal(actual)) is asks


def test_how_far_off_is_said_with_its_sign() -> None:
    assert [percent_text(deviation(gal("30"), gal(x))) for x in ("33", "30", "27")] == ["+10 %", "0 %", "-10 %"]
    assert deviation(gal("30"), gal("33")) == Fraction(1, 10)


def test_as_planned_needs_no_reason(bench: Bench, job: Job) -> None:
    done = report(bench, job, sprayed_gal="240")
    assert (done.sprayed_gal, achieved_volume(done), done.deviation_reason) == (240, 30, "")


def test_gallons_not_said_are_not_known(bench: Bench, job: Job) -> None:
    done = report(bench, job)
    assert (done.sprayed_gal, achieved_volume(done)) == (None, None)


@pytest.mark.parametrize(("typed", "said"), [("0", "Must be more than 0."), ("-5", "Must be 0 or more.")], ids=str)
def test_gallons_that_cannot_be(bench: Bench, job: Job, typed: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        report(bench, job, sprayed_gal=typed)
    assert caught.value.errors == {"sprayed_gal": [said]}
    assert Job.objects.for_farm(bench.farm).get(pk=job.pk).state == "spraying"


def test_far_off_asks_for_a_reason_and_stands_as_it_was(bench: Bench, job: Job) -> None:
    with pytest.raises(BadInput) as caught:
        report(bench, job, sprayed_gal="264")
    assert caught.value.errors == {
        "deviation_reason": ["Say why the rate differs from the plan: 33 gal/acre of spray, +10 %."]
    }
    done = report(bench, job, sprayed_gal="264", deviation_reason="two nozzles were worn")
    assert (done.sprayed_gal, achieved_volume(done), done.deviation_reason) == (264, 33, "two nozzles were worn")
    step = done.steps.order_by("-id").first()
    assert (step.details["sprayed_gal"], step.note) == ("264", "two nozzles were worn")


def test_it_is_read_back_before_signing_and_stands_in_the_record(bench: Bench, job: Job) -> None:
    done = report(bench, job, sprayed_gal="264", deviation_reason="two nozzles were worn")
    body, _, _ = shown(done, bench.applicator, "applied")
    found = [s for s in read_back(body).sentences if "were sprayed" in s.template]
    assert [(s.unusual, dict(s.numbers)) for s in found] == [(True, {"gal": "264", "gpa": "33", "off": "+10 %"})]
    content = json.loads(bench.sign(done).body_text)["content"]
    assert (D(content["sprayed_gal"]), D(content["achieved_gpa"])) == (264, 33)


def test_below_the_labels_least_volume_is_recorded_and_the_manager_is_told(bench: Bench) -> None:
    product = bench.product_of("Demo Rain", shield_document(min_spray_gpa="28"))
    job = bench.spraying(
        blocks=[{"block_id": bench.blocks[0].pk, "planned_acres": ACRES}], products=[line(product)], spray_gpa="30"
    )
    done = report(bench, job, sprayed_gal="200", deviation_reason="drove too fast")
    refused = [f["code"] for b in done.finish_findings for f in b["findings"] if f["severity"] == "refuse"]
    assert refused == ["gpa_low"]
    told = Notice.objects.for_farm(bench.farm).filter(kind="job_over_label", person_id=bench.manager.person_id)
    assert [("Demo Rain" in n.numbers["what"], "25" in n.numbers["what"]) for n in told] == [(True, True)]


def test_above_the_label_maximum_is_recorded_as_such_and_the_manager_is_told(bench: Bench, job: Job) -> None:
    # 8 ac x 6 fl oz is the label's most, 48 fl oz; 56 were used.
    used = [{"product_id": bench.product.pk, "amount": "56", "unit": "floz"}]
    done = report(bench, job, products=used, sprayed_gal="240", deviation_reason="jug read wrong")
    assert [row.actual_amount for row in done.job_products.all()] == [56]
    refused = {f["code"] for b in done.finish_findings for f in b["findings"] if f["severity"] == "refuse"}
    assert "rate_high" in refused
    told = Notice.objects.for_farm(bench.farm).get(kind="job_over_label", person_id=bench.manager.person_id)
    assert "7 fl oz" in told.numbers["what"]
