"""Writing a job down: every kind of bad input named at its field, and nothing written then."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from apps.spraying import services
from apps.spraying.models import Job, JobBlock, JobProduct, JobStep
from farmops.errors import BadInput, NotYourRole, Refused, Stale, Unknown
from tests.factories.equipment import SprayerFactory
from tests.factories.land import BlockFactory
from tests.factories.products import ProductFactory
from tests.factories.spraying import NOW, WINDOW, Bench, line

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def foreign_block(bench: Bench, cast) -> dict:
    return {"blocks": [{"block_id": BlockFactory(farm=cast.other_farm).pk}]}


def archived_block(bench: Bench, cast) -> dict:
    return {"blocks": [{"block_id": BlockFactory(farm=bench.farm, archived_at=NOW).pk}]}


def retired_sprayer(bench: Bench, cast) -> dict:
    bench.sprayer.retired_at = NOW
    bench.sprayer.save()
    return {}


def no_calibration(bench: Bench, cast) -> dict:
    return {"sprayer_id": SprayerFactory(farm=bench.farm).pk}


def block(bench: Bench, **values) -> list[dict]:
    return [{"block_id": bench.blocks[0].pk, **values}]


BAD = {
    "another farm's block": (foreign_block, ["blocks"]),
    "archived block": (archived_block, ["blocks.0"]),
    "no block": (lambda b, c: {"blocks": []}, ["blocks"]),
    "a block twice": (lambda b, c: {"blocks": block(b) * 2}, ["blocks"]),
    "more acres than the block holds": (
        lambda b, c: {"blocks": block(b, planned_acres="99")},
        ["blocks.0.planned_acres"],
    ),
    "no acres": (lambda b, c: {"blocks": block(b, planned_acres="0")}, ["blocks.0.planned_acres"]),
    "acres with a comma": (lambda b, c: {"blocks": block(b, planned_acres="1,5")}, ["blocks.0.planned_acres"]),
    "acres too fine": (lambda b, c: {"blocks": block(b, planned_acres="1.00001")}, ["blocks.0.planned_acres"]),
    "no product": (lambda b, c: {"products": []}, ["products"]),
    "a product twice": (lambda b, c: {"products": [line(b.product)] * 2}, ["products"]),
    "another farm's product": (
        lambda b, c: {"products": [line(ProductFactory(farm=c.other_farm))]},
        ["products.0.product_id"],
    ),
    "a product no longer used": (
        lambda b, c: {"products": [line(ProductFactory(farm=b.farm, retired_at=NOW))]},
        ["products.0.product_id"],
    ),
    "unknown unit": (lambda b, c: {"products": [line(b.product, unit="cup")]}, ["products.0.rate_unit"]),
    "share with a volume": (
        lambda b, c: {"products": [line(b.product, unit="floz", basis="percent_vv")]},
        ["products.0.rate_unit"],
    ),
    "volume with a share": (lambda b, c: {"products": [line(b.product, unit="%vv")]}, ["products.0.rate_unit"]),
    "unknown basis": (lambda b, c: {"products": [line(b.product, basis="per_row")]}, ["products.0.rate_basis"]),
    "negative rate": (lambda b, c: {"products": [line(b.product, "-1")]}, ["products.0.rate_amount"]),
    "no rate": (lambda b, c: {"products": [line(b.product, "0")]}, ["products.0.rate_amount"]),
    "absurd rate": (lambda b, c: {"products": [line(b.product, "1e9")]}, ["products.0.rate_amount"]),
    "a rate that hangs": (lambda b, c: {"products": [line(b.product, "1e999999999")]}, ["products.0.rate_amount"]),
    "window backwards": (lambda b, c: {"window_ends_at": WINDOW[0] - HOUR}, ["window_ends_at"]),
    "window of no length": (lambda b, c: {"window_ends_at": WINDOW[0]}, ["window_ends_at"]),
    "window too long": (lambda b, c: {"window_ends_at": WINDOW[0] + 25 * HOUR}, ["window_ends_at"]),
    "window over": (
        lambda b, c: {"window_starts_at": NOW - 3 * HOUR, "window_ends_at": NOW},
        ["window_ends_at"],
    ),
    "window far away": (
        lambda b, c: {
            "window_starts_at": NOW + 500 * 24 * HOUR,
            "window_ends_at": NOW + (500 * 24 + 2) * HOUR,
            "spray_gpa": "30",
        },
        ["window_starts_at"],
    ),
    "a manager as applicator": (lambda b, c: {"applicator_id": c.manager.person_id}, ["applicator_id"]),
    "another farm's applicator": (lambda b, c: {"applicator_id": c.neighbour.person_id}, ["applicator_id"]),
    "supervised by oneself": (lambda b, c: {"supervisor_id": c.applicator.person_id}, ["supervisor_id"]),
    "supervised by staff": (lambda b, c: {"supervisor_id": c.staff.person_id}, ["supervisor_id"]),
    "another sprayer": (lambda b, c: {"sprayer_id": 987654}, ["sprayer_id"]),
    "a sprayer no longer used": (retired_sprayer, ["sprayer_id"]),
    "no calibration and no volume": (no_calibration, ["spray_gpa"]),
    "no volume": (lambda b, c: {"spray_gpa": "0"}, ["spray_gpa"]),
    "pH 15": (lambda b, c: {"water_ph": "15"}, ["water_ph"]),
    "wind of 200": (lambda b, c: {"expected_wind_mph": "200"}, ["expected_wind_mph"]),
    "less than no rain": (lambda b, c: {"expected_dry_hours": "-1"}, ["expected_dry_hours"]),
    "heat in words": (lambda b, c: {"expected_high_f": "hot"}, ["expected_high_f"]),
    "a target that is no word": (lambda b, c: {"targets": ["<b>"]}, ["targets"]),
    "several at once": (
        lambda b, c: {"blocks": [], "products": [line(b.product, "0")], "water_ph": "x"},
        ["blocks", "products.0.rate_amount", "water_ph"],
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_names_its_field_and_leaves_nothing(bench, cast, name):
    make, fields = BAD[name]
    with pytest.raises(BadInput) as error:
        bench.planned(**make(bench, cast))
    assert sorted(error.value.errors) == sorted(fields)
    assert [Job.rows.count(), JobBlock.rows.count(), JobProduct.rows.count(), JobStep.rows.count()] == [0, 0, 0, 0]


def test_what_is_left_out_comes_from_the_block_and_the_calibration(bench):
    job = bench.planned(targets=["Powdery Mildew ", "squash-bug", "powdery_mildew"])
    assert job.job_blocks.all()[0].planned_acres == bench.blocks[0].planted_acres
    assert (job.spray_gpa, job.targets) == (Decimal("30.000"), ["powdery_mildew", "squash_bug"])


def test_numbers_run_on_for_each_farm(bench):
    assert [bench.planned().number for _ in range(3)] == [1, 2, 3]


def test_a_draft_keeps_what_the_check_said(bench):
    job = bench.planned(products=[line(bench.product, "9")])
    found = {f["code"]: f for f in job.findings[0]["findings"]}
    assert found["rate_high"]["severity"] == "refuse"
    assert found["rate_high"]["numbers"]["limit"] == "6 fl oz/acre"


def test_weather_that_is_expected_is_judged_instead_of_missing(bench):
    def codes(**expected) -> dict[str, str]:
        job = bench.planned(**expected)
        return {f["code"]: f["severity"] for f in job.findings[0]["findings"]}

    assert codes() == {"data_missing_wind": "justify"}
    assert codes(expected_wind_mph="6") == {}
    assert codes(expected_wind_mph="11") == {"wind_high": "refuse"}


class TestEdit:
    def test_lines_given_replace_all_lines_of_their_kind(self, bench):
        job = bench.planned()
        other = bench.product_of("Demo Other", bench.label.body)
        changes = {"products": [line(other, "4")], "notes": "north side first"}
        edited = services.edit_job(
            member=bench.manager, job_id=job.pk, expected_version=job.version, changes=changes, now=NOW
        )
        assert [(p.product_id, p.rate_amount) for p in edited.job_products.all()] == [(other.pk, Decimal("4.0000"))]
        assert [b.block_id for b in edited.job_blocks.all()] == [bench.blocks[0].pk]
        assert (edited.notes, edited.version, edited.state) == ("north side first", 2, "draft")

    def test_who_reads_first_and_writes_last_is_told(self, bench):
        job = bench.planned()
        edit = {"member": bench.manager, "job_id": job.pk, "expected_version": 1, "now": NOW}
        services.edit_job(changes={"notes": "a"}, **edit)
        with pytest.raises(Stale):
            services.edit_job(changes={"notes": "b"}, **edit)
        assert Job.rows.get(pk=job.pk).notes == "a"

    def test_an_assigned_job_is_not_edited(self, bench):
        job = bench.assigned()
        with pytest.raises(Refused) as error:
            services.edit_job(
                member=bench.manager, job_id=job.pk, expected_version=job.version, changes={"notes": "x"}, now=NOW
            )
        assert [f.code for f in error.value.findings] == ["wrong_state"]

    def test_bad_lines_leave_the_old_ones(self, bench):
        job = bench.planned()
        with pytest.raises(BadInput):
            services.edit_job(
                member=bench.manager, job_id=job.pk, expected_version=1, changes={"products": []}, now=NOW
            )
        assert JobProduct.rows.filter(job=job).count() == 1


def test_another_farms_job_is_unknown(bench, cast):
    job = bench.planned()
    with pytest.raises(Unknown):
        services.edit_job(member=cast.neighbour, job_id=job.pk, expected_version=1, changes={}, now=NOW)


def test_an_applicator_does_not_plan(bench):
    with pytest.raises(NotYourRole):
        services.plan_job(member=bench.applicator, now=NOW, **bench.plan_values())
