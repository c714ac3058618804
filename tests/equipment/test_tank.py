"""Loads, and the product in each of them: nothing added, nothing lost, never above the label."""

from __future__ import annotations

from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.equipment.rules import doses, loads, product_loads
from apps.equipment.rules.flow import gpa_whole_boom
from apps.products.rules.codes import RateBasis
from farmops.errors import BadInput
from farmops.units import Quantity

ACRES = st.decimals(min_value="0.01", max_value="500", places=2)
RATES = st.decimals(min_value="1", max_value="150", places=2)
TANKS = st.decimals(min_value="80", max_value="1000", places=1)


def test_a_job_of_one_and_a_bit_loads() -> None:
    # Worked by hand: 10 ac x 38 gal = 380 gal from 300: one full load and 80 gal.
    plan = loads(acres=10, gpa=38, usable_gal=300)
    assert (plan.loads, plan.full_loads, plan.refills) == (2, 1, 1)
    assert (plan.total_gal, plan.part_gal, plan.last_gal, plan.even_gal) == (D(380), D(80), D(80), D(190))
    assert plan.load_gallons == (D(300), D(80))
    assert plan.even_acres == D(5)


def test_an_exact_ratio_adds_no_load_and_leaves_no_part_load() -> None:
    plan = loads(acres=10, gpa=38, usable_gal=190)
    assert (plan.loads, plan.full_loads, plan.refills) == (2, 2, 1)
    assert (plan.part_gal, plan.last_gal, plan.load_gallons) == (D(0), D(190), (D(190), D(190)))


def test_a_measured_rate_that_misses_by_its_last_digit_adds_no_load() -> None:
    # 1/3 gal/min over 5 mph and 30 ft is 1.1 gal/ac only to 28 digits; 300 acres fill 330 gal exactly once.
    measured = gpa_whole_boom(total_gpm=Fraction(1, 3), speed_mph=5, swath_ft=30)
    assert measured == D("1.1")
    up = D("1.100000000000000000000000001")
    assert loads(acres=300, gpa=up, usable_gal=330).loads == 1
    assert loads(acres=300, gpa=up, usable_gal=110).load_gallons == (D(110), D(110), D(110))


def test_a_job_smaller_than_a_tank_is_one_load() -> None:
    plan = loads(acres=4, gpa=38, usable_gal=300)
    assert (plan.loads, plan.full_loads, plan.refills, plan.last_gal) == (1, 0, 0, D(152))
    assert plan.load_gallons == (D(152),)


@given(acres=ACRES, gpa=RATES, usable=TANKS)
def test_loads_hold_the_whole_job_and_no_load_is_spare(acres: D, gpa: D, usable: D) -> None:
    plan = loads(acres=acres, gpa=gpa, usable_gal=usable)
    assert sum(map(Fraction, plan.load_gallons)) == Fraction(acres) * Fraction(gpa)
    assert len(plan.load_gallons) == plan.loads
    assert all(0 < gallons <= usable for gallons in plan.load_gallons)
    assert Fraction(usable) * (plan.loads - 1) < Fraction(plan.total_gal)


@given(acres=ACRES, gpa=RATES, usable=TANKS, rate=st.decimals(min_value="0.01", max_value="200", places=2))
def test_loads_of_product_never_sum_to_more_than_the_label_rate(acres: D, gpa: D, usable: D, rate: D) -> None:
    plan = loads(acres=acres, gpa=gpa, usable_gal=usable)
    put = product_loads(Quantity(rate, "floz"), RateBasis.PER_ACRE, plan)
    used = Fraction(put.full.amount) * plan.full_loads + (Fraction(put.last.amount) if plan.part_gal else 0)
    allowed = Fraction(rate) * Fraction(acres)
    assert used <= allowed
    assert allowed - used < Fraction(1, 10**15)
    assert Fraction(put.even.amount) * plan.loads <= allowed


def test_measured_doses_are_cut_and_never_rounded_up() -> None:
    # 2 pt/ac in 300 gal at 38 gal/ac is 15.789473… pt; the last 80 gal take 4.210526… pt (worked by hand).
    put = product_loads(Quantity(D(2), "pt"), RateBasis.PER_ACRE, loads(acres=10, gpa=38, usable_gal=300))
    shown = put.measured("floz", 0)
    assert (shown.full, shown.last) == (Quantity(D(252), "floz"), Quantity(D(67), "floz"))  # 252.63 and 67.37
    assert shown.total == Quantity(D(320), "floz")
    assert put.measured("pt", 2).full == Quantity(D("15.78"), "pt")


def test_adjuvant_by_share_follows_each_load() -> None:
    plan = loads(acres=10, gpa=38, usable_gal=300)
    put = product_loads(Quantity(D("0.25"), "%vv"), RateBasis.PERCENT_VV, plan)
    assert (put.full, put.last) == (Quantity(D("0.75"), "gal"), Quantity(D("0.2"), "gal"))


def test_water_makes_up_what_the_products_leave() -> None:
    # 2 pt/ac on 10 ac of liquid, and a dry product that takes no room.
    water = doses.water_gal(load_gal=300, products=[Quantity(D(16), "pt"), Quantity(D(9), "lb")])
    assert water == D(298)
    with pytest.raises(BadInput) as caught:
        doses.water_gal(load_gal=1, products=[Quantity(D(9), "pt")])
    assert list(caught.value.errors) == ["load_gal"]


def test_a_share_must_be_stated_as_a_share() -> None:
    with pytest.raises(BadInput) as caught:
        doses.dose(Quantity(D(1), "qt"), RateBasis.PERCENT_VV, gallons=100, gpa=20)
    assert list(caught.value.errors) == ["unit"]


@pytest.mark.parametrize("field", ["acres", "gpa", "usable_gal"])
@pytest.mark.parametrize("value", [D(0), D(-1), D("NaN"), D("1e400000")])
def test_impossible_loads_name_the_field(field: str, value: D) -> None:
    given = {"acres": D(10), "gpa": D(38), "usable_gal": D(300), field: value}
    with pytest.raises(BadInput) as caught:
        loads(**given)
    assert list(caught.value.errors) == [field]


def test_a_tank_too_small_for_the_job_is_questioned() -> None:
    with pytest.raises(BadInput) as caught:
        loads(acres=1000, gpa=100, usable_gal=3)
    assert caught.value.errors == {"usable_gal": ["This would take more than 1000 loads. Check acres, rate and tank."]}
