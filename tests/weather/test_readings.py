"""Readings on the farm: service, queries, API and page."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal as D

import pytest
from django.db import IntegrityError, transaction

from apps.audit.models import AuditEvent
from apps.weather import queries, services
from apps.weather.models import Reading
from apps.weather.rules.sun import SunKind
from farmops import wording
from farmops.errors import BadInput
from tests.factories.land import BlockFactory
from tests.factories.weather import ReadingFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("june")]
NOW = datetime(2026, 6, 1, 14, 0, tzinfo=UTC)
API, PAGE = "/api/v1/farms/alder-bend/", "/f/alder-bend/weather/"
AIR = {"taken_at": NOW, "wind_mph": D("6.5"), "wind_from": "nw", "temperature_f": D(75), "humidity_percent": D(50)}


def text(answer):
    return " ".join(answer.content.decode().split())


def test_recorded_on_a_block_and_audited(cast):
    block = BlockFactory(farm=cast.farm)
    row = services.record_reading(member=cast.staff, now=NOW, block_id=block.pk, **AIR)
    assert (row.block_id, row.wind_mph, row.source, row.taken_by_id) == (
        block.pk, D("6.5"), "handheld", cast.staff.person_id,
    )  # fmt: skip
    assert AuditEvent.objects.get(subject_type="weather.reading").after["wind_mph"] == "6.5"


@pytest.mark.parametrize(
    ("values", "fields"),
    [
        ({"wind_mph": D(-1)}, ["wind_mph"]),
        ({"wind_mph": D(151)}, ["wind_mph"]),
        ({"gust_mph": D(6)}, ["gust_mph"]),
        ({"wind_from": "up"}, ["wind_from"]),
        ({"temperature_f": D(200)}, ["temperature_f"]),
        ({"humidity_percent": D(0)}, ["humidity_percent"]),
        ({"taken_at": NOW + timedelta(minutes=3)}, ["taken_at"]),
        ({"block_id": 987654}, ["block_id"]),
        ({"wind_mph": D(-1), "temperature_f": D(999)}, ["temperature_f", "wind_mph"]),
    ],
)
def test_what_cannot_be_is_named(cast, values, fields):
    with pytest.raises(BadInput) as caught:
        services.record_reading(member=cast.staff, now=NOW, **{**AIR, **values})
    assert (sorted(caught.value.errors), Reading.rows.count()) == (fields, 0)


def test_a_forecast_may_be_of_tomorrow(cast):
    row = services.record_reading(
        member=cast.manager, now=NOW, source="forecast", **{**AIR, "taken_at": NOW + timedelta(days=1)}
    )
    assert row.source == "forecast"


def test_another_farms_block_is_not_a_block_here(cast):
    with pytest.raises(BadInput) as caught:
        services.record_reading(member=cast.manager, now=NOW, block_id=BlockFactory(farm=cast.other_farm).pk, **AIR)
    assert caught.value.errors == {"block_id": ["This farm has no such block."]}


@pytest.mark.parametrize(
    ("values", "constraint"),
    [
        ({"wind_mph": D(200)}, "reading_wind_real"),
        ({"gust_mph": D(1)}, "reading_gust_at_least_wind"),
        ({"wind_from": "up"}, "reading_wind_from_known"),
        ({"humidity_percent": D(0)}, "reading_humidity_real"),
        ({"temperature_f": D(999)}, "reading_temperature_real"),
        ({"source": "guess"}, "reading_source_known"),
    ],
)
def test_the_database_holds_it_too(cast, values, constraint):
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        ReadingFactory(farm=cast.farm, **values)
    assert constraint in str(caught.value)


def test_the_newest_measured_reading_of_the_place(cast):
    block, other = BlockFactory(farm=cast.farm), BlockFactory(farm=cast.farm)
    farm_wide = ReadingFactory(farm=cast.farm, taken_at=NOW - timedelta(minutes=50))
    here = ReadingFactory(farm=cast.farm, block=block, taken_at=NOW - timedelta(minutes=40))
    ReadingFactory(farm=cast.farm, block=other, taken_at=NOW - timedelta(minutes=10))
    ReadingFactory(farm=cast.farm, block=block, source="forecast", taken_at=NOW - timedelta(minutes=5))
    ReadingFactory(farm=cast.other_farm, taken_at=NOW - timedelta(minutes=1))
    hour = timedelta(hours=1)
    assert queries.latest(cast.farm, block_id=block.pk, at=NOW, within=hour) == here
    assert queries.latest(cast.farm, block_id=None, at=NOW, within=hour) == farm_wide
    assert queries.latest(cast.farm, block_id=block.pk, at=NOW, within=timedelta(minutes=40)) is None
    assert queries.latest(cast.farm, block_id=block.pk, at=NOW - timedelta(minutes=45), within=hour) == farm_wide


def test_a_reading_says_what_it_means(cast):
    # 75 °F and 50 %: Delta-T between the table's 6.1 (20 °C) and 7.0 (25 °C); calm at dawn asks for a reason
    noon = queries.judge(cast.farm, ReadingFactory(farm=cast.farm))
    assert D("6.1") < noon.delta_t_c < D("7.0")
    assert noon.findings == ()
    dawn = ReadingFactory(farm=cast.farm, taken_at=datetime(2026, 6, 1, 11, tzinfo=UTC), wind_mph=D(1))
    assert [f.code for f in queries.judge(cast.farm, dawn).findings] == ["inversion_likely"]
    dry = ReadingFactory(farm=cast.farm, temperature_f=None)
    assert queries.judge(cast.farm, dry).delta_t_c is None


def test_sun_of_the_farms_own_day(cast):
    sun = queries.sun(cast.farm, date(2026, 6, 1))
    assert (sun.kind, sun.sunrise_at.date(), sun.sunset_at.date()) == (
        SunKind.TIMES, date(2026, 6, 1), date(2026, 6, 2),
    )  # fmt: skip


def test_reading_over_http(cast, api):
    client = api(cast.staff)
    body = {"taken_at": "2026-06-01T08:30", "wind_mph": "1", "temperature_f": "75", "humidity_percent": "50"}
    made = client.post(API + "readings/", body, format="json")
    assert made.status_code == 201
    shown = made.json()
    assert shown["taken_at"] == "2026-06-01T13:30:00Z"  # farm-local without an offset
    assert [f["code"] for f in shown["findings"]] == ["wind_calm"]
    assert client.get(f"{API}readings/{shown['id']}/").json() == shown
    assert [r["id"] for r in client.get(API + "readings/?source=handheld").json()["results"]] == [shown["id"]]
    assert client.get(API + "readings/?since=2026-06-01T13:31:00Z").json()["results"] == []


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"taken_at": "2026-03-08T02:30"}, "taken_at"),  # skipped by the spring clock change
        ({"taken_at": "2025-11-02T01:30"}, "taken_at"),  # happens twice in autumn
        ({"taken_at": "yesterday"}, "taken_at"),
        ({"wind_mph": "1,5"}, "wind_mph"),
        ({"wind_mph": "NaN"}, "wind_mph"),
        ({"wind_from": "up"}, "wind_from"),
        ({"gust_mph": "1"}, "gust_mph"),
        ({"block_id": 10**30}, "block_id"),
    ],
)
def test_bad_readings_over_http_name_the_field(cast, api, body, field):
    asked = {"taken_at": "2026-06-01T08:30", "wind_mph": "5", **body}
    answer = api(cast.staff).post(API + "readings/", asked, format="json")
    assert (answer.status_code, list(answer.json()["errors"]), Reading.rows.count()) == (400, [field], 0)


def test_sun_over_http(cast, api):
    body = api(cast.staff).get(API + "sun/?on=2026-06-21").json()
    assert (body["on"], body["sun"], body["sunrise_at"][:10]) == ("2026-06-21", "times", "2026-06-21")
    assert api(cast.staff).get(API + "sun/").json()["on"] == "2026-06-01"
    for wrong in ("21/06/2026", "1800-01-01"):
        answer = api(cast.staff).get(API + f"sun/?on={wrong}")
        assert (answer.status_code, list(answer.json()["errors"])) == (400, ["on"])


def test_another_farms_reading_is_not_found(cast, api):
    theirs = ReadingFactory(farm=cast.other_farm)
    answer = api(cast.manager).get(f"{API}readings/{theirs.pk}/")
    assert (answer.status_code, answer.json()["detail"]) == (404, "No such entry in this farm's book.")
    assert api(cast.manager).get(API + "readings/").json()["results"] == []


def test_page_shows_sun_readings_and_records_once(cast, browser_client):
    client = browser_client(cast.staff)
    page = text(client.get(PAGE))
    assert "No reading is in the book yet." in page
    sunset = wording.instant(queries.sun(cast.farm, date(2026, 6, 1)).sunset_at, "America/Chicago", "en")
    assert f"<dt>Sunset</dt><dd>{sunset}</dd>" in page
    asked = {
        "taken_at": "2026-06-01T08:30",
        "source": "handheld",
        "wind_mph": "1",
        "wind_from": "nw",
        "temperature_f": "75",
        "humidity_percent": "50",
        "once_key": "reading-at-half-past",
    }
    for _ in range(2):
        page = text(client.post(PAGE, asked, follow=True))
    assert Reading.rows.get().taken_at == datetime(2026, 6, 1, 13, 30, tzinfo=UTC)
    assert "Mon, Jun 1, 8:30 AM CDT, Ana Ruiz" in page
    assert "Wind 1 mph: under 3 mph its direction wanders and an inversion can hold." in page


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"wind_mph": "1,5"}, "Use a point for decimals, like 1.5, and no thousands mark."),
        ({"wind_mph": ""}, "This field is required."),
        ({"wind_mph": "1.25"}, "At most one decimal."),
        ({"gust_mph": "0.5"}, "Gusts must be at least the wind, and at most 150 mph."),
        ({"taken_at": "2026-03-08T02:30"}, "does not exist in America/Chicago"),
        ({"taken_at": "soon"}, "Must be a date and a time"),
    ],
)
def test_wrong_input_on_the_page_is_said_twice_and_nothing_kept(cast, browser_client, typed, said):
    asked = {"taken_at": "2026-06-01T08:30", "source": "handheld", "wind_mph": "1", **typed}
    answer = browser_client(cast.staff).post(PAGE, asked)
    assert (answer.status_code, text(answer).count(said), Reading.rows.count()) == (400, 2, 0)
