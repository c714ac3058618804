"""The shed's arithmetic, without a database."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apps.inventory.rules import (
    LotFacts,
    days_left,
    expiry_step,
    first_expiring,
    in_stock_unit,
    short,
    stock_unit,
    take,
)
from farmops.errors import BadInput
from farmops.units import PRODUCT_UNITS, Quantity
from tests.factories.inventory import qty

D = Decimal

# 1 US gal = 128 fl oz = 8 pt = 4 qt = 3.785411784 L; 1 lb = 16 oz = 453.59237 g (NIST SP 811, appendix B.8).
AS_STOCK = [
    ("64", "floz", "gal", "0.5"),
    ("1", "floz", "gal", "0.0078125"),
    ("12", "pt", "gal", "1.5"),
    ("3.785411784", "l", "gal", "1"),
    ("40", "oz", "lb", "2.5"),
    ("453.59237", "g", "lb", "1"),
    ("1", "tsp", "gal", "0.001302083"),  # 1/768 gal, rounded to nine decimals
]


@pytest.mark.parametrize(("amount", "unit", "kept", "expected"), AS_STOCK, ids=[f"{a} {u}" for a, u, *_ in AS_STOCK])
def test_amounts_are_kept_in_gallons_or_pounds(amount, unit, kept, expected):
    assert stock_unit(unit) == kept
    assert in_stock_unit(qty(amount, unit), kept, None, field="unit") == D(expected)


@pytest.mark.parametrize(("unit", "kept"), [("oz", "gal"), ("floz", "lb")])
def test_fluid_and_weight_ounces_never_mix_without_a_density(unit, kept):
    with pytest.raises(BadInput) as bad:
        in_stock_unit(qty("8", unit), kept, None, field="unit")
    assert list(bad.value.errors) == ["unit"]
    assert "its label states no density" in bad.value.errors["unit"][0]


def test_a_stated_density_turns_weight_into_liquid_and_back():
    # Arithmetic: 11.1 lb/gal means 22.2 lb is 2 gal, and 2 gal is 22.2 lb.
    assert in_stock_unit(qty("22.2", "lb"), "gal", D("11.1"), field="unit") == D(2)
    assert in_stock_unit(qty("8", "qt"), "lb", D("11.1"), field="unit") == D("22.2")


@pytest.mark.parametrize("unit", ["ac", "%vv", "each", "psi"])
def test_only_liquid_and_weight_are_units_of_product(unit):
    with pytest.raises(BadInput) as bad:
        stock_unit(unit)
    assert list(bad.value.errors) == ["unit"]


@pytest.mark.parametrize("amount", ["100000.1", "-100000.1", "1e15"])
def test_an_absurd_amount_is_refused(amount):
    with pytest.raises(BadInput, match="100000 gal or less"):
        in_stock_unit(qty(amount, "gal"), "gal", None, field="amount")


def test_short_says_how_much_is_missing():
    finding = short("Demo Cedar 2SC", "gal", needed=D("1.5"), available=D("-0.25"))
    assert finding.sentence == ("Demo Cedar 2SC: 1.5 gal is needed, -0.25 gal is there to use, 1.75 gal is missing.")
    assert (finding.code, finding.severity) == ("stock_short", "refuse")


def lot(number: int, left: str, expires: date | None = None, received: date = date(2026, 1, 1)) -> LotFacts:
    return LotFacts(id=number, expires_on=expires, received_on=received, on_hand=D(left))


def test_first_expiring_goes_first_and_lots_without_a_date_last():
    lots = [
        lot(1, "1"),
        lot(2, "1", date(2027, 5, 1)),
        lot(3, "1", date(2026, 9, 1), date(2026, 3, 1)),
        lot(4, "1", date(2026, 9, 1), date(2026, 2, 1)),
    ]
    assert [x.id for x in first_expiring(lots)] == [4, 3, 2, 1]


TAKEN = [
    ("0", []),
    ("0.4", [(1, D("0.4"))]),
    ("1", [(1, D(1))]),
    ("1.5", [(1, D(1)), (3, D("0.5"))]),
    ("3", [(1, D(1)), (3, D(2))]),
    ("3.000000001", None),
]


@pytest.mark.parametrize(("amount", "pieces"), TAKEN, ids=[a for a, _ in TAKEN])
def test_pieces_from_lots_in_order(amount, pieces):
    assert take([lot(1, "1"), lot(2, "0"), lot(3, "2")], D(amount)) == pieces


amounts = st.integers(0, 10**6).map(lambda n: D(n).scaleb(-3))
patient = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])  # the machine may be busy


@patient
@given(st.lists(amounts, max_size=6), amounts)
def test_pieces_make_up_the_amount_and_no_lot_gives_more_than_it_holds(held, wanted):
    lots = [lot(n, str(left)) for n, left in enumerate(held)]
    pieces = take(lots, wanted)
    if wanted > sum(held, D(0)):
        assert pieces is None
    else:
        assert sum((piece for _, piece in pieces), D(0)) == wanted
        assert all(0 < piece <= held[n] for n, piece in pieces)


@patient
@given(st.sampled_from(PRODUCT_UNITS), st.integers(1, 5000).map(lambda n: D(n).scaleb(-2)))
def test_there_and_back_in_any_unit_leaves_nothing_behind(unit, amount):
    there = in_stock_unit(qty(str(amount), unit), stock_unit(unit), None, field="unit")
    back = Quantity(there, stock_unit(unit)).to(unit).amount
    assert abs(back - amount) < D("0.01")  # a hundredth of the smallest unit anybody types
    assert in_stock_unit(Quantity(back, unit), stock_unit(unit), None, field="unit") == there


TODAY = date(2026, 6, 3)
MARKS = [
    (date(2026, 7, 4), None),
    (date(2026, 7, 3), 30),
    (date(2026, 6, 11), 30),
    (date(2026, 6, 10), 7),
    (date(2026, 6, 4), 7),
    (date(2026, 6, 3), 0),
    (date(2026, 5, 1), 0),
]


@pytest.mark.parametrize(("expires", "mark"), MARKS, ids=[str(e) for e, _ in MARKS])
def test_expiry_marks_at_30_7_and_0_days(expires, mark):
    assert expiry_step(expires, TODAY) == mark


@pytest.mark.parametrize(
    ("available", "drawn", "days"),
    [("0", "0", 0), ("-1", "0", 0), ("5", "0", None), ("5", "10", 28), ("5", "9", 31)],
    ids=["nothing", "overpromised", "not used", "half the pace", "rounded down"],
)
def test_days_left_at_the_pace_of_56_days(available, drawn, days):
    assert days_left(D(available), D(drawn), 56) == days
