"""Printed worked examples: product per acre, per tank, per part tank, per 100 gallons; dilution tables."""

from __future__ import annotations

from decimal import Decimal as D
from fractions import Fraction

from apps.equipment.rules import doses
from apps.equipment.rules.tank import LoadPlan, loads
from apps.products.rules.codes import RateBasis
from farmops.units import Quantity
from tests.equipment.worked import Row, agree, table

ACRE, HUNDRED = RateBasis.PER_ACRE, RateBasis.PER_100_GAL


def job(acres: str, gpa: str = "20", tank: str = "300") -> LoadPlan:
    return loads(acres=D(acres), gpa=D(gpa), usable_gal=D(tank))


def put(rate: str, unit: str, basis: RateBasis, gallons: str, to: str, gpa: str = "20") -> D:
    """Product for some gallons of spray, in the unit the author asks for."""
    return doses.dose(Quantity(D(rate), unit), basis, gallons=D(gallons), gpa=D(gpa)).to(to).amount


def whole(rate: str, unit: str, acres: str, to: str) -> D:
    """Product for a whole job at a rate per acre."""
    return doses.product_loads(Quantity(D(rate), unit), ACRE, job(acres)).total.to(to).amount


def liquid(ai_lb: str, ai_per_gal: str, to: str = "gal") -> D:
    gallons = doses.liquid_for_ai_gal(ai_lb=D(ai_lb), ai_lb_per_gal=D(ai_per_gal))
    return Quantity(gallons, "gal").to(to).amount


PRODUCT = [
    Row("E08", "S2", "30 ac x 1 pt -> gal", lambda: whole("1", "pt", "30", "gal"), "3.75"),
    Row("E09", "S2", "3 lb ai of 8 lb/gal -> gal", lambda: liquid("3", "8"), "0.375"),
    Row("E11", "S2", "0.5 lb ai of 2 lb/gal -> qt", lambda: liquid("0.5", "2", "qt"), "1"),
    Row("E12", "S2", "7.5 ac x 1 qt -> qt/tank", lambda: put("1", "qt", ACRE, "300", "qt", gpa="40"), "7.5"),
    Row("E28", "S6", "3.6 pt x 25 ac -> gal", lambda: whole("3.6", "pt", "25", "gal"), "11.25"),
    Row("E41", "S15", "1.5 lb ai of 4 lb/gal -> gal", lambda: liquid("1.5", "4"), "0.375"),
    Row("E43", "S15", "3 pt x 25 ac -> gal", lambda: whole("3", "pt", "25", "gal"), "9.37", how="cut"),
    Row("E44", "S16", "32 fl oz/ac, 15 GPA, 500 gal", lambda: put("32", "floz", ACRE, "500", "floz", "15"), "1067"),
    Row("E50", "S18", "8 fl oz/ac, 7.5 GPA, 1 gal", lambda: put("8", "floz", ACRE, "1", "floz", "7.5"), "1.06", "cut"),
    Row("E51", "S18", "the same for 3 gal -> oz", lambda: put("8", "floz", ACRE, "3", "floz", "7.5"), "3.2"),
    Row(
        "E52",
        "S18",
        "3.2 fl oz -> mL",
        lambda: Quantity(D("3.2"), "floz").to("ml").amount,
        "96",
        right="94.64",
        why="taken at 30 mL per fl oz; exactly 29.5735",
    ),
    Row("E58", "S21", "15 GPA x 3.5 ac -> gal", lambda: job("3.5", gpa="15").total_gal, "52.5"),
    Row("E59", "S21", "3.5 ac x 3 lb -> lb", lambda: whole("3", "lb", "3.5", "lb"), "10.5"),
    Row("E60", "S21", "2 lb ai of 80 % WP -> lb", lambda: doses.dry_for_ai_lb(ai_lb=2, ai_percent=80), "2.5"),
    Row("E61", "S22", "10 lb ai of 5 % dust -> lb", lambda: doses.dry_for_ai_lb(ai_lb=10, ai_percent=5), "200"),
    Row(
        "E62",
        "S22",
        "0.3 lb ai of 6 % at 8.34 lb/gal -> gal",
        lambda: doses.liquid_for_ai_gal(
            ai_lb=D("0.3"), ai_lb_per_gal=doses.content_lb_per_gal(density_lb_per_gal=D("8.34"), content_percent=6)
        ),
        "0.6",
    ),
    Row("E75", "S30", "2 lb/100 gal, 300 gal -> lb", lambda: put("2", "lb", HUNDRED, "300", "lb"), "6"),
    Row("E76", "S30", "2 lb/100 gal, 20 gal -> oz wt", lambda: put("2", "lb", HUNDRED, "20", "oz"), "6.4"),
    Row("E77", "S30", "2 pt/100 gal, 20 gal -> fl oz", lambda: put("2", "pt", HUNDRED, "20", "floz"), "6.4"),
    Row("E80", "S31", "1/2 pt/100 gal, 25 gal -> fl oz", lambda: put("0.5", "pt", HUNDRED, "25", "floz"), "2"),
    Row(
        "E81",
        "S31",
        "1/2 pt/100 gal, 1 gal -> tsp",
        lambda: put("0.5", "pt", HUNDRED, "1", "tsp"),
        "1/2",
        right="0.48",
        why="rounded up to a kitchen measure",
    ),
    Row("E83", "S33", "2 pt/100 gal in a 1 pt jar -> mL", lambda: put("2", "pt", HUNDRED, "0.125", "ml"), "1.2"),
    Row("E56", "S20", "200 lb/ac of 20 % -> lb ai", lambda: doses.ai_in_dry_lb(product_lb=200, ai_percent=20), "40"),
]

# New England Vegetable Management Guide: quarts of a liquid (lb ai/gal) for 0.5, 1, 3 and 5 lb ai.
WANTED = ("0.5", "1", "3", "5")
LIQUIDS = {
    "1.5": ("4/3", "8/3", "8/1", "40/3"),
    "2": ("1/1", "2/1", "6/1", "10/1"),
    "4": ("1/2", "1/1", "3/1", "5/1"),
    "6": ("1/3", "2/3", "3/2", "5/2"),
    "8": ("1/4", "1/2", "3/2", "5/2"),
}
WRONG = {("6", "3"): "2/1", ("6", "5"): "10/3"}
# Pounds of a wettable powder (% ai) for the same.
POWDERS = {
    "15": ("10/3", "20/3", "20/1", "100/3"),
    "25": ("2/1", "4/1", "12/1", "20/1"),
    "40": ("5/4", "5/2", "15/2", "25/2"),
}
DILUTIONS = [
    *(
        Row(
            f"E78-{strength}EC-{ai}",
            "S31",
            f"{ai} lb ai of {strength} lb/gal -> qt",
            lambda ai=ai, strength=strength: liquid(ai, strength, "qt"),
            printed,
            right=WRONG.get((strength, ai), ""),
            why="the table repeats its 8 lb/gal line here",
        )
        for strength, line in LIQUIDS.items()
        for ai, printed in zip(WANTED, line, strict=True)
    ),
    *(
        Row(
            f"E79-{strength}WP-{ai}",
            "S31",
            f"{ai} lb ai of {strength} % -> lb",
            lambda ai=ai, strength=strength: doses.dry_for_ai_lb(ai_lb=D(ai), ai_percent=D(strength)),
            printed,
        )
        for strength, line in POWDERS.items()
        for ai, printed in zip(WANTED, line, strict=True)
    ),
]


def finished_spray(ai_per_gal: str, percent: str) -> D:
    """Pints of liquid for ``percent`` active ingredient by weight in 100 gal of water at 8 lb/gal (so the sheet)."""
    ai_lb = doses.content_lb_per_gal(density_lb_per_gal=8, content_percent=D(percent)) * 100
    return liquid(str(ai_lb), ai_per_gal, "pt")


# University of Missouri G7510: lb ai/gal, % ai in the spray, printed pints, right pints where it is rounded up.
FINISHED = [
    ("1", "0.03125", "2", ""),
    ("1", "0.25", "16", ""),
    ("1", "1", "64", ""),
    ("2", "0.25", "8", ""),
    ("4", "0.125", "2", ""),
    ("4", "1", "16", ""),
    ("3", "0.25", "6", "16/3"),
    ("1.5", "0.03125", "1.5", "4/3"),
]
PERCENTS = [
    Row(
        f"E84-{strength}-{percent}",
        "S34",
        f"{percent} % ai of {strength} lb/gal in 100 gal -> pt",
        lambda strength=strength, percent=percent: finished_spray(strength, percent),
        printed,
        right=right,
        why="the sheet rounds up to kitchen measures",
    )
    for strength, percent, printed, right in FINISHED
]


@table(PRODUCT)
def test_product_for_a_job_or_tank(row: Row) -> None:
    agree(row)


@table(DILUTIONS)
def test_dilution_table(row: Row) -> None:
    agree(row)


@table(PERCENTS)
def test_percent_of_active_ingredient(row: Row) -> None:
    agree(row)


def test_share_of_the_spray_volume() -> None:
    # 0.25 % is 32 fl oz in 100 gal; 1 % is 1 gal (follows from 128 fl oz in a gallon).
    quarter = doses.dose(Quantity(D("0.25"), "%vv"), RateBasis.PERCENT_VV, gallons=100, gpa=20)
    assert quarter.to("floz") == Quantity(D(32), "floz")
    assert put("1", "%vv", RateBasis.PERCENT_VV, "100", "gal") == D(1)


def test_three_bases_meet_only_through_the_spray_volume() -> None:
    # 2 lb per 100 gal at 38 GPA is 0.76 lb an acre (worked by hand).
    assert doses.per_acre(Quantity(D(2), "lb"), HUNDRED, gpa=38) == Quantity(D("0.76"), "lb")
    half_percent = doses.per_acre(Quantity(D("0.5"), "%vv"), RateBasis.PERCENT_VV, gpa=38)
    assert half_percent == Quantity(D("0.19"), "gal")


def test_ai_in_a_liquid_product() -> None:
    # University of Missouri Extension G1272: gallons per acre times pounds per gallon.
    assert doses.ai_in_liquid_lb(product_gal=D("0.375"), ai_lb_per_gal=4) == D("1.5")
    assert Fraction(doses.ai_in_dry_lb(product_lb=D("2.5"), ai_percent=80)) == 2
