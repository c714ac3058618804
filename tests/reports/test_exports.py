"""What is taken away is what was signed and what moved in the shed."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.inventory import services as shed
from apps.spraying.rules.record import Meaning
from farmops.units import Quantity
from tests.factories.spraying import NOW, SIGNED, WINDOW

pytestmark = pytest.mark.django_db
SEEN_AT = SIGNED + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _now(monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: SEEN_AT)


def rows_of(answer) -> list[dict[str, str]]:
    assert answer.status_code == 200
    text = b"".join(answer.streaming_content).decode("utf-8")
    assert text.startswith("\ufeff")
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


def get(client, name, query="") -> list[dict[str, str]]:
    return rows_of(client.get(f"/api/v1/farms/alder-bend/exports/{name}/{query}"))


@pytest.fixture
def squash(bench):
    """Ten acres, so that every amount can be worked by hand."""
    block = bench.blocks[0]
    block.planted_acres, block.planted_stated = Decimal("10"), True
    block.save()
    return bench


def test_a_signed_record_is_one_line(squash, api):
    record = squash.signed()
    (row,) = get(api(squash.manager), "spray-records")
    assert {k: row[k] for k in ("record", "edition", "supersedes_record", "replaced_by_record", "meaning", "job")} == {
        "record": "1",
        "edition": "1",
        "supersedes_record": "",
        "replaced_by_record": "",
        "meaning": "applied",
        "job": "1",
    }
    assert (row["signed_at"], row["signed_at_farm_time"]) == ("2026-07-06T10:10:00-05:00", "2026-07-06 10:10")
    assert (row["started_at"], row["ended_at_farm_time"]) == ("2026-07-06T08:10:00-05:00", "2026-07-06 09:40")
    assert (row["signed_by"], row["signer_certificate"], row["applicator"]) == ("Luis Mora", "12345", "Luis Mora")
    assert (row["blocks"], row["crops"]) == ("N1 North 1: 10 acres", "Winter squash")
    assert (row["treated_acres"], row["spray_gal_per_acre"], row["loads"]) == ("10", "30", "3")
    assert (row["start_wind_mph"], row["start_wind_from"]) == ("5", "SW")
    assert row["products"] == "Demo Shield 50 floz"
    assert row["closures"] == ("N1 entry until 2026-07-06 21:40; N1 harvest until 2026-07-09 09:40")
    assert (row["hash"], row["as_of"]) == (record.hash, "2026-07-06T16:10:00+00:00")


def test_each_product_of_a_record_is_a_line(squash, api):
    squash.signed()
    (row,) = get(api(squash.applicator), "spray-products")
    wanted = ("record", "product", "label_version", "planned_rate", "amount", "unit", "amount_per_acre")
    assert [row[k] for k in wanted] == ["1", "Demo Shield", str(squash.label.number), "5 fl oz/acre", "50", "floz", "5"]


def test_a_record_that_nothing_was_applied(squash, api):
    job = squash.assigned()
    squash.sign(job, now=WINDOW[1], meaning=Meaning.NOT_APPLIED)
    (row,) = get(api(squash.manager), "spray-records")
    assert (row["meaning"], row["reason"], row["started_at"], row["treated_acres"]) == (
        "not_applied",
        "rain came in",
        "",
        "",
    )
    assert get(api(squash.manager), "spray-products") == []


def test_the_days_asked_for_are_the_farms(squash, api):
    """The record was signed on July 6, farm time."""
    squash.signed()
    client = api(squash.manager)
    for query, count in [
        ("?from=2026-07-06&to=2026-07-06", 1),
        ("?from=2026-07-07", 0),
        ("?to=2026-07-05", 0),
        ("?to=2026-07-06", 1),
    ]:
        assert len(get(client, "spray-records", query)) == count, query


def test_every_movement_of_the_shed_is_a_line(squash, api):
    squash.signed()
    rows = get(api(squash.manager), "stock-ledger")
    assert [(r["kind"], r["on_hand_change"], r["reserved_change"], r["unit"]) for r in rows] == [
        ("receive", "5", "0", "gal"),
        ("reserve", "0", "0.390625", "gal"),
        ("draw", "-0.390625", "-0.390625", "gal"),
    ]
    assert (rows[2]["entered_amount"], rows[2]["entered_unit"], rows[2]["for_type"]) == ("50", "floz", "job")
    assert (rows[0]["by"], rows[2]["by"]) == ("Ines Prado", "Luis Mora")


def test_the_sum_of_the_ledger_is_what_is_on_hand(squash, api):
    squash.signed()
    rows = get(api(squash.manager), "stock-ledger")
    left = sum(Decimal(r["on_hand_change"]) for r in rows)
    assert left == squash.product.stock.on_hand == Decimal("4.609375")  # 5 gal less 50 fl oz


def test_typed_text_cannot_become_a_formula(squash, api):
    lot = squash.product.lots.get()
    counted = Quantity(Decimal("4"), "gal")
    shed.count(member=squash.manager, lot_id=lot.pk, counted=counted, reason='=HYPERLINK("x")', now=NOW)
    row = get(api(squash.manager), "stock-ledger")[-1]
    assert (row["reason"], row["on_hand_change"]) == ('\'=HYPERLINK("x")', "-1")


def queries_for_all_files(client) -> int:
    with CaptureQueriesContext(connection) as seen:
        for name in ("spray-records", "spray-products", "stock-ledger"):
            get(client, name)
    return len(seen)


def test_the_number_of_queries_does_not_grow_with_the_records(squash, api):
    squash.signed()
    client = api(squash.manager)
    before = queries_for_all_files(client)
    squash.signed(blocks=[{"block_id": squash.blocks[1].pk}])
    assert len(get(client, "spray-records")) == 2
    assert queries_for_all_files(client) == before


@pytest.mark.parametrize(
    ("query", "field", "sentence"),
    [
        ("?from=yesterday", "from", "Must be a day like 2026-06-03."),
        ("?to=2026-13-01", "to", "Must be a day like 2026-06-03."),
        ("?to=9999-12-31", "to", "Must be a day like 2026-06-03."),
        ("?from=2026-07-02&to=2026-07-01", "to", "Must not be before the first day."),
        ("?since=2026-07-01", "since", "Not a filter here. Use: from, to."),
    ],
)
def test_a_day_that_is_none_is_named(cast, api, query, field, sentence):
    answer = api(cast.manager).get(f"/api/v1/farms/alder-bend/exports/spray-records/{query}")
    assert (answer.status_code, answer.json()["errors"]) == (400, {field: [sentence]})


def test_a_client_may_ask_for_csv_and_still_gets_errors_as_problems(cast, api):
    client = api(cast.manager)
    answer = client.get("/api/v1/farms/alder-bend/exports/stock-ledger/", headers={"Accept": "text/csv"})
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/csv; charset=utf-8")
    answer = client.get("/api/v1/farms/alder-bend/exports/stock-ledger/?to=x", headers={"Accept": "text/csv"})
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")


def test_the_page_offers_each_file_and_serves_the_same(squash, browser_client, api):
    squash.signed()
    client = browser_client(squash.manager)
    html = client.get("/f/alder-bend/exports/").content.decode()
    for name in ("spray-records", "spray-products", "stock-ledger"):
        assert f'action="{name}/"' in html
        assert rows_of(client.get(f"/f/alder-bend/exports/{name}/?from=&to=")) == get(api(squash.manager), name)


def test_another_farms_records_are_not_in_the_file(squash, cast, api):
    squash.signed()
    client = api(cast.neighbour)
    for name in ("spray-records", "spray-products", "stock-ledger"):
        assert rows_of(client.get(f"/api/v1/farms/far-side/exports/{name}/")) == []
