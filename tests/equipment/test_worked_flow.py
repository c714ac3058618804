"""Printed worked examples: flow, rate, speed, catch test and course lengths."""

from __future__ import annotations

from decimal import Decimal as D
from fractions import Fraction

from apps.equipment.rules import area, catch, course, flow, tank
from farmops.units import Quantity
from tests.equipment.worked import Row, agree, rounds_to, table


def acres(sqft: D) -> D:
    return Quantity(sqft, "sqft").to("ac").amount


FLOW = [
    Row(
        "E01",
        "S1",
        "20 GPA, 30 in, 5 mph -> gal/min",
        lambda: flow.nozzle_gpm_for(gpa=20, speed_mph=5, width_in=30),
        "0.505",
    ),
    Row(
        "E02",
        "S1",
        "10 GPA, 24 in, 0.2 gal/min -> mph",
        lambda: flow.speed_for(gpa=10, nozzle_gpm=D("0.2"), width_in=24),
        "4.95",
    ),
    Row(
        "E03",
        "S2",
        "10 gal/min, 420 in, 30 GPA -> mph",
        lambda: flow.speed_for(gpa=30, nozzle_gpm=10, width_in=420),
        "4.7",
    ),
    Row(
        "E04",
        "S2",
        "30 GPA, 7 mph, 30 in -> gal/min",
        lambda: flow.nozzle_gpm_for(gpa=30, speed_mph=7, width_in=30),
        "1",
    ),
    Row(
        "E05",
        "S2",
        "1.5 gal/min, 30 GPA, 30 in -> mph",
        lambda: flow.speed_for(gpa=30, nozzle_gpm=D("1.5"), width_in=30),
        "9.9",
    ),
    Row(
        "E06",
        "S2",
        "500 gal at 30 GPA -> acres",
        lambda: tank.acres_per_tank(usable_gal=500, gpa=30),
        "16.6",
        how="cut",
    ),
    Row("E07", "S2", "250 gal at 30 GPA -> acres", lambda: tank.acres_per_tank(usable_gal=250, gpa=30), "8.3"),
    Row("E10", "S2", "300 gal at 40 GPA -> acres", lambda: tank.acres_per_tank(usable_gal=300, gpa=40), "7.5"),
    Row("E13a", "S2", "average 44.1 oz less 5 %", lambda: catch.limits(D("44.1"), 5)[0], "41.9"),
    Row("E13b", "S2", "average 44.1 oz plus 5 %", lambda: catch.limits(D("44.1"), 5)[1], "46.3"),
    Row("E17", "S3", "88 ft in 60 s -> mph", lambda: course.speed_mph(distance_ft=88, seconds=60), "1"),
    Row(
        "E18",
        "S4",
        "66 x 66 ft plot took 4 gal -> GPA",
        lambda: course.gpa_on_plot(used_gal=4, plot_acres=acres(area.rectangle_sqft(length_ft=66, width_ft=66))),
        "40",
    ),
    Row("E19", "S5", "200 ft in 45 s -> mph", lambda: course.speed_mph(distance_ft=200, seconds=45), "3"),
    Row("E20", "S5", "200 ft in 27 s -> mph", lambda: course.speed_mph(distance_ft=200, seconds=27), "5"),
    Row("E21", "S5", "101 fl oz/min -> gal/min", lambda: Quantity(D(101), "floz/min").to("gpm").amount, "0.79"),
    Row(
        "E22",
        "S5",
        "0.79 gal/min, 3 mph, 18 in -> GPA",
        lambda: flow.gpa(nozzle_gpm=D("0.79"), speed_mph=3, width_in=18),
        "88",
        right="86.9",
        why="0.79 gal/min gives 86.9; the printed 88 needs 0.80",
    ),
    Row("E42", "S15", "500 gal at 20 GPA -> acres", lambda: tank.acres_per_tank(usable_gal=500, gpa=20), "25"),
    Row(
        "E45",
        "S17",
        "480 fl oz/min, 222 in, 5 mph -> GPA",
        lambda: flow.gpa(nozzle_gpm=Quantity(D(480), "floz/min").to("gpm").amount, speed_mph=5, width_in=222),
        "20",
    ),
    Row(
        "E45b",
        "S17",
        "the same by whole boom, 18.5 ft",
        lambda: flow.gpa_whole_boom(total_gpm=D("3.75"), speed_mph=5, swath_ft=D("18.5")),
        "20",
    ),
    Row(
        "E46",
        "S17",
        "constant for fl oz/min and inches, 5940/128",
        lambda: flow.gpa(nozzle_gpm=Fraction(1, 128), speed_mph=1, width_in=1),
        "46.4",
    ),
    Row(
        "E53",
        "S19",
        "26 fl oz on 300 ft, 12 in band -> GPA",
        lambda: course.gpa_on_course(caught_floz=26, course_ft=300, width_in=12),
        "29.5",
    ),
    Row(
        "E54",
        "S19",
        "16 fl oz on 300 ft, 15 in band -> GPA of one tip",
        lambda: course.gpa_on_course(caught_floz=16, course_ft=300, width_in=15),
        "14.5",
    ),
    Row("E69", "S26", "88 ft in 12 s -> mph", lambda: course.speed_mph(distance_ft=88, seconds=12), "5"),
    Row("E49", "S18", "mean of 16 s and 18 s", lambda: course.mean([16, 18]), "17"),
    Row("P1", "S35", "13 nozzles, 20 in -> swath ft", lambda: flow.swath_ft(nozzles=13, spacing_in=20), "21.7"),
]


def by_340(inches: int) -> D:
    """The authors' short cut: 340 sq ft for 1/128 acre."""
    return course.course_ft(width_in=inches, plot_sqft=340)


LSU = {30: "136", 28: "146", 26: "157", 24: "170", 22: "185", 20: "204", 18: "227", 16: "255", 14: "291", 12: "340"}
OHIO = {10: "408", 15: "272", 20: "204", 30: "136", 40: "102"}

COURSES = [
    Row("E29", "S7", "40 in rows -> course ft", lambda: by_340(40), "102"),
    Row("E30", "S7", "32 in rows -> course ft", lambda: by_340(32), "127", how="cut"),
    *(Row(f"E31-{w}", "S7", f"{w} in -> course ft", lambda w=w: by_340(w), ft) for w, ft in LSU.items()),
    Row("E31-10", "S7", "10 in -> course ft", lambda: by_340(10), "408"),
    *(Row(f"E40-{w}", "S14", f"{w} in -> course ft", lambda w=w: by_340(w), ft) for w, ft in OHIO.items()),
    Row("E32", "S8", "30 ft wetted x 80 % -> ft", lambda: course.effective_swath_ft(wetted_ft=30), "24"),
    Row(
        "E33",
        "S8",
        "140 fl oz on 3400 sq ft -> GPA",
        lambda: course.gpa_on_course(caught_floz=140, course_ft=3400, width_in=12),
        "14",
    ),
    Row(
        "E34",
        "S9",
        "13 in band, 340.3 sq ft -> ft",
        lambda: course.course_ft(width_in=13, plot_sqft=D("340.3")),
        "314.1",
    ),
    Row(
        "E35",
        "S9",
        "13 ft swath, ten times 340.3 sq ft -> ft",
        lambda: course.course_ft_for_swath(swath_ft=13, plot_sqft=3403),
        "261.8",
    ),
    Row("E36", "S10", "19 in, 340.3 sq ft -> ft", lambda: course.course_ft(width_in=19, plot_sqft=D("340.3")), "214.9"),
    Row("E37", "S11", "19 in -> ft", lambda: by_340(19), "215"),
    Row("E38a", "S12", "9 ft boom -> plot ft", lambda: course.course_ft_for_swath(swath_ft=9), "37.8"),
    Row("E38b", "S12", "12 ft boom -> plot ft", lambda: course.course_ft_for_swath(swath_ft=12), "28.4"),
    Row("E38c", "S12", "15 ft boom -> plot ft", lambda: course.course_ft_for_swath(swath_ft=15), "22.7"),
    Row("E39", "S13", "20 in -> course ft", lambda: by_340(20), "204"),
    Row(
        "E47",
        "S18",
        "6 ft wide -> course ft",
        lambda: course.course_ft_for_swath(swath_ft=6, plot_sqft=340),
        "57",
        how="up",
    ),
]


@table(FLOW)
def test_flow_rate_and_speed(row: Row) -> None:
    agree(row)


@table(COURSES)
def test_course_length(row: Row) -> None:
    agree(row)


def test_340_square_feet_is_a_short_cut_and_ours_is_exact() -> None:
    # 43,560 / 128 = 340.3125; with 340 a course is 0.092 % short.
    exact, short = course.course_ft(width_in=22), by_340(22)
    assert exact == D("185.625")
    assert rounds_to((short - exact) / exact * 100, "-0.092")


def test_ounces_equal_gallons() -> None:
    # LSU AgCenter: over the 1/128 acre course, ounces caught are gallons per acre.
    for width in (10, 15, 20, 40):
        driven = course.course_ft(width_in=width)
        assert rounds_to(course.gpa_on_course(caught_floz=38, course_ft=driven, width_in=width), "38.000000000000")
