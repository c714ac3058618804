"""Printed worked examples: areas, dry product, foliar feed, rate of work, agitation."""

from __future__ import annotations

from decimal import Decimal as D

from apps.equipment.rules import area, course, doses, pump
from apps.equipment.rules.field_time import acres_per_hour
from farmops.units import Quantity
from tests.equipment.worked import Row, agree, rounds_to, table


def acres(sqft: D) -> D:
    return Quantity(sqft, "sqft").to("ac").amount


def square(feet: int) -> D:
    return area.rectangle_sqft(length_ft=feet, width_ft=feet)


def per_1000_sqft(rate: str, unit: str, to: str) -> D:
    """A rate per acre as an amount on 1000 sq ft."""
    return Quantity(D(rate), unit).to(to).amount * acres(D(1000))


def ten_percent_n(pounds: str) -> D:
    """Gallons of a liquid with 1.069 lb N a gallon."""
    return doses.liquid_for_ai_gal(ai_lb=D(pounds), ai_lb_per_gal=D("1.069"))


AREAS = [
    Row("E14", "S3", "15 x 15 ft -> ac", lambda: acres(square(15)), "0.00516", how="cut"),
    Row(
        "E15",
        "S3",
        "0.1 gal on 15 x 15 ft -> GPA",
        lambda: course.gpa_on_plot(used_gal=D("0.1"), plot_acres=acres(square(15))),
        "19.38",
        right="19.36",
        why="goes on with the area cut off to 0.00516 ac",
    ),
    Row(
        "E15-as-printed",
        "S3",
        "0.1 gal on 0.00516 ac -> GPA",
        lambda: course.gpa_on_plot(used_gal=D("0.1"), plot_acres=D("0.00516")),
        "19.38",
    ),
    Row(
        "E16",
        "S3",
        "14 x 14 ft -> ac",
        lambda: acres(square(14)),
        "0.0040",
        right="0.0045",
        why="printed as 0.004, which is 11 % low",
    ),
    Row("E23", "S6", "60 x 25 ft -> sq ft", lambda: area.rectangle_sqft(length_ft=60, width_ft=25), "1500"),
    Row(
        "E24",
        "S6",
        "circle 80 ft across -> sq ft",
        lambda: area.circle_sqft(diameter_ft=80),
        "5024",
        right="5026.55",
        why="printed with pi taken as 3.14",
    ),
    Row("E25", "S6", "triangle 30 x 26 ft -> sq ft", lambda: area.triangle_sqft(base_ft=30, height_ft=26), "390"),
    Row("E26", "S6", "40 GPA -> gal/1000 sq ft", lambda: per_1000_sqft("40", "gal", "gal"), "0.92"),
    Row("E27", "S6", "3.6 pt/ac -> fl oz/1000 sq ft", lambda: per_1000_sqft("3.6", "pt", "floz"), "1.3"),
    Row("E70a-sqft", "S27", "1320 x 120 ft", lambda: area.rectangle_sqft(length_ft=1320, width_ft=120), "158400"),
    Row("E70a", "S27", "1320 x 120 ft -> ac", lambda: acres(area.rectangle_sqft(length_ft=1320, width_ft=120)), "3.6"),
    Row("E70b-sqft", "S27", "triangle 325 x 150", lambda: area.triangle_sqft(base_ft=325, height_ft=150), "24375"),
    Row("E70b", "S27", "the same -> ac", lambda: acres(area.triangle_sqft(base_ft=325, height_ft=150)), "0.6"),
    Row(
        "E70c-sqft",
        "S27",
        "circle 90 ft across -> sq ft",
        lambda: area.circle_sqft(diameter_ft=90),
        "6358.5",
        right="6361.7",
        why="printed with pi taken as 3.14",
    ),
    Row("E70c", "S27", "the same -> ac", lambda: acres(area.circle_sqft(diameter_ft=90)), "0.15"),
    Row("E71", "S28", "circle 20 ft across -> sq ft", lambda: area.circle_sqft(diameter_ft=20), "314.159"),
]

DRY = [
    Row(
        "E55",
        "S20",
        "20 lb on 10 x 435 ft -> lb/ac",
        lambda: course.amount_per_acre(amount=20, distance_ft=435, swath_ft=10),
        "200",
    ),
    Row(
        "E57",
        "S20",
        "20 lb in 43 turns of a 9 ft wheel, 8 ft wide -> lb/ac",
        lambda: course.amount_per_acre(amount=20, distance_ft=43 * 9, swath_ft=8),
        "277",
        right="281.40",
        why="takes 43,560 / 43 as 1000 and then cuts off; its text also says 29 lb for 20",
    ),
    Row(
        "E63",
        "S23",
        "28 % N at 10.6 lb/gal -> lb N/gal",
        lambda: doses.content_lb_per_gal(density_lb_per_gal=D("10.6"), content_percent=28),
        "2.97",
    ),
    Row(
        "E64",
        "S23",
        "20 gal of it -> lb N",
        lambda: doses.ai_in_liquid_lb(product_gal=20, ai_lb_per_gal=D("2.968")),
        "59.4",
    ),
    Row(
        "E65",
        "S24",
        "10 % N at 10.69 lb/gal -> lb N/gal",
        lambda: doses.content_lb_per_gal(density_lb_per_gal=D("10.69"), content_percent=10),
        "1.069",
    ),
    Row(
        "E66",
        "S24",
        "15 lb N of it -> gal/ac",
        lambda: doses.liquid_for_ai_gal(ai_lb=15, ai_lb_per_gal=D("1.069")),
        "14.03",
    ),
    Row(
        "E67",
        "S24",
        "the same on 20 ac -> gal",
        lambda: doses.liquid_for_ai_gal(ai_lb=300, ai_lb_per_gal=D("1.069")),
        "280.6",
    ),
    Row(
        "E82",
        "S32",
        "6500 L, 3 % a minute -> L/min",
        lambda: pump.agitation_flow(tank=6500, percent_per_minute=3),
        "200",
        right="195",
        why="said as 'about 200' in a talk",
    ),
]

# Iowa State University Extension PM 696: feet, mph, efficiency %, printed acres per hour.
WORK = [
    (40, 6, 70, "20.4"),
    (50, 6, 70, "25.5"),
    (60, 6, 68, "29.7"),
    (60, 12, 68, "59.3"),
    (80, 6, 68, "39.6"),
    (80, 12, 68, "79.1"),
    (10, 5, 63, "3.8"),
    (15, 5, 63, "5.7"),
    (15, 6, 63, "6.9"),
    (20, 6, 63, "9.2"),
    (30, 6, 60, "13.1"),
]
RATE_OF_WORK = [
    Row(
        f"E68-{ft}x{mph}",
        "S25",
        f"{ft} ft, {mph} mph, {share} % -> ac/h",
        lambda ft=ft, mph=mph, share=share: acres_per_hour(speed_mph=mph, swath_ft=ft, efficiency_percent=share),
        printed,
    )
    for ft, mph, share, printed in WORK
]


@table(AREAS)
def test_area(row: Row) -> None:
    agree(row)


@table(DRY)
def test_dry_product_feed_and_agitation(row: Row) -> None:
    agree(row)


@table(RATE_OF_WORK)
def test_rate_of_work(row: Row) -> None:
    agree(row)


def test_an_acre_is_eight_and_a_quarter_feet_by_a_mile() -> None:
    # University of Nebraska-Lincoln prints "1 acre = 8.25 ft x 1 mile".
    assert rounds_to(acres_per_hour(speed_mph=1, swath_ft=D("8.25")), "1.000000000")
