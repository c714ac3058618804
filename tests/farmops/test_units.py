"""Every conversion factor against pint, against published figures, and the guards around amounts."""

from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from farmops.errors import BadInput
from farmops.units import (
    _TABLE,
    CANONICAL,
    MASS_UNITS,
    PRODUCT_UNITS,
    VOLUME_UNITS,
    Dimension,
    Quantity,
    dimension_of,
    factor,
    mass_of,
    number,
    quantity,
    read_quantity,
    round_down,
    round_up,
    show,
    unit_name,
    volume_of,
)

REGISTRY = pint.UnitRegistry(non_int_type=Fraction)

# our code -> the unit of pint with the same definition
SAME_IN_PINT = {
    "ml": "milliliter",
    "l": "liter",
    "tsp": "teaspoon",
    "tbsp": "tablespoon",
    "floz": "fluid_ounce",
    "pt": "pint",
    "qt": "quart",
    "gal": "gallon",
    "g": "gram",
    "kg": "kilogram",
    "oz": "ounce",
    "lb": "pound",
    "sqft": "square_foot",
    "m2": "meter**2",
    "ha": "hectare",
    "in": "inch",
    "ft": "foot",
    "mile": "mile",
    "cm": "centimeter",
    "m": "meter",
    "km": "kilometer",
    "psi": "pound_force_per_square_inch",
    "kpa": "kilopascal",
    "bar": "bar",
    "gpm": "gallon/minute",
    "floz/min": "fluid_ounce/minute",
    "l/min": "liter/minute",
    "mph": "mile/hour",
    "km/h": "kilometer/hour",
    "m/s": "meter/second",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "%vv": "percent",
}
SAME_IN_PINT |= {
    "floz/100gal": "fluid_ounce/hectogallon",
    "pt/100gal": "pint/hectogallon",
    "qt/100gal": "quart/hectogallon",
    "ml/100l": "milliliter/hectoliter",
    "l/ha": "liter/hectare",
    "ml/ha": "milliliter/hectare",
    "kg/ha": "kilogram/hectare",
    "g/ha": "gram/hectare",
    "lb/gal": "pound/gallon",
    "lb/100gal": "pound/hectogallon",
    "oz/100gal": "ounce/hectogallon",
    "g/l": "gram/liter",
    "kg/l": "kilogram/liter",
    "lb ai": "pound",
    "kg ai": "kilogram",
    "kg ai/ha": "kilogram/hectare",
}
# Per acre: what pint makes of the amount, over 43,560 of pint's square feet.
PER_ACRE_IN_PINT = {
    "gal/ac": "gallon",
    "qt/ac": "quart",
    "pt/ac": "pint",
    "floz/ac": "fluid_ounce",
    "lb/ac": "pound",
    "oz/ac": "ounce",
    "lb ai/ac": "pound",
}
# "ac": pint's acre is the US survey acre (10 square survey chains); "each" is a bare count
DEFINED_OTHERWISE_IN_PINT = {"ac", "each"}


def in_pint(unit: str, to: str) -> Fraction:
    """Exact number of ``to`` in one ``unit`` by pint's own definitions."""
    one = REGISTRY.Quantity(Fraction(1), SAME_IN_PINT[unit])
    return Fraction(one.to(SAME_IN_PINT[to]).magnitude)


def same_dimension_pairs() -> list[tuple[str, str]]:
    units = sorted(SAME_IN_PINT)
    return [(a, b) for a in units for b in units if a != b and dimension_of(a) is dimension_of(b)]


def test_every_unit_is_compared_or_named_as_different() -> None:
    assert set(_TABLE) == set(SAME_IN_PINT) | set(PER_ACRE_IN_PINT) | DEFINED_OTHERWISE_IN_PINT


@pytest.mark.parametrize(("unit", "to"), same_dimension_pairs(), ids=lambda u: u)
def test_factor_is_exactly_pints(unit: str, to: str) -> None:
    assert factor(unit, to) == in_pint(unit, to)


METRIC = {"gal/ac": "l/ha", "qt/ac": "l/ha", "pt/ac": "l/ha", "floz/ac": "ml/ha", "lb/ac": "kg/ha", "oz/ac": "g/ha"}


@pytest.mark.parametrize(("unit", "to"), [*METRIC.items(), ("lb ai/ac", "kg ai/ha")], ids=lambda u: u)
def test_per_acre_is_exactly_pints_over_the_international_acre(unit: str, to: str) -> None:
    acre = REGISTRY.Quantity(Fraction(43560), "foot**2")
    one = REGISTRY.Quantity(Fraction(1), PER_ACRE_IN_PINT[unit]) / acre
    assert factor(unit, to) == Fraction(one.to(SAME_IN_PINT[to]).magnitude)


def test_product_and_ingredient_are_not_added_up() -> None:
    with pytest.raises(BadInput):
        Quantity(Decimal(1), "lb") + Quantity(Decimal(1), "lb ai")


# 0.25 % v/v is 32 fl oz, one quart or 2 pt in 100 gal (128 fl oz in a gallon).
@pytest.mark.parametrize(
    ("unit", "amount"), [("floz/100gal", 32), ("qt/100gal", 1), ("pt/100gal", 2), ("ml/100l", 250)]
)
def test_a_share_of_the_volume_per_100_gallons(unit: str, amount: int) -> None:
    assert Quantity(Decimal("0.25"), "%vv").to(unit) == Quantity(Decimal(amount), unit)


DOSES = ("floz", "oz", "pt", "lb")
TYPED = [
    ("16 fl oz", DOSES, Quantity(Decimal(16), "floz")),
    ("16floz", DOSES, Quantity(Decimal(16), "floz")),
    ("8 oz wt", DOSES, Quantity(Decimal(8), "oz")),
    ("2.5 Pints", DOSES, Quantity(Decimal("2.5"), "pt")),
    ("3", DOSES, Quantity(Decimal(3), "floz")),
    ("41 oz", ("floz", "ml"), Quantity(Decimal(41), "floz")),
    ("4 ounces", ("oz", "lb"), Quantity(Decimal(4), "oz")),
    ("38 gpa", ("gal/ac", "l/ha"), Quantity(Decimal(38), "gal/ac")),
    ("0.25 %", ("%vv",), Quantity(Decimal("0.25"), "%vv")),
]


@pytest.mark.parametrize(("text", "allowed", "read"), TYPED, ids=[t[0] for t in TYPED])
def test_an_amount_typed_with_its_unit(text: str, allowed: tuple[str, ...], read: Quantity) -> None:
    assert read_quantity(text, allowed, field="rate") == read


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("8 oz", "An ounce can be a fluid ounce or a weight: write “fl oz” or “oz wt”."),
        ("8 ounces", "An ounce can be a fluid ounce or a weight: write “fl oz” or “oz wt”."),
        ("8 bushels", "“bushels” cannot be used here. Use one of: fl oz, oz (weight), pt, lb."),
        ("8 acres", "“acres” cannot be used here. Use one of: fl oz, oz (weight), pt, lb."),
        ("eight", "“eight” must be a number, like 1.5."),
        ("1,5 pt", "Use a point for decimals, like 1.5, and no thousands mark."),
        ("-1 pt", "Must be 0 or more."),
    ],
)
def test_an_ounce_that_could_be_either_and_other_wrong_units(text: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_quantity(text, DOSES, field="rate")
    assert caught.value.errors == {"rate": [said]}


def test_weight_and_volume_both_ways_through_the_density() -> None:
    # 9.7 lb per gallon: 19.4 lb are two gallons.
    assert volume_of(Quantity(Decimal("19.4"), "lb"), Decimal("9.7")) == Quantity(Decimal(2), "gal")
    assert mass_of(Quantity(Decimal(8), "qt"), Decimal("9.7")) == Quantity(Decimal("19.4"), "lb")
    with pytest.raises(BadInput) as caught:
        mass_of(Quantity(Decimal(1), "gal"), Decimal(0))
    assert list(caught.value.errors) == ["density"]


def test_acre_is_the_international_acre_and_pints_is_the_survey_acre() -> None:
    # International yard and pound agreement of 1959: 1 ft = 0.3048 m, so 43,560 sq ft = 4046.8564224 m2.
    assert factor("ac", "m2") == Fraction("4046.8564224")
    survey = Fraction(REGISTRY.Quantity(Fraction(1), "acre").to("meter**2").magnitude)
    assert survey / factor("ac", "m2") == Fraction(1_000_000**2, 999_998**2)  # survey foot = 1200/3937 m


# (source, amount, unit, to, printed figure as text); compared at the printed precision
UNL = "University of Nebraska-Lincoln, Pesticide Education, conversion sheet"
NIST = "NIST SP 811 appendix B.8"
PUBLISHED = [
    (UNL, "1", "floz", "tbsp", "2"),
    (UNL, "1", "floz", "tsp", "6"),
    (UNL, "1", "floz", "ml", "29.57"),
    (UNL, "1", "pt", "floz", "16"),
    (UNL, "1", "pt", "ml", "473.2"),
    (UNL, "1", "qt", "floz", "32"),
    (UNL, "1", "gal", "qt", "4"),
    (UNL, "1", "gal", "pt", "8"),
    (UNL, "1", "gal", "floz", "128"),
    (UNL, "1", "gal", "l", "3.785"),
    (UNL, "1", "lb", "oz", "16"),
    (UNL, "1", "lb", "g", "453.59"),
    (UNL, "1", "ac", "sqft", "43560"),
    (UNL, "1", "ac", "ha", "0.405"),
    (UNL, "1", "ha", "ac", "2.471"),
    (NIST, "1", "gal", "l", "3.785411784"),
    (NIST, "1", "floz", "ml", "29.5735295625"),
    (NIST, "1", "lb", "kg", "0.45359237"),
    (NIST, "1", "ac", "ha", "0.40468564224"),
    (NIST, "1", "psi", "kpa", "6.894757"),
    ("inverse of the NIST figure for psi", "1", "bar", "psi", "14.503774"),
    (NIST, "1", "mph", "km/h", "1.609344"),
]


@pytest.mark.parametrize(
    ("source", "amount", "unit", "to", "printed"), PUBLISHED, ids=[f"{r[2]}-{r[3]}-{r[4]}" for r in PUBLISHED]
)
def test_published_conversion(source: str, amount: str, unit: str, to: str, printed: str) -> None:
    exact = Quantity(Decimal(amount), unit).to(to).amount
    assert exact.quantize(Decimal(printed), rounding=ROUND_HALF_UP) == Decimal(printed), source


def test_quart_in_litres_is_cut_off_on_the_nebraska_sheet() -> None:
    # The sheet prints 0.9463 L; exact 0.946352946 rounds to 0.9464, so the sheet cut it off.
    exact = Quantity(Decimal(1), "qt").to("l").amount
    assert exact == Decimal("0.946352946")
    assert exact.quantize(Decimal("0.0001"), rounding=ROUND_DOWN) == Decimal("0.9463")


def test_mph_in_feet_per_second_is_cut_off_on_the_nebraska_sheet() -> None:
    # The sheet prints 1.46 ft/s; exact 22/15 = 1.4666… An mph is exactly 88 ft per minute.
    assert factor("mph", "m/s") / factor("ft", "m") == Fraction(22, 15)
    assert factor("mph", "m/s") / factor("ft", "m") * 60 == 88


# Rates over area, worked from the exact factors above (the compound factors printed in metric conversion charts).
COMPOUND = [
    ("gal", "l", "9.353956"),
    ("floz", "ml", "73.07778"),
    ("pt", "l", "1.169245"),
    ("qt", "l", "2.338489"),
    ("oz", "g", "70.05320"),
    ("lb", "kg", "1.120851"),
]


@pytest.mark.parametrize(("per_acre", "per_hectare", "printed"), COMPOUND, ids=[c[0] for c in COMPOUND])
def test_per_acre_to_per_hectare(per_acre: str, per_hectare: str, printed: str) -> None:
    exact = factor(per_acre, per_hectare) / factor("ac", "ha")
    digits = Decimal(exact.numerator) / Decimal(exact.denominator)
    assert digits.quantize(Decimal(printed), rounding=ROUND_HALF_UP) == Decimal(printed)


def test_pounds_per_gallon_to_grams_per_litre() -> None:
    exact = factor("lb", "g") / factor("gal", "l")
    assert round(float(exact), 4) == 119.8264  # from memory; follows from the two exact definitions


@pytest.mark.parametrize("unit", sorted(set(VOLUME_UNITS)))
@pytest.mark.parametrize("mass", sorted(set(MASS_UNITS)))
def test_a_volume_is_never_silently_a_mass(unit: str, mass: str) -> None:
    with pytest.raises(BadInput) as caught:
        Quantity(Decimal(1), unit).to(mass)
    assert "stated density" in caught.value.errors["unit"][0]


def test_fluid_ounce_and_weight_ounce_differ_in_name_and_dimension() -> None:
    assert (unit_name("floz"), dimension_of("floz")) == ("fl oz", Dimension.VOLUME)
    assert (unit_name("oz"), dimension_of("oz")) == ("oz (weight)", Dimension.MASS)
    with pytest.raises(BadInput):
        Quantity(Decimal(1), "floz") + Quantity(Decimal(1), "oz")


def test_unknown_unit_is_named() -> None:
    with pytest.raises(BadInput) as caught:
        Quantity(Decimal(1), "bushel")
    assert list(caught.value.errors) == ["unit"]
    assert "“bushel” is not a unit here" in caught.value.errors["unit"][0]


def test_product_units_are_volumes_and_masses_only() -> None:
    assert {dimension_of(u) for u in PRODUCT_UNITS} == {Dimension.VOLUME, Dimension.MASS}


def test_canonical_units() -> None:
    assert CANONICAL[Dimension.VOLUME] == "gal"
    assert Quantity(Decimal(20), "pt").canonical() == Quantity(Decimal("2.5"), "gal")
    assert Quantity(Decimal(8), "oz").canonical() == Quantity(Decimal("0.5"), "lb")


def test_sum_and_difference_keep_the_first_unit() -> None:
    pint_and_ounces = Quantity(Decimal(2), "pt") + Quantity(Decimal(8), "floz")
    assert pint_and_ounces == Quantity(Decimal("2.5"), "pt")
    assert pint_and_ounces - Quantity(Decimal(16), "floz") == Quantity(Decimal("1.5"), "pt")
    assert Quantity(Decimal("0.2"), "gal") * 3 == Quantity(Decimal("0.6"), "gal")


def test_order_across_units_is_exact() -> None:
    assert Quantity(Decimal(15), "floz") < Quantity(Decimal(1), "pt")
    assert Quantity(Decimal(16), "floz") <= Quantity(Decimal(1), "pt")
    assert not Quantity(Decimal(16), "floz") < Quantity(Decimal(1), "pt")


AMOUNTS = st.decimals(min_value="0.0001", max_value="99999", places=4)


@given(amount=AMOUNTS, pair=st.sampled_from(same_dimension_pairs()))
def test_there_and_back_again(amount: Decimal, pair: tuple[str, str]) -> None:
    there = Quantity(amount, pair[0]).to(pair[1])
    back = there.to(pair[0]).amount
    assert abs(back - amount) <= amount.scaleb(-26)


@given(amount=st.decimals(min_value=0, max_value=10**6, places=9), places=st.integers(0, 6))
def test_a_dose_is_never_rounded_up_and_water_never_down(amount: Decimal, places: int) -> None:
    step = Decimal(1).scaleb(-places)
    assert amount - step < round_down(amount, places) <= amount
    assert amount <= round_up(amount, places) < amount + step


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1,5", "Use a point for decimals"),
        ("1.000,00", "Use a point for decimals"),
        ("two", "must be a number"),
        ("", "must be a number"),
        ("NaN", "plain number"),
        ("Infinity", "plain number"),
        ("1e999999999", "plain number"),
        ("1e-999999999", "plain number"),
        ("1_000", "plain number"),
        ("-1", "Must be 0 or more."),
    ],
)
def test_bad_amount_names_the_field(text: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        quantity(text, "pt", field="rate")
    assert list(caught.value.errors) == ["rate"]
    assert said in caught.value.errors["rate"][0]


def test_number_keeps_to_its_limits() -> None:
    assert number(" 2.50 ", field="speed", minimum=1, maximum=20) == Decimal("2.50")
    with pytest.raises(BadInput) as caught:
        number("21", field="speed", maximum=20)
    assert caught.value.errors == {"speed": ["Must be 20 or less."]}


def test_amount_must_be_decimal_and_finite() -> None:
    for wrong in (1.5, Decimal("NaN"), Decimal("Infinity")):
        with pytest.raises(BadInput):
            Quantity(wrong, "gal")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("amount", "places", "read"),
    [("15.789473684", 4, "15.7895"), ("2.500", 4, "2.5"), ("100", 4, "100"), ("0.00001", 4, "0"), ("1E+3", 2, "1000")],
)
def test_shown_without_trailing_zeros_or_exponent(amount: str, places: int, read: str) -> None:
    assert show(Decimal(amount), places) == read


def test_printed_with_its_unit() -> None:
    assert str(Quantity(Decimal("15.7894736"), "pt")) == "15.7895 pt"


def test_dry_product_has_a_volume_only_through_its_density() -> None:
    # 1 lb of product at 8 lb per gallon is one pint.
    assert volume_of(Quantity(Decimal(1), "lb"), Decimal(8)).to("pt") == Quantity(Decimal(1), "pt")
    with pytest.raises(BadInput) as caught:
        volume_of(Quantity(Decimal(1), "lb"), Decimal(0))
    assert list(caught.value.errors) == ["density"]
