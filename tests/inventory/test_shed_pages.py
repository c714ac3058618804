"""Pages of the shed."""

from __future__ import annotations

import html
import re
from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from apps.inventory import services
from apps.inventory.models import LedgerLine, Lot
from farmops import clock
from tests.factories.inventory import qty, stocked
from tests.factories.products import ProductFactory

pytestmark = pytest.mark.django_db


def at(name: str, *args) -> str:
    return reverse(f"inventory:{name}", args=["alder-bend", *args])


def text_of(answer) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())))


@pytest.fixture
def product(cast):
    return ProductFactory(farm=cast.farm, name="Demo Cedar 2SC")


@pytest.fixture
def applicator(cast, browser_client):
    return browser_client(cast.applicator)


def draw(cast, product, amount: str, job: int = 12):
    services.draw_down(
        farm=cast.farm,
        member=cast.applicator,
        product_id=product.pk,
        quantity=qty(amount, "qt"),
        source=("job", job),
        now=clock.now(),
    )


def test_the_list_shows_what_runs_out_first_on_top(cast, applicator, product):
    plenty = ProductFactory(farm=cast.farm, name="Demo Alder 6F")
    stocked(cast.manager, plenty, "30")
    stocked(cast.manager, product, "3", expires_on=date(2020, 1, 1), received_on=date(2019, 1, 1))
    draw(cast, product, "8")
    page = text_of(applicator.get(at("shed")))
    assert page.index("Demo Cedar 2SC") < page.index("Demo Alder 6F")
    assert "Demo Cedar 2SC Demo 1 gal 28 days 3 gal" not in page  # two of three gallons are used
    assert re.search(r"Demo Cedar 2SC Demo 1 gal 28 days 1 gal 0 gal Wed, Jan 1, 2020 expired", page)
    assert re.search(r"Demo Alder 6F Demo 30 gal not used lately 30 gal 0 gal no date", page)


@pytest.mark.parametrize("role", ["manager", "applicator"])
def test_the_pages_lead_to_delivery_and_count(cast, browser_client, product, role):
    lot = stocked(cast.manager, product)
    client = browser_client(cast.by_role(role))
    assert f'href="{at("delivery")}"' in client.get(at("shed")).content.decode()
    page = client.get(at("stock", product.pk)).content.decode()
    wanted = [at("delivery_of", product.pk), at("count", lot.pk), at("edit_lot", lot.pk)]
    assert [a for a in wanted if f'href="{a}"' not in page] == []


def test_an_empty_shed_says_so_with_the_time(applicator):
    page = text_of(applicator.get(at("shed")))
    assert "Nothing has been delivered to the shed yet. Looked up" in page


def test_a_delivery_typed_in_the_browser(cast, applicator, product):
    ProductFactory(farm=cast.farm, name="Demo Retired", retired_at="2026-01-01T00:00:00Z")
    form = text_of(applicator.get(at("delivery_of", product.pk)))
    assert ("Demo Cedar 2SC" in form, "Demo Retired" in form) == (True, False)
    typed = {
        "product_id": product.pk,
        "lot_number": "A1",
        "amount": "64",
        "unit": "floz",
        "received_on": "2026-04-01",
        "expires_on": "",
    }
    answer = applicator.post(at("delivery"), typed)
    assert answer.headers.get("Location") == at("stock", product.pk)
    page = text_of(applicator.get(at("stock", product.pk)))
    assert "To use 0.5 gal" in page
    assert "delivered, lot A1 +0.5 gal 0 gal 64 fl oz Luis Mora" in page


BAD = [
    ({"amount": "1,5"}, "Use a point for decimals, like 1.5, and no thousands mark."),
    ({"amount": "many"}, "“many” must be a number, like 1.5."),
    ({"amount": "0"}, "The amount must be above 0."),
    ({"unit": ""}, "This field is required."),
    ({"received_on": "2999-01-01"}, "The delivery date must be today or earlier."),
    ({"expires_on": "2020-01-01"}, "The expiry date must not be before the delivery."),
]


@pytest.mark.parametrize(("changes", "said"), BAD, ids=[str(c) for c, _ in BAD])
def test_a_delivery_that_cannot_be_keeps_what_was_typed(applicator, product, changes, said):
    typed = {
        "product_id": product.pk,
        "lot_number": "A1-typed",
        "amount": "2",
        "unit": "gal",
        "received_on": "2026-04-01",
        **changes,
    }
    answer = applicator.post(at("delivery"), typed)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert said in html.unescape(page)
    assert 'value="A1-typed"' in page
    assert "<title>Error: " in page
    assert LedgerLine.rows.count() == 0


def test_a_button_pressed_twice_delivers_once(applicator, product):
    typed = {
        "product_id": product.pk,
        "lot_number": "A1",
        "amount": "2",
        "unit": "gal",
        "received_on": "2026-04-01",
        "once_key": "0123456789abcdef",
    }
    places = [applicator.post(at("delivery"), typed).headers.get("Location") for _ in range(2)]
    assert places == [at("stock", product.pk)] * 2
    assert LedgerLine.rows.count() == 1


def test_a_count_in_the_browser(cast, applicator, product):
    lot = stocked(cast.manager, product, "2.5")
    assert "The book says 2.5 gal." in text_of(applicator.get(at("count", lot.pk)))
    applicator.post(at("count", lot.pk), {"amount": "9", "unit": "qt", "reason": "monthly count"})
    assert Lot.rows.get().on_hand == Decimal("2.25")
    assert "monthly count" in text_of(applicator.get(at("stock", product.pk)))


def test_a_count_in_the_wrong_ounce_is_shown_at_the_unit(cast, applicator, product):
    lot = stocked(cast.manager, product, "2.5")
    answer = applicator.post(at("count", lot.pk), {"amount": "9", "unit": "oz", "reason": "count"})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert 'href="#id_unit"' in page
    assert "its label states no density" in page


def test_a_lot_corrected_in_the_browser(cast, applicator, product):
    lot = stocked(cast.manager, product)
    version = Lot.rows.get().version
    applicator.post(at("edit_lot", lot.pk), {"lot_number": "A1-7", "expires_on": "2028-01-01", "version": version})
    saved = Lot.rows.get()
    assert (saved.lot_number, saved.expires_on) == ("A1-7", date(2028, 1, 1))


def test_the_stock_page_shows_promises_and_pages_its_ledger(cast, applicator, product):
    lot = stocked(cast.manager, product, "20")
    services.reserve(
        farm=cast.farm,
        member=cast.manager,
        product_id=product.pk,
        quantity=qty("2", "gal"),
        source=("job", 77),
        now=clock.now(),
    )
    for n in range(50):
        services.adjust(
            member=cast.manager, lot_id=lot.pk, change=qty("1", "floz"), reason=f"found {n}!", now=clock.now()
        )
    first = applicator.get(at("stock", product.pk))
    assert "Promised to jobs 2 gal job 77: 2 gal" in text_of(first)
    assert ("found 49!" in text_of(first), "delivered" in text_of(first).split("Ledger")[1]) == (True, False)
    older = re.search(r'href="(\?before=\d+)"', first.content.decode())[1]
    second = text_of(applicator.get(at("stock", product.pk) + older)).split("Ledger")[1]
    assert ("delivered" in second, "found" in second) == (True, False)


@pytest.mark.parametrize("name", ["shed", "delivery"])
def test_staff_are_told_who_may(cast, browser_client, name):
    answer = browser_client(cast.staff).get(at(name))
    assert (answer.status_code, "This needs one of: manager / applicator." in text_of(answer)) == (403, True)


@pytest.mark.parametrize("name", ["count", "edit_lot"])
def test_another_farms_lot_is_404(cast, applicator, name):
    theirs = stocked(cast.neighbour, ProductFactory(farm=cast.other_farm, name="Their Secret"))
    answer = applicator.get(at(name, theirs.pk))
    assert (answer.status_code, "Their Secret" in text_of(answer)) == (404, False)


@pytest.mark.parametrize("count", [2, 12])
def test_the_list_costs_the_same_for_any_number_of_products(cast, applicator, count, django_assert_max_num_queries):
    for _ in range(count):
        stocked(cast.manager, ProductFactory(farm=cast.farm))
    with django_assert_max_num_queries(10) as seen:
        applicator.get(at("shed"))
    assert len([q for q in seen.captured_queries if 'FROM "inventory_' in q["sql"]]) == 3
