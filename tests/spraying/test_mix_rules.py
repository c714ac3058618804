"""The mix sheet's arithmetic and order, against hand calculations."""

from __future__ import annotations

import os
from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.equipment.rules import loads
from apps.products.rules import FORMULATION_CODES, Kind, MixingStage, RateBasis
from apps.spraying.mix.rules import Because, TankLine, in_order, jar, measure, placed, sheet
from apps.spraying.mix.rules.order import BY_CODE
from farmops.errors import BadInput
from farmops.units import MASS_UNITS, VOLUME_UNITS, Quantity, factor

ACRE, HUNDRED, SHARE = RateBasis.PER_ACRE, RateBasis.PER_100_GAL, RateBasis.PERCENT_VV
MORE = 2000 if os.environ.get("NIGHTLY") else 60


def line(n: int, rate: str, unit: str, basis: RateBasis = ACRE, **more: object) -> TankLine:
    return TankLine(product_id=n, name=f"P{n}", rate=Quantity(D(rate), unit), basis=basis, **more)  # type: ignore[arg-type]


# ---- order -------------------------------------------------------------------------------


def test_dry_goods_flowables_emulsions_surfactants() -> None:
    # W-A-L-E as printed in "Herbicide application checklist".
    mix = [
        line(1, "1", "pt", code="EC"),
        line(2, "1", "pt", kind=Kind.ADJUVANT, code="SL"),
        line(3, "1", "lb", code="WG"),
    ]
    mix += [line(4, "1", "pt", code="SC"), line(5, "1", "lb", code="SG")]
    assert [row.line.product_id for row in in_order(mix)] == [3, 5, 4, 1, 2]


def test_the_labels_own_place_outranks_the_code() -> None:
    mix = [line(1, "1", "lb", code="WG"), line(2, "1", "pt", code="EC", label_stage=MixingStage.CONDITIONER)]
    found = in_order(mix)
    assert [(row.line.product_id, row.because) for row in found] == [(2, Because.LABEL), (1, Because.CODE)]


def test_of_two_at_one_place_the_one_planned_first() -> None:
    assert [r.line.product_id for r in in_order([line(9, "1", "pt", code="SC"), line(4, "1", "pt", code="CS")])] == [
        9,
        4,
    ]


@pytest.mark.parametrize("code", [None, "XX", "GR", "RB", "KK"], ids=str)
def test_a_product_nobody_can_place_stands_last_and_says_so(code: str | None) -> None:
    found = in_order([line(1, "1", "pt", code=code), line(2, "1", "pt", kind=Kind.ADJUVANT)])
    assert [(r.line.product_id, r.because) for r in found] == [(2, Because.KIND), (1, Because.UNKNOWN)]


def test_a_dry_feed_goes_in_with_the_dry_goods_and_a_liquid_one_late() -> None:
    assert placed(line(1, "1", "lb", kind=Kind.NUTRIENT, code="SP")).stage is MixingStage.SOLUBLE_DRY
    assert placed(line(1, "1", "gal", kind=Kind.NUTRIENT, code="SL")).stage is MixingStage.FERTILISER


def test_every_code_with_a_place_is_one_of_the_coding_system() -> None:
    # CropLife International, Technical Monograph 2, 7th edition, revised March 2017.
    assert set(BY_CODE) - FORMULATION_CODES == set()


# ---- measures ----------------------------------------------------------------------------

# Worked by hand with 1 gal = 128 fl oz = 3785.411784 mL, 1 lb = 16 oz = 453.59237 g.
MEASURES = [
    # 150/19 ac x 2 pt = 15.789 pt = 1 gal 3 qt 1 pt and 0.789 pt = 373.34 mL, cut to 373 mL = 12.61 fl oz
    ("15.78947368421", "pt", "1 gal + 3 qt + 1 pt + 373 mL (12.6 fl oz)"),
    ("20", "pt", "2 gal + 2 qt"),
    ("4", "floz", "118 mL (3.9 fl oz)"),
    ("0.1", "floz", "2.9 mL"),
    ("16", "floz", "1 pt"),
    ("1", "lb", "1 lb"),
    # 2.6 lb: 0.6 lb = 9.6 oz
    ("2.6", "lb", "2 lb + 9.6 oz (weight)"),
    ("8", "oz", "226 g (7.9 oz (weight))"),
    ("0.2", "oz", "5.6 g (0.1 oz (weight))"),
    ("1.9999", "lb", "1 lb + 15.9 oz (weight)"),
]


@pytest.mark.parametrize(("amount", "unit", "said"), MEASURES, ids=[m[2] for m in MEASURES])
def test_a_dose_in_the_measures_at_hand(amount: str, unit: str, said: str) -> None:
    assert str(measure(Quantity(D(amount), unit))) == said


@given(
    amount=st.decimals(min_value="0.05", max_value="5000", places=6),
    unit=st.sampled_from([u for u in (*VOLUME_UNITS, *MASS_UNITS) if u not in ("ml", "g", "tsp")]),
)
@settings(max_examples=MORE, deadline=None)
def test_measured_out_is_never_more_and_less_by_less_than_two_percent(amount: D, unit: str) -> None:
    dose = Quantity(amount, unit)
    try:
        found = measure(dose)
    except BadInput:
        assert Fraction(amount) * factor(unit, "ml" if unit in VOLUME_UNITS else "g") < Fraction(1, 2)
        return
    assert found.exact <= dose
    parts = sum((Fraction(p.amount) * factor(p.unit, unit) for p in found.parts), Fraction(0))
    assert parts <= Fraction(found.exact.amount)
    small = Fraction(amount) * factor(unit, "ml" if unit in VOLUME_UNITS else "g") < 60
    assert small or parts > Fraction(amount) * Fraction(98, 100)


@pytest.mark.parametrize(
    ("amount", "unit", "field"),
    [("1", "ac", "rate_unit"), ("0.0001", "ml", "rate_amount")],
    ids=["an area", "less than a cup shows"],
)
def test_what_cannot_be_measured_out(amount: str, unit: str, field: str) -> None:
    with pytest.raises(BadInput) as caught:
        measure(Quantity(D(amount), unit))
    assert set(caught.value.errors) == {field}


# ---- loads -------------------------------------------------------------------------------


def test_ten_acres_at_38_gallons_from_a_300_gallon_tank() -> None:
    # Common practice, no source: 10 ac x 38 = 380 gal = 300 + 80; 2 pt/ac -> 15.789474 and 4.210526 pt.
    plan = loads(acres=10, gpa=38, usable_gal=300)
    made = sheet([line(1, "2", "pt", code="SC"), line(2, "2", "lb", code="WG")], plan)
    first, last = made.loads
    assert [(x.mark_gal, x.mix_gal, x.spare_gal) for x in made.loads] == [(300, 300, 0), (80, 80, 0)]
    assert [str(p.measure.exact) for p in first.portions] == ["15.789 lb", "15.789 pt"]
    assert [str(p.measure.exact) for p in last.portions] == ["4.21 lb", "4.21 pt"]
    # Water: half the mark first; 300 - 150 - 15.789/8 = 148.026375; 80 - 40 - 4.21/8 = 39.47375.
    assert [(x.first_water_gal, x.last_water_gal) for x in made.loads] == [
        (150, D("148.026375")),
        (40, D("39.47375")),
    ]
    assert [(str(t.measured), str(t.planned)) for t in made.totals] == [("19.999 lb", "20 lb"), ("19.999 pt", "20 pt")]


def test_the_column_adds_up_to_the_last_printed_digit() -> None:
    plan = loads(acres=D("17.3"), gpa=D("31.4"), usable_gal=D("150"))
    made = sheet([line(1, "11.7", "floz")], plan)
    printed = [load.portions[0].measure.exact.amount for load in made.loads]
    assert len(printed) == 4
    assert sum(printed) == made.totals[0].measured.amount


def test_the_mark_is_rounded_up_and_never_over_the_tank() -> None:
    # 4.4 ac x 31.3 = 137.72 gal: one load of 100.5 (the tank) and one of 37.22, filled to 38.
    made = sheet([line(1, "1", "pt")], loads(acres=D("4.4"), gpa=D("31.3"), usable_gal=D("100.5")))
    assert [(x.mix_gal, x.mark_gal) for x in made.loads] == [(D("100.5"), D("100.5")), (D("37.22"), 38)]


def test_even_loads_are_alike_and_the_same_steps_in_another_amount() -> None:
    plan = loads(acres=10, gpa=38, usable_gal=300)
    full, even = sheet([line(1, "2", "pt")], plan), sheet([line(1, "2", "pt")], plan, even=True)
    assert [x.mark_gal for x in even.loads] == [190, 190]
    assert [str(x.portions[0].measure.exact) for x in even.loads] == ["10 pt", "10 pt"]
    assert even.steps() == full.steps()
    assert even.digest != full.digest


def test_the_steps_of_a_load_begin_and_end_with_water() -> None:
    made = sheet([line(1, "2", "pt", code="EC"), line(2, "1", "lb", code="WP")], loads(acres=1, gpa=30, usable_gal=100))
    assert made.filling() == ("water_first", "product-2", "product-1", "rinse", "water_last")
    assert (0, "jar_test") in made.steps()


def test_one_product_alone_needs_no_jar_test() -> None:
    assert (0, "jar_test") not in sheet([line(1, "2", "pt")], loads(acres=1, gpa=30, usable_gal=100)).steps()


def test_more_product_than_the_load_holds_is_no_sheet() -> None:
    with pytest.raises(BadInput) as caught:
        sheet([line(1, "40", "gal")], loads(acres=1, gpa=30, usable_gal=100))
    assert set(caught.value.errors) == {"load_gal"}


def test_a_jar_holds_what_the_tank_holds() -> None:
    # "Herbicide application checklist": 2 pt per 100 gal is 1.2 mL (1/4 tsp) in a pint; 1 lb per 100 gal is 0.567 g.
    plan = loads(acres=1, gpa=20, usable_gal=100)
    assert round(jar(line(1, "2", "pt", HUNDRED), plan).amount, 5) == D("1.18294")
    assert round(jar(line(1, "1", "lb", HUNDRED), plan).amount, 3) == D("0.567")


@given(
    acres=st.decimals(min_value="0.05", max_value="400", places=3),
    gpa=st.decimals(min_value="3", max_value="150", places=2),
    usable=st.decimals(min_value="20", max_value="1500", places=1),
    rate=st.decimals(min_value="1", max_value="64", places=2),
    unit=st.sampled_from(["floz", "pt", "oz", "lb"]),
    even=st.booleans(),
)
@settings(max_examples=MORE, deadline=None)
def test_no_load_is_ever_stronger_than_planned(acres: D, gpa: D, usable: D, rate: D, unit: str, even: bool) -> None:
    """In product per acre and in product per gallon of the filled tank; water and product fill the mark exactly."""
    try:
        made = sheet([line(1, str(rate), unit)], loads(acres=acres, gpa=gpa, usable_gal=usable), even=even)
    except BadInput:
        return
    for load in made.loads:
        portion = load.portions[0].measure
        measured = sum((Fraction(p.amount) * factor(p.unit, unit) for p in portion.parts), Fraction(0))
        acres_of_load = Fraction(load.mix_gal) / Fraction(gpa)
        assert measured <= Fraction(portion.exact.amount) <= Fraction(rate) * acres_of_load
        assert measured / Fraction(load.mark_gal) <= Fraction(rate) / Fraction(gpa) * (1 + Fraction(1, 10**20))
        liquid = Fraction(portion.exact.amount) * factor(unit, "gal") if unit in VOLUME_UNITS else 0
        filled = Fraction(load.first_water_gal) + Fraction(load.last_water_gal) + liquid
        assert abs(filled - Fraction(load.mark_gal)) < Fraction(1, 10**18)
        assert load.mark_gal <= usable
    assert abs(sum(Fraction(x.mix_gal) for x in made.loads) - Fraction(acres) * Fraction(gpa)) < Fraction(1, 10**15)
