"""Sums of boom geometry: height, overlap, clearance, lanes, exclusion zone."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from apps.equipment.rules import geometry, lanes
from apps.equipment.rules.zone import DropletClass, Method, exclusion_zone
from apps.equipment.sums.rules.ask import (
    AREAS,
    LENGTHS,
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
from farmops.errors import gettext_noop
from farmops.units import show

GEOMETRY = "plain geometry; T. Wolf, “Broadcast boom nozzle spacing”, Sprayers101"
ANGLE = plain("angle", gettext_noop("Fan angle, degrees"))
SPACING = amount("spacing", gettext_noop("Nozzle spacing"), WIDTHS)
HEIGHT = amount("height", gettext_noop("Nozzle above the target"), WIDTHS)
OF_SPACING, OF_PATTERN = "of_spacing", "of_pattern"
MEANINGS = (
    (OF_SPACING, gettext_noop("of the spacing: 100 % is a pattern of twice the spacing")),
    (OF_PATTERN, gettext_noop("of the pattern: 50 % is a pattern of twice the spacing")),
)
V = Mapping[str, Any]


def _height(v: V) -> Worked:
    over = v["overlap"]
    if v["meaning"] == OF_PATTERN:
        over = geometry.of_spacing_from_of_pattern(v["overlap"])
    found = geometry.boom_height_in(spacing_in=v["spacing"], angle_degrees=v["angle"], overlap_of_spacing_percent=over)
    width = geometry.pattern_width_in(height_in=found, angle_degrees=v["angle"])
    working = f"{show(width, 2)} in ÷ (2 × tan({show(v['angle'])}° ÷ 2)) = {show(found, 2)} in"
    pattern = Result(code="pattern_in", label=gettext_noop("Width of a pattern"), amount=width, unit="in", places=2)
    label = gettext_noop("Nozzle above the target (the crop top, not the soil)")
    return Worked(results=(*metric("height_in", label, found, "in", "cm", 2), pattern), working=working)


def _overlap(v: V) -> Worked:
    width = geometry.pattern_width_in(height_in=v["height"], angle_degrees=v["angle"])
    spacing = geometry.overlap_of_spacing_percent(width_in=width, spacing_in=v["spacing"])
    pattern = geometry.overlap_of_pattern_percent(width_in=width, spacing_in=v["spacing"])
    return Worked(
        results=(
            Result(code="pattern_in", label=gettext_noop("Width of a pattern"), amount=width, unit="in", places=2),
            Result(code="of_spacing", label=gettext_noop("Overlap, % of the spacing"), amount=spacing, places=1),
            Result(code="of_pattern", label=gettext_noop("Overlap, % of the pattern"), amount=pattern, places=1),
        ),
        working=f"2 × {show(v['height'])} in × tan({show(v['angle'])}° ÷ 2) = {show(width, 2)} in",
    )


def _clearance(v: V) -> Worked:
    plan = geometry.clearance_as_it_grows(
        boom_in=v["boom"],
        crop_in=v["crop"],
        growth_in_per_day=v["growth"] or Decimal(0),
        days=v["days"] or 0,
        wanted_in=v["wanted"],
    )
    results = [
        Result(code="now_in", label=gettext_noop("Clearance now"), amount=plan.now_in, unit="in", places=1),
        Result(code="then_in", label=gettext_noop("Clearance on that day"), amount=plan.then_in, unit="in", places=1),
    ]
    if plan.days_left is not None:
        left = gettext_noop("Whole days until it is too little")
        results.append(Result(code="days_left", label=left, amount=Decimal(plan.days_left), places=0))
    grown = f"{show(v['crop'])} in + {v['days'] or 0} × {show(v['growth'] or Decimal(0))} in"
    return Worked(results=tuple(results), working=f"{show(v['boom'])} in − ({grown}) = {show(plan.then_in, 1)} in")


def _lanes(v: V) -> Worked:
    wanted = lanes.lane_spacing_ft(swath_ft=v["swath"], lane_ft=v["lane"])
    plan = lanes.lane_plan(swath_ft=v["swath"], lane_ft=v["lane"], spacing_ft=v["spacing"] or wanted)
    results = [
        Result(code="spacing_ft", label=gettext_noop("Lanes apart, no gap and no double"), amount=wanted, unit="ft"),
        Result(code="doubled_ft", label=gettext_noop("Strip sprayed twice"), amount=plan.doubled_ft, unit="ft"),
        Result(code="missed_ft", label=gettext_noop("Strip not sprayed"), amount=plan.missed_ft, unit="ft"),
        Result(code="mean_dose", label=gettext_noop("Average dose, times the wanted"), amount=plan.mean_dose),
        Result(
            code="treated_share", label=gettext_noop("Treated part of the ground"), amount=plan.treated_share, places=4
        ),
    ]
    if v["gross"] is not None:
        acres = plan.treated_acres(v["gross"])
        results.append(
            Result(code="treated_acres", label=gettext_noop("Treated acres"), amount=acres, unit="ac", places=4)
        )
    if v["field"] is not None:
        count = lanes.passes_both_ways(field_ft=v["field"], spacing_ft=v["spacing"] or wanted)
        results.append(Result(code="passes", label=gettext_noop("Passes, both ways"), amount=Decimal(count), places=0))
    return Worked(
        results=tuple(results), working=f"2 × {show(v['swath'])} ft + {show(v['lane'])} ft = {show(wanted)} ft"
    )


def _zone(v: V) -> Worked:
    droplets = None if v["droplets"] in (None, UNKNOWN) else DropletClass(v["droplets"])
    zone = exclusion_zone(method=Method(v["method"]), droplet_class=droplets, release_height_in=v["height"])
    label = gettext_noop("Nobody but the handlers within")
    found = Result(code="distance_ft", label=label, amount=zone.distance_ft, unit="ft", places=0)
    return Worked(results=(found,), working=f"{show(zone.distance_ft)} ft", findings=(zone.because,))


UNKNOWN = "unknown"
METHOD_WORDS = {
    Method.BOOM: gettext_noop("Boom"),
    Method.HANDHELD: gettext_noop("By hand"),
    Method.AIR_BLAST: gettext_noop("Air blast"),
    Method.AERIAL: gettext_noop("By air"),
    Method.FUMIGANT: gettext_noop("Fumigant"),
    Method.FOG: gettext_noop("Smoke, mist or fog"),
    Method.DRIP: gettext_noop("Drip"),
    Method.SOIL_INJECTION: gettext_noop("Into the soil"),
}
DROPLET_WORDS = {
    DropletClass.EXTREMELY_FINE: gettext_noop("Extremely fine"),
    DropletClass.VERY_FINE: gettext_noop("Very fine"),
    DropletClass.FINE: gettext_noop("Fine"),
    DropletClass.MEDIUM: gettext_noop("Medium"),
    DropletClass.COARSE: gettext_noop("Coarse"),
    DropletClass.VERY_COARSE: gettext_noop("Very coarse"),
    DropletClass.EXTREMELY_COARSE: gettext_noop("Extremely coarse"),
    DropletClass.ULTRA_COARSE: gettext_noop("Ultra coarse"),
}
METHODS = tuple((m.value, words) for m, words in METHOD_WORDS.items())
DROPLETS = ((UNKNOWN, gettext_noop("not known")), *((c.value, words) for c, words in DROPLET_WORDS.items()))

SUMS = (
    Sum(
        code="boom-height",
        group=Group.BOOM,
        title=gettext_noop("Boom height for an overlap"),
        asked=(
            ANGLE,
            SPACING,
            plain("overlap", gettext_noop("Overlap, %"), zero=True),
            Asked(
                name="meaning",
                label=gettext_noop("Overlap is counted"),
                kind=Kind.CHOICE,
                choices=MEANINGS,
                start=OF_SPACING,
            ),
        ),
        formula="height = width ÷ (2 × tan(angle ÷ 2)); width = spacing × (1 + overlap) or spacing ÷ (1 − overlap)",
        source=GEOMETRY,
        work=_height,
    ),
    Sum(
        code="overlap",
        group=Group.BOOM,
        title=gettext_noop("Overlap at a boom height"),
        asked=(HEIGHT, ANGLE, SPACING),
        formula="width = 2 × height × tan(angle ÷ 2)",
        source=GEOMETRY,
        work=_overlap,
    ),
    Sum(
        code="clearance",
        group=Group.BOOM,
        title=gettext_noop("Clearance above the crop as it grows"),
        asked=(
            amount("boom", gettext_noop("Nozzle above the soil"), WIDTHS),
            amount("crop", gettext_noop("Crop height now"), WIDTHS, zero=True),
            amount("growth", gettext_noop("It grows in a day"), WIDTHS, needed=False, zero=True),
            Asked(name="days", label=gettext_noop("Days from now"), kind=Kind.WHOLE, needed=False, zero=True),
            amount("wanted", gettext_noop("Clearance you need"), WIDTHS, needed=False),
        ),
        formula="clearance = boom − (crop + days × growth)",
        source="plain geometry",
        work=_clearance,
    ),
    Sum(
        code="lanes",
        group=Group.BOOM,
        title=gettext_noop("Drive lanes for a boom on one side"),
        asked=(
            amount("swath", gettext_noop("Swath on one side"), LENGTHS),
            amount("lane", gettext_noop("Width of a lane"), LENGTHS, zero=True),
            amount("spacing", gettext_noop("Lanes apart now"), LENGTHS, needed=False),
            amount("gross", gettext_noop("Whole field, lanes and all"), AREAS, needed=False),
            amount("field", gettext_noop("Width of the field across the lanes"), LENGTHS, needed=False),
        ),
        formula="lanes apart = 2 × swath + lane; dose = 2 × swath ÷ (lanes apart − lane)",
        source="plain geometry",
        work=_lanes,
    ),
    Sum(
        code="exclusion-zone",
        group=Group.BOOM,
        title=gettext_noop("Exclusion zone while spraying"),
        asked=(
            Asked(
                name="method", label=gettext_noop("How it is applied"), kind=Kind.CHOICE, choices=METHODS, start="boom"
            ),
            Asked(
                name="droplets",
                label=gettext_noop("Droplet class, from the nozzle chart"),
                kind=Kind.CHOICE,
                choices=DROPLETS,
                needed=False,
                start=UNKNOWN,
            ),
            amount("height", gettext_noop("Nozzle above the soil"), WIDTHS, needed=False, zero=True),
        ),
        formula="100 ft finer than medium; 25 ft medium or coarser from above 12 in; else 0 ft",
        source="40 CFR 170.405(a)",
        work=_zone,
    ),
)
