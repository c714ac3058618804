"""Starting: typed readings, the gates again, nobody in the block, nobody before the window."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from apps.safety.models import Closure
from apps.spraying import services
from apps.spraying.models import Job
from apps.training.models import Certificate
from apps.weather.models import Reading
from farmops.errors import BadInput, NotYourRole, Refused
from tests.conftest import place
from tests.factories.equipment import CalibrationFactory, SprayerFactory
from tests.factories.products import LabelFactory
from tests.factories.spraying import READINGS, STARTED, WINDOW, line, shield_document
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db


def start(bench, job, *, by=None, at=STARTED, reason="", **readings):
    typed = {**READINGS, **readings}
    return services.start_spraying(member=by or bench.applicator, job_id=job.pk, readings=typed, reason=reason, now=at)


def still_planned(job) -> None:
    again = Job.rows.get(pk=job.pk)
    assert (again.state, again.started_at, again.start_readings) == ("assigned", None, {})
    assert [(c.kind, c.lifted_at) for c in Closure.rows.all()] == [("planned", None)]


def refused(bench, job, **more) -> list[str]:
    with pytest.raises(Refused) as error:
        start(bench, job, **more)
    still_planned(job)
    return [f.code for f in error.value.findings if f.severity == "refuse"]


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"wind_mph": ""}, "wind_mph"),
        ({"temperature_f": None}, "temperature_f"),
        ({"humidity_percent": "  "}, "humidity_percent"),
        ({"wind_mph": "-1"}, "wind_mph"),
        ({"wind_mph": "5,5"}, "wind_mph"),
        ({"wind_mph": "calm"}, "wind_mph"),
        ({"humidity_percent": "101"}, "humidity_percent"),
        ({"temperature_f": "-100"}, "temperature_f"),
        ({"temperature_f": "1e999999999"}, "temperature_f"),
        ({"wind_from": "up"}, "wind_from"),
        ({"gust_mph": "5.25"}, "gust_mph"),
    ],
    ids=lambda v: str(v),
)
def test_readings_that_cannot_be_are_named(bench, typed, field):
    job = bench.assigned()
    with pytest.raises(BadInput) as error:
        start(bench, job, **typed)
    assert list(error.value.errors) == [field]
    still_planned(job)


def test_wind_above_the_label_stops_the_start(bench):
    job = bench.assigned()
    assert refused(bench, job, wind_mph="10.1") == ["wind_high"]
    assert start(bench, job, wind_mph="10").state == "spraying"


def test_gusts_below_the_wind_are_a_slip(bench):
    job = bench.assigned()
    with pytest.raises(BadInput) as error:
        start(bench, job, wind_mph="6", gust_mph="5")
    assert list(error.value.errors) == ["gust_mph"]
    still_planned(job)


def test_the_reading_stands_in_the_weather_book_once(bench):
    start(bench, bench.assigned())
    row = Reading.rows.get()
    assert (row.block, row.taken_at, row.wind_mph, row.wind_from, row.taken_by_id) == (
        bench.blocks[0],
        STARTED,
        5,
        "sw",
        bench.applicator.person_id,
    )


def test_a_boom_that_failed_its_catch_test_stops_the_start(bench):
    job = bench.assigned()
    CalibrationFactory(sprayer=bench.sprayer, measured_on=date(2026, 7, 6), verdict="fail")
    assert refused(bench, job, reason="it was fine yesterday") == ["calibration_failed"]


def test_nobody_starts_before_the_window(bench):
    job = bench.assigned()
    assert refused(bench, job, at=WINDOW[0] - timedelta(seconds=1)) == ["too_early"]
    assert start(bench, job, at=WINDOW[0]).started_at == WINDOW[0]


def test_a_late_start_is_judged_at_its_own_time(bench):
    job = bench.assigned()
    begun = start(bench, job, at=WINDOW[1] + timedelta(hours=2))
    assert begun.state == "spraying"
    closure = Closure.rows.get(kind="underway")
    assert closure.provisional_ends_at == WINDOW[1] + timedelta(hours=2)


def test_somebody_at_work_in_the_block_stops_the_start(bench, cast):
    job = bench.assigned()
    task = TaskFactory(
        farm=bench.farm,
        block=bench.blocks[0],
        assigned_to_id=cast.staff.person_id,
        starts_at=STARTED - timedelta(hours=1),
        state="started",
    )
    assert "people_in_block" in refused(bench, job, reason="they know")
    task.state, task.closed_at = "done", STARTED
    task.save()
    assert start(bench, job).state == "spraying"


def test_what_newly_needs_a_reason_needs_one_in_the_field(bench):
    job = bench.assigned()
    with pytest.raises(Refused) as error:
        start(bench, job, wind_mph="2")
    assert [f.code for f in error.value.findings] == ["reason_missing", "wind_low_inversion"]
    still_planned(job)
    begun = start(bench, job, wind_mph="2", reason="smoke rises straight, no inversion")
    assert begun.steps.get(step="start").note == "smoke rises straight, no inversion"


def test_what_was_answered_at_assignment_is_not_asked_again(bench):
    job = bench.assigned(spray_gpa="30", sprayer_id=SprayerFactory(farm=bench.farm).pk)
    assert "calibration_missing" in {f["code"] for f in job.findings[0]["findings"]}
    assert start(bench, job).state == "spraying"


def test_a_harvest_brought_forward_stops_the_start(bench):
    job = bench.assigned()
    bench.blocks[0].plantings.update(harvest_from=date(2026, 7, 8))
    assert refused(bench, job) == ["phi"]


def test_a_certificate_that_ended_meanwhile_stops_a_restricted_product(bench):
    risky = bench.product_of("Demo Restricted", shield_document() | {"restricted_use": True})
    job = bench.assigned(products=[line(risky)])
    Certificate.rows.filter(person_id=bench.applicator.person_id).update(valid_to=date(2026, 7, 5))
    assert refused(bench, job) == ["rup_cert", "handler_training"]


def test_a_label_that_changed_meanwhile_is_the_one_that_counts(bench):
    job = bench.assigned()
    newer = LabelFactory(
        product=bench.product, number=2, effective_on=date(2026, 7, 6), document=shield_document() | {"rei_hours": "24"}
    )
    begun = start(bench, job)
    assert [p.label_version_id for p in begun.job_products.all()] == [newer.pk]


def test_only_the_person_named_starts(bench, cast):
    job = bench.assigned()
    other = place(bench.farm, "applicator", "Pia Holm", "pia")
    for who in (other, cast.manager, cast.staff):
        with pytest.raises(NotYourRole):
            start(bench, job, by=who)
    still_planned(job)


def test_stock_of_the_job_itself_counts_as_there(bench):
    scarce = bench.product_of("Demo Scarce", shield_document(), amount="60", unit="floz")
    job = bench.assigned(products=[line(scarce)])
    assert start(bench, job).state == "spraying"
