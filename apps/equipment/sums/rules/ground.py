"""Sums of measured ground: courses, refills, plots, speed, areas and plants."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from apps.equipment.rules import area, course
from apps.equipment.sums.rules.ask import (
    AREAS,
    CUPS,
    DISTANCES,
    GALLONS,
    LENGTHS,
    SPACING,
    SWATH,
    WEIGHTS,
    WIDTHS,
    Asked,
    Group,
    Kind,
    Result,
    Sum,
    Worked,
    amount,
    metric,
    plain,
)
from farmops.errors import BadInput, gettext_noop
from farmops.units import Quantity, show

LSU = "LSU AgCenter, “Ounces Equal Gallons: Sprayer Calibration”"
RATE = gettext_noop("Rate")
COURSE = amount("course", gettext_noop("Length of the course"), DISTANCES)
V = Mapping[str, Any]


def _speed(v: V) -> Worked:
    seconds = course.mean(v["seconds"], field="seconds")
    found = course.speed_mph(distance_ft=v["course"], seconds=seconds)
    working = f"{show(v['course'])} ft × 60 ÷ ({show(seconds)} s × 88) = {show(found)} mph"
    return Worked(results=metric("mph", gettext_noop("Ground speed"), found, "mph", "km/h"), working=working)


def _ounce_course(v: V) -> Worked:
    found = course.course_ft(width_in=v["spacing"])
    working = f"340.3125 sq ft × 12 ÷ {show(v['spacing'])} in = {show(found, 2)} ft"
    return Worked(results=metric("course_ft", gettext_noop("Drive"), found, "ft", "m", 2), working=working)


def _ounces(v: V) -> Worked:
    found = course.gpa_on_course(caught_floz=v["caught"], course_ft=v["course"], width_in=v["spacing"])
    working = (
        f"{show(v['caught'], 2)} fl oz ÷ 128 × 43,560 × 12 ÷ ({show(v['course'])} ft × {show(v['spacing'])} in)"
        f" = {show(found, 2)} gal/ac"
    )
    return Worked(results=metric("gpa", RATE, found, "gal/ac", "l/ha", 2), working=working)


def _refill(v: V) -> Worked:
    found = course.gpa_by_refill(refill_gal=v["refill"], distance_ft=v["course"], swath_ft=v["swath"])
    working = f"{show(v['refill'])} × 43,560 ÷ ({show(v['course'])} × {show(v['swath'])}) = {show(found, 2)} gal/ac"
    return Worked(results=metric("gpa", RATE, found, "gal/ac", "l/ha", 2), working=working)


def _plot(v: V) -> Worked:
    found = course.gpa_on_plot(used_gal=v["used"], plot_acres=v["plot"])
    working = f"{show(v['used'])} gal ÷ {show(v['plot'], 6)} ac = {show(found, 2)} gal/ac"
    return Worked(results=metric("gpa", RATE, found, "gal/ac", "l/ha", 2), working=working)


def _dry(v: V) -> Worked:
    found = course.amount_per_acre(amount=v["spread"], distance_ft=v["course"], swath_ft=v["swath"])
    working = f"{show(v['spread'])} lb × 43,560 ÷ ({show(v['course'])} × {show(v['swath'])}) = {show(found, 2)} lb/ac"
    return Worked(results=metric("lb_per_acre", RATE, found, "lb/ac", "kg/ha", 2), working=working)


def _boomless(v: V) -> Worked:
    found = course.effective_swath_ft(wetted_ft=v["wetted"], share_percent=v["share"])
    working = f"{show(v['wetted'])} ft × {show(v['share'])} % = {show(found, 2)} ft"
    return Worked(
        results=metric("swath_ft", gettext_noop("Swath to reckon with"), found, "ft", "m", 2), working=working
    )


def _area(v: V) -> Worked:
    length, width = v["length"], v["width"]
    if v["shape"] == "circle":
        sqft, working = area.circle_sqft(diameter_ft=length), f"π × {show(length)}² ÷ 4"
    elif width is None:
        raise BadInput({"width": gettext_noop("Enter the width: only a circle needs none.")})
    elif v["shape"] == "triangle":
        sqft, working = area.triangle_sqft(base_ft=length, height_ft=width), f"{show(length)} × {show(width)} ÷ 2"
    else:
        sqft, working = area.rectangle_sqft(length_ft=length, width_ft=width), f"{show(length)} × {show(width)}"
    acres = Quantity(sqft, "sqft").to("ac").amount
    return Worked(
        results=(
            Result(code="sqft", label=gettext_noop("Area"), amount=sqft, unit="sqft", places=2),
            Result(code="acres", label=gettext_noop("Area"), amount=acres, unit="ac", places=5),
        ),
        working=f"{working} = {show(sqft, 2)} sq ft; ÷ 43,560 = {show(acres, 5)} ac",
    )


def _plants(v: V) -> Worked:
    found = area.plants_per_acre(row_ft=v["row"], plant_ft=v["plant"])
    shown = Result(code="plants", label=gettext_noop("Plants on an acre"), amount=found, places=0)
    return Worked(results=(shown,), working=f"43,560 ÷ ({show(v['row'])} × {show(v['plant'])}) = {show(found, 0)}")


def _plants_along(v: V) -> Worked:
    found = area.plants_along(course_ft=v["course"], plant_ft=v["plant"])
    shown = Result(code="plants", label=gettext_noop("Whole plants on the course"), amount=Decimal(found), places=0)
    return Worked(results=(shown,), working=f"{show(v['course'])} ÷ {show(v['plant'])} → {found}")


SHAPES = (
    ("rectangle", gettext_noop("Rectangle")),
    ("triangle", gettext_noop("Triangle")),
    ("circle", gettext_noop("Circle")),
)
SECONDS = Asked(
    name="seconds",
    label=gettext_noop("Seconds of each run"),
    kind=Kind.SEVERAL,
    units=("s", "min"),
    hint=gettext_noop("Numbers with spaces between them."),
)

SUMS = (
    Sum(
        code="ground-speed",
        group=Group.CALIBRATE,
        title=gettext_noop("Ground speed from a timed course"),
        asked=(COURSE, SECONDS),
        formula="mph = ft × 60 ÷ (s × 88)",
        source="Oklahoma State University turf fact sheet “Sprayer Calibration”",
        work=_speed,
    ),
    Sum(
        code="ounce-course",
        group=Group.CALIBRATE,
        title=gettext_noop("Course where ounces caught are gallons per acre"),
        asked=(SPACING,),
        formula="ft = 43,560 ÷ 128 × 12 ÷ in",
        source=LSU,
        work=_ounce_course,
    ),
    Sum(
        code="ounces-caught",
        group=Group.CALIBRATE,
        title=gettext_noop("Rate from a cup caught on a course"),
        asked=(amount("caught", gettext_noop("Caught from one nozzle"), CUPS), COURSE, SPACING),
        formula="GPA = fl oz ÷ 128 × 43,560 × 12 ÷ (ft × in)",
        source=LSU,
        work=_ounces,
    ),
    Sum(
        code="refill",
        group=Group.CALIBRATE,
        title=gettext_noop("Rate by refilling the tank"),
        asked=(amount("refill", gettext_noop("Refilled with"), GALLONS), COURSE, SWATH),
        formula="GPA = gal × 43,560 ÷ (ft × ft of swath)",
        source="Henderson County study problems; plain geometry",
        work=_refill,
    ),
    Sum(
        code="test-plot",
        group=Group.CALIBRATE,
        title=gettext_noop("Rate on a test plot"),
        asked=(
            amount("used", gettext_noop("Spray used"), GALLONS),
            amount("plot", gettext_noop("Size of the plot"), AREAS),
        ),
        formula="GPA = gal ÷ ac",
        source="Montana State Pesticide Safety Education Program, “Calibrating Your Field Sprayer”",
        work=_plot,
    ),
    Sum(
        code="dry-spread",
        group=Group.CALIBRATE,
        title=gettext_noop("Dry product spread on a strip"),
        asked=(amount("spread", gettext_noop("Weight spread"), WEIGHTS), COURSE, SWATH),
        formula="lb/ac = lb × 43,560 ÷ (ft × ft of swath)",
        source="University of Florida, dry chemical applicator calibration (UF00067504)",
        work=_dry,
    ),
    Sum(
        code="boomless-swath",
        group=Group.BOOM,
        title=gettext_noop("Swath of a boomless head"),
        asked=(
            amount("wetted", gettext_noop("Wetted width"), LENGTHS),
            plain("share", gettext_noop("Part that gets enough, %"), start="80"),
        ),
        formula="swath = wetted width × 80 %",
        source="LSU AgCenter, “Calibrating a cluster nozzle/boomless sprayer”",
        work=_boomless,
    ),
    Sum(
        code="area",
        group=Group.LOADS,
        title=gettext_noop("Area of a plain shape"),
        asked=(
            Asked(name="shape", label=gettext_noop("Shape"), kind=Kind.CHOICE, choices=SHAPES, start="rectangle"),
            amount("length", gettext_noop("Length, base, or width across"), DISTANCES),
            amount("width", gettext_noop("Width, or height of a triangle"), DISTANCES, needed=False),
        ),
        formula="ac = sq ft ÷ 43,560",
        source="National Pesticide Applicator Certification Core Manual, chapter 11; plain geometry",
        work=_area,
    ),
    Sum(
        code="plants-per-acre",
        group=Group.LOADS,
        title=gettext_noop("Plants on an acre"),
        asked=(
            amount("row", gettext_noop("Between rows"), ("ft", *(w for w in WIDTHS if w != "ft"))),
            amount("plant", gettext_noop("Between plants"), ("ft", *(w for w in WIDTHS if w != "ft"))),
        ),
        formula="43,560 ÷ (ft × ft)",
        source="L. H. Bailey, Farm and Garden Rule-Book, spacing table",
        work=_plants,
    ),
    Sum(
        code="plants-on-course",
        group=Group.CALIBRATE,
        title=gettext_noop("Plants on a course"),
        asked=(COURSE, amount("plant", gettext_noop("Between plants"), LENGTHS)),
        formula="ft ÷ ft, whole plants only",
        source="NC State Extension, “Backpack Sprayer Calibration Worksheet”",
        work=_plants_along,
    ),
)
