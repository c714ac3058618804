"""A reading that stands against tonight's job is told once, to those who can act, and taken back when it is over."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import pytest

from apps.reminders.models import Notice
from apps.reminders.services.telling import reconcile
from apps.spraying.tonight import due, next_due
from tests.factories.spraying import STARTED, WINDOW, bench_for
from tests.factories.weather import ReadingFactory

pytestmark = pytest.mark.django_db
BEFORE = WINDOW[0] - timedelta(minutes=30)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def bench(cast):
    return bench_for(cast)


def blow(bench, at: datetime, wind: str, **more):
    """The label of the bench stops at 10 mph."""
    return ReadingFactory(farm=bench.farm, taken_at=at, wind_mph=Decimal(wind), temperature_f=Decimal("68"), **more)


def said(bench, at: datetime) -> list[tuple[str, bool]]:
    return [(d.occasion, d.urgent) for d in due(bench.farm, at)]


def test_wind_above_the_label_before_the_window_is_told_to_the_applicator_and_the_managers(bench):
    bench.assigned()
    blow(bench, BEFORE, "14")
    (found,) = due(bench.farm, BEFORE + MINUTE)
    assert (found.kind, found.occasion, found.urgent) == ("job_weather", "wind_high before", False)
    assert found.person_ids == sorted([bench.manager.person_id, bench.applicator.person_id])
    assert found.numbers["why"].numbers["wind"] == "14"


def test_during_the_job_it_is_dangerous(bench):
    bench.spraying()
    blow(bench, STARTED + 20 * MINUTE, "14")
    assert said(bench, STARTED + 21 * MINUTE) == [("wind_high during", True)]


@pytest.mark.parametrize("wind", ["6", "10"], ids=["pleasant", "at the limit"])
def test_wind_the_label_allows_says_nothing(bench, wind):
    bench.assigned()
    blow(bench, BEFORE, wind)
    assert said(bench, BEFORE + MINUTE) == []


def test_a_reading_speaks_for_an_hour(bench):
    bench.assigned()
    blow(bench, BEFORE, "14")
    assert [len(said(bench, BEFORE + n * MINUTE)) for n in (59, 60)] == [1, 0]


def test_a_better_reading_takes_it_back_after_ten_minutes_so_that_gusts_do_not_chatter(bench):
    bench.assigned()
    blow(bench, BEFORE, "14")
    blow(bench, BEFORE + 9 * MINUTE, "6")
    assert len(said(bench, BEFORE + 10 * MINUTE)) == 1
    blow(bench, BEFORE + 11 * MINUTE, "6")
    assert said(bench, BEFORE + 12 * MINUTE) == []


def test_a_forecast_speaks_of_its_own_hour_only(bench):
    bench.assigned()
    blow(bench, WINDOW[1] + timedelta(hours=3), "14", source="forecast", recorded_at=BEFORE)
    assert said(bench, BEFORE + MINUTE) == []
    blow(bench, WINDOW[0] + timedelta(hours=1), "14", source="forecast", recorded_at=BEFORE)
    assert said(bench, BEFORE + MINUTE) == [("wind_high before", False)]


def test_a_draft_and_a_job_of_another_day_hear_nothing(bench):
    bench.planned()
    blow(bench, BEFORE, "14")
    assert said(bench, BEFORE + MINUTE) == []
    bench.assigned()
    early = WINDOW[0] - timedelta(hours=13)
    blow(bench, early, "14")
    assert said(bench, early + MINUTE) == []


def test_the_notice_goes_when_the_wind_has_calmed_down(bench):
    bench.assigned()
    blow(bench, BEFORE, "14")
    for at, standing in ((BEFORE + MINUTE, 2), (BEFORE + timedelta(hours=2), 0)):
        reconcile(bench.farm, "tonight", due(bench.farm, at), at)
        assert Notice.rows.filter(kind="job_weather", withdrawn_at=None).count() == standing


def test_it_is_asked_again_twelve_hours_before_and_then_every_ten_minutes(bench):
    assert next_due(bench.farm, BEFORE) is None
    bench.assigned()
    far = WINDOW[0] - timedelta(hours=20)
    assert next_due(bench.farm, far) == WINDOW[0] - timedelta(hours=12)
    assert next_due(bench.farm, BEFORE) == BEFORE + 10 * MINUTE
