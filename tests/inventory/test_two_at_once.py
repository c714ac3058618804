"""Two people at once, on real transactions: a balance never goes below zero and no change is lost."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from decimal import Decimal
from threading import Barrier

import pytest
from django.db import OperationalError, connection, connections

from apps.inventory import queries, services
from apps.inventory.models import LedgerLine, Lot, ProductStock
from farmops.errors import Refused
from tests.factories.inventory import qty, stocked
from tests.factories.products import ProductFactory

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2026, 6, 3, 15, 0, tzinfo=UTC)
PEOPLE = 8


def _patiently(act: Callable[[], object]) -> object:
    """SQLite's shared memory turns a second writer away instead of letting it wait; whoever is turned away repeats."""
    for _ in range(400):
        try:
            return act()
        except OperationalError as error:
            if connection.vendor != "sqlite" or "locked" not in str(error):
                raise
            time.sleep(0.01)
    raise AssertionError("never got its turn")


def at_once(acts: list[Callable[[], object]]) -> list[object]:
    """Run all of them at the same moment, each on its own connection; the result or the refusal's code of each."""
    gate = Barrier(len(acts))

    def run(act: Callable[[], object]) -> object:
        try:
            gate.wait(timeout=30)
            return _patiently(act) and "done"
        except Refused as no:
            return no.findings[0].code
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


def test_reservations_at_once_never_promise_more_than_there_is(cast):
    product = ProductFactory(farm=cast.farm)
    stocked(cast.manager, product, "5", "gal", now=NOW)

    def reserve(job: int) -> object:
        return services.reserve(
            farm=cast.farm,
            member=cast.manager,
            product_id=product.pk,
            quantity=qty("1", "gal"),
            source=("job", job),
            now=NOW,
        )

    answers = at_once([lambda job=n: reserve(job) for n in range(PEOPLE)])
    assert sorted(answers) == ["done"] * 5 + ["stock_short"] * 3
    row = ProductStock.rows.get()
    assert (row.on_hand, row.reserved) == (Decimal(5), Decimal(5))
    assert queries.rebuild_balances(cast.farm) == []


def test_use_at_once_loses_no_line_and_stops_at_zero(cast):
    product = ProductFactory(farm=cast.farm)
    for number in ("A1", "A2"):
        stocked(cast.manager, product, "10", "qt", lot=number, expires_on=date(2027, 1, 1), now=NOW)

    def draw(job: int) -> object:
        return services.draw_down(
            farm=cast.farm,
            member=cast.applicator,
            product_id=product.pk,
            quantity=qty("3", "qt"),
            source=("job", job),
            now=NOW,
        )

    answers = at_once([lambda job=n: draw(job) for n in range(PEOPLE)])
    assert sorted(answers) == ["done"] * 6 + ["stock_short"] * 2
    assert ProductStock.rows.get().on_hand == sum(lot.on_hand for lot in Lot.rows.all()) == Decimal("0.5")
    assert queries.rebuild_balances(cast.farm) == []


def test_first_deliveries_at_once_open_one_balance(cast):
    product = ProductFactory(farm=cast.farm)
    answers = at_once(
        [lambda n=n: stocked(cast.manager, product, "1", "gal", lot=f"L{n}", now=NOW) for n in range(PEOPLE)]
    )
    assert answers == ["done"] * PEOPLE
    assert (ProductStock.rows.get().on_hand, Lot.rows.count(), LedgerLine.rows.count()) == (Decimal(8), 8, 8)
    assert queries.rebuild_balances(cast.farm) == []


def test_two_jobs_with_the_same_two_products_do_not_wait_for_each_other_for_ever(cast):
    first, second = (ProductFactory(farm=cast.farm) for _ in range(2))
    for product in (first, second):
        stocked(cast.manager, product, "8", "gal", now=NOW)
        for job in range(PEOPLE):
            services.reserve(
                farm=cast.farm,
                member=cast.manager,
                product_id=product.pk,
                quantity=qty("1", "gal"),
                source=("job", job),
                now=NOW,
            )
    answers = at_once(
        [
            lambda job=n: services.release(farm=cast.farm, member=cast.manager, source=("job", job), now=NOW)
            for n in range(PEOPLE)
        ]
    )
    assert answers == ["done"] * PEOPLE
    assert [row.reserved for row in ProductStock.rows.all()] == [Decimal(0), Decimal(0)]
    assert queries.rebuild_balances(cast.farm) == []
