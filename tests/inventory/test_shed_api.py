"""The shed over HTTP."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.inventory import services
from apps.inventory.models import LedgerLine, Lot
from farmops import clock
from tests.factories.inventory import qty, stocked
from tests.factories.products import ProductFactory

pytestmark = pytest.mark.django_db
ROOT = "/api/v1/farms/alder-bend/"
DELIVERY = {"lot_number": "A1", "amount": "2.5", "unit": "gal", "received_on": "2026-04-01", "expires_on": "2028-04-01"}


@pytest.fixture
def product(cast):
    return ProductFactory(farm=cast.farm, name="Demo Cedar 2SC")


@pytest.fixture
def applicator(cast, api):
    return api(cast.applicator)


def reserve(cast, product, amount: str, job: int = 12):
    services.reserve(
        farm=cast.farm,
        member=cast.manager,
        product_id=product.pk,
        quantity=qty(amount, "gal"),
        source=("job", job),
        now=clock.now(),
    )


def test_from_delivery_to_count(cast, applicator, product):
    made = applicator.post(f"{ROOT}shed/{product.pk}/deliveries/", DELIVERY, format="json")
    assert made.status_code == 201
    lot = made.json()
    assert {k: lot[k] for k in ("lot_number", "on_hand", "unit", "expires_on", "product_name")} == {
        "lot_number": "A1",
        "on_hand": "2.500000000",
        "unit": "gal",
        "expires_on": "2028-04-01",
        "product_name": "Demo Cedar 2SC",
    }
    reserve(cast, product, "1")
    counted = applicator.post(
        f"{ROOT}lots/{lot['id']}/counts/", {"amount": "9", "unit": "qt", "reason": "monthly count"}, format="json"
    )
    assert (counted.status_code, counted.json()["on_hand_change"], counted.json()["by"]) == (
        201,
        "-0.250000000",
        "Luis Mora",
    )
    spilled = applicator.post(
        f"{ROOT}lots/{lot['id']}/adjustments/", {"amount": "-1", "unit": "qt", "reason": "spilled"}, format="json"
    )
    assert (spilled.status_code, spilled.json()["entered_amount"]) == (201, "-1.000000")
    stock = applicator.get(f"{ROOT}shed/{product.pk}/").json()
    assert {k: stock["stock"][k] for k in ("on_hand", "reserved", "available", "soonest_expiry", "days_left")} == {
        "on_hand": "2.000000000",
        "reserved": "1.000000000",
        "available": "1.000000000",
        "soonest_expiry": "2028-04-01",
        "days_left": None,
    }
    assert stock["promises"] == [{"source_type": "job", "source_id": "12", "amount": "1.000000000"}]
    assert [row["product_id"] for row in applicator.get(ROOT + "shed/").json()] == [product.pk]
    lines = applicator.get(f"{ROOT}ledger/?product={product.pk}").json()["results"]
    assert [line["kind"] for line in lines] == ["adjust", "adjust", "reserve", "receive"]


def test_a_delivery_sent_twice_with_one_key_arrives_once(applicator, product):
    address, key = f"{ROOT}shed/{product.pk}/deliveries/", {"Idempotency-Key": "delivery-one"}
    first = applicator.post(address, DELIVERY, format="json", headers=key)
    again = applicator.post(address, DELIVERY, format="json", headers=key)
    assert (first.json(), again["Idempotent-Replay"]) == (again.json(), "true")
    assert (Lot.rows.get().on_hand, LedgerLine.rows.count()) == (qty("2.5", "gal").amount, 1)


BAD = [
    ({"unit": "ounce"}, "unit"),
    ({"unit": "ac"}, "unit"),
    ({"amount": "-1"}, "amount"),
    ({"amount": "1,5"}, "amount"),
    ({"amount": "1e400"}, "amount"),
    ({"amount": None}, "amount"),
    ({"lot_number": ""}, "lot_number"),
    ({"received_on": "2026-02-30"}, "received_on"),
    ({"received_on": "2999-01-01"}, "received_on"),
    ({"expires_on": "2026-03-01"}, "expires_on"),
]


@pytest.mark.parametrize(("changes", "field"), BAD, ids=[str(c) for c, _ in BAD])
def test_bad_input_names_the_field_and_leaves_nothing(applicator, product, changes, field):
    answer = applicator.post(f"{ROOT}shed/{product.pk}/deliveries/", {**DELIVERY, **changes}, format="json")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, [field])
    assert LedgerLine.rows.count() == 0


def test_weight_for_a_liquid_without_density_names_the_unit(applicator, product):
    applicator.post(f"{ROOT}shed/{product.pk}/deliveries/", DELIVERY, format="json")
    lot = Lot.rows.get()
    answer = applicator.post(
        f"{ROOT}lots/{lot.pk}/counts/", {"amount": "8", "unit": "oz", "reason": "count"}, format="json"
    )
    assert (answer.status_code, list(answer.json()["errors"])) == (400, ["unit"])


def test_below_zero_is_a_refusal_with_its_numbers(cast, applicator, product):
    lot = stocked(cast.manager, product, "1")
    answer = applicator.post(
        f"{ROOT}lots/{lot.pk}/adjustments/", {"amount": "-5", "unit": "qt", "reason": "spill"}, format="json"
    )
    assert (answer.status_code, answer.json()["detail"]) == (
        409,
        "Lot A1 holds 1 gal: it cannot be brought below zero.",
    )


def test_a_lot_is_corrected_with_the_version_read(cast, applicator, product):
    lot = stocked(cast.manager, product)
    address = f"{ROOT}lots/{lot.pk}/"
    assert applicator.patch(address, {"lot_number": "B"}, format="json").status_code == 428
    tag = applicator.get(address)["ETag"]
    stocked(cast.manager, product)  # more of the same lot arrives in between
    assert applicator.patch(address, {"lot_number": "B"}, format="json", headers={"If-Match": tag}).status_code == 412
    tag = applicator.get(address)["ETag"]
    saved = applicator.patch(address, {"lot_number": "B"}, format="json", headers={"If-Match": tag})
    assert (saved.status_code, saved.json()["lot_number"]) == (200, "B")


FILTERS = [
    ("lots/?left=true", ["FULL"]),
    ("lots/?left=false", ["EMPTY"]),
    ("lots/?expires_before=2027-01-01", ["EMPTY"]),
    ("ledger/?kind=adjust", ["EMPTY"]),
    ("ledger/?kind=receive&lot={full}", ["FULL"]),
    ("ledger/?since=2999-01-01T00:00:00Z", []),
]


@pytest.mark.parametrize(("query", "found"), FILTERS, ids=[q for q, _ in FILTERS])
def test_filters(cast, applicator, product, query, found):
    empty = stocked(cast.manager, product, "1", lot="EMPTY", expires_on=date(2026, 12, 1))
    full = stocked(cast.manager, product, "1", lot="FULL", expires_on=date(2028, 12, 1))
    services.count(member=cast.manager, lot_id=empty.pk, counted=qty("0", "gal"), reason="used up", now=clock.now())
    rows = applicator.get(ROOT + query.format(full=full.pk)).json()["results"]
    assert [row["lot_number"] for row in rows] == found


DOORS = [
    ("get", "shed/{product}/", None),
    ("post", "shed/{product}/deliveries/", DELIVERY),
    ("get", "lots/{lot}/", None),
    ("patch", "lots/{lot}/", {"lot_number": "MINE"}),
    ("post", "lots/{lot}/counts/", {"amount": "0", "unit": "gal", "reason": "mine"}),
    ("post", "lots/{lot}/adjustments/", {"amount": "1", "unit": "gal", "reason": "mine"}),
]


@pytest.mark.parametrize(("method", "place", "body"), DOORS, ids=[f"{m} {p}" for m, p, _ in DOORS])
def test_another_farms_shed_is_404_from_ones_own_farm(cast, applicator, method, place, body):
    theirs = stocked(cast.neighbour, ProductFactory(farm=cast.other_farm, name="Their Secret"), "3")
    address = ROOT + place.format(product=theirs.product_id, lot=theirs.pk)
    answer = getattr(applicator, method)(address, body, format="json", headers={"If-Match": "v1"})
    assert (answer.status_code, "Their Secret" in answer.content.decode()) == (404, False)
    theirs.refresh_from_db()
    assert (theirs.lot_number, theirs.on_hand, LedgerLine.rows.count()) == ("A1", qty("3", "gal").amount, 1)
    assert applicator.get(ROOT + "ledger/").json()["results"] == applicator.get(ROOT + "lots/").json()["results"] == []


@pytest.mark.parametrize(
    ("method", "place", "body"), [("get", "shed/", None), ("get", "lots/", None), ("get", "ledger/", None), *DOORS]
)
def test_the_shed_is_closed_to_staff(cast, api, product, method, place, body):
    lot = stocked(cast.manager, product)
    answer = getattr(api(cast.staff), method)(
        ROOT + place.format(product=product.pk, lot=lot.pk), body, format="json", headers={"If-Match": "v1"}
    )
    assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: manager / applicator.")
    assert LedgerLine.rows.count() == 1


@pytest.mark.parametrize("place", ["shed/", "lots/", "ledger/"])
def test_lists_cost_the_same_for_two_rows_and_for_twelve(cast, applicator, place, django_assert_num_queries):
    def grow(count: int) -> None:
        for _ in range(count):
            stocked(cast.manager, ProductFactory(farm=cast.farm))

    grow(2)
    with CaptureQueriesContext(connection) as few:
        applicator.get(ROOT + place)
    grow(10)
    with django_assert_num_queries(len(few)):
        found = applicator.get(ROOT + place).json()
    assert len(found if isinstance(found, list) else found["results"]) == 12
