"""Rain as a gauge caught it: rules, service, API and page."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal as D

import pytest
from django.db import IntegrityError, transaction

from apps.audit.models import AuditEvent
from apps.weather import queries, services
from apps.weather.models import Rainfall
from farmops.errors import BadInput, NotYourRole
from tests.factories.land import BlockFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("june")]
NOW = datetime(2026, 6, 1, 14, 0, tzinfo=UTC)
API, PAGE = "/api/v1/farms/alder-bend/rainfall/", "/f/alder-bend/weather/rain/"
CAUGHT = {"from_at": NOW - timedelta(hours=20), "until_at": NOW, "inches": D("1.25")}


def test_recorded_by_anybody_and_audited(cast):
    block = BlockFactory(farm=cast.farm)
    row = services.record_rainfall(member=cast.staff, now=NOW, block_id=block.pk, **CAUGHT)
    assert (row.block_id, row.inches, row.source, row.read_by_id) == (
        block.pk, D("1.25"), "gauge", cast.staff.person_id,
    )  # fmt: skip
    assert AuditEvent.objects.get(subject_type="weather.rainfall").after["inches"] == "1.25"


@pytest.mark.parametrize(
    ("values", "fields"),
    [
        ({"inches": D("-0.1")}, ["inches"]),
        ({"inches": D("30.01")}, ["inches"]),
        ({"inches": D("0.125")}, ["inches"]),
        ({"from_at": NOW}, ["from_at"]),
        ({"from_at": NOW - timedelta(days=32)}, ["from_at"]),
        ({"until_at": NOW + timedelta(minutes=3)}, ["until_at"]),
        ({"block_id": 987654}, ["block_id"]),
    ],
)
def test_what_cannot_be_is_named(cast, values, fields):
    with pytest.raises(BadInput) as caught:
        services.record_rainfall(member=cast.staff, now=NOW, **{**CAUGHT, **values})
    assert (sorted(caught.value.errors), Rainfall.rows.count()) == (fields, 0)


@pytest.mark.parametrize(
    ("values", "constraint"),
    [
        ({"inches": D(31)}, "rainfall_real"),
        ({"from_at": NOW + timedelta(hours=1)}, "rainfall_in_order"),
        ({"source": "forecast"}, "rainfall_source_known"),
    ],
)
def test_the_database_refuses_it_too(cast, values, constraint):
    row = {**CAUGHT, "farm": cast.farm, "recorded_at": NOW, "read_by_id": cast.staff.person_id, "source": "gauge"}
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        Rainfall.rows.create(**{**row, **values})
    assert constraint in str(caught.value)


def test_withdrawn_by_its_reader_or_a_manager_and_no_longer_counted(cast):
    row = services.record_rainfall(member=cast.staff, now=NOW, **CAUGHT)
    with pytest.raises(NotYourRole):
        services.withdraw_rainfall(member=cast.applicator, rainfall_id=row.pk, reason="not mine", now=NOW)
    with pytest.raises(BadInput):
        services.withdraw_rainfall(member=cast.manager, rainfall_id=row.pk, reason=" ", now=NOW)
    assert queries.rain_since(cast.farm, NOW - timedelta(hours=1)) == [row]
    services.withdraw_rainfall(member=cast.manager, rainfall_id=row.pk, reason="a sprinkler", now=NOW)
    assert (queries.rain_since(cast.farm, NOW - timedelta(hours=1)), Rainfall.rows.count()) == ([], 1)


def test_over_the_api(cast, api):
    client = api(cast.staff)
    body = {"from_at": "2026-05-31T20:00", "until_at": "2026-06-01T08:00", "inches": "0.80"}
    answer = client.post(API, body, format="json")
    assert (answer.status_code, answer.json()["inches"], answer.json()["from_at"]) == (
        201, "0.80", "2026-06-01T01:00:00Z",
    )  # fmt: skip
    listed = client.get(API).json()["results"]
    assert [row["id"] for row in listed] == [answer.json()["id"]]
    gone = client.post(f"{API}{answer.json()['id']}/withdraw/", {"reason": "a sprinkler"}, format="json")
    assert (gone.status_code, gone.json()["withdrawn_at"] is None) == (200, False)
    assert client.get(API).json()["results"] == []


def test_another_farms_reading_is_not_found(cast, api):
    row = services.record_rainfall(member=cast.neighbour, now=NOW, **CAUGHT)
    answer = api(cast.manager).post(f"{API}{row.pk}/withdraw/", {"reason": "mine"}, format="json")
    assert (answer.status_code, Rainfall.rows.get().withdrawn_at) == (404, None)


def test_the_page_starts_where_the_last_reading_ended(cast, browser_client):
    client = browser_client(cast.staff)
    assert "That does not mean that it was dry" in client.get(PAGE).content.decode()
    sent = client.post(
        PAGE, {"until_at": "2026-06-01T08:00", "from_at": "2026-05-31T20:00", "inches": "1.1", "source": "gauge"}
    )
    assert (sent.status_code, Rainfall.rows.get().inches) == (302, D("1.1"))
    assert 'value="2026-06-01T08:00"' in client.get(PAGE).content.decode()
    client.post(f"{PAGE}{Rainfall.rows.get().pk}/withdraw/", {"reason": "a sprinkler"})
    assert Rainfall.rows.get().withdrawn_at is not None
