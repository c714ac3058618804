"""Sums of flow, rate, speed and pressure."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from apps.equipment.rules import catch, flow
from apps.equipment.sums.rules.ask import (
    FLOW,
    FLOWS,
    GPA,
    PRESSURE,
    PRESSURES,
    SPACING,
    SPEED,
    SPEEDS,
    SWATH,
    VOLUMES_PER_AREA,
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
from farmops.units import show

MISSOURI = "University of Missouri Extension G1270"
MESA = "Mesa County (Colorado) Weed and Pest; University of Missouri Extension G1270"
ROOT_LAW = "square-root law from memory; National Pesticide Applicator Certification Core Manual, chapter 11"
RATE, EACH, TOGETHER = gettext_noop("Rate"), gettext_noop("One nozzle"), gettext_noop("All nozzles together")
WATER_LB_PER_GAL = Decimal("8.345")  # Purdue (Whitford), reported by No-Till Farmer

V = Mapping[str, Any]


def _rate(v: V) -> Worked:
    found = flow.gpa(nozzle_gpm=v["flow"], speed_mph=v["speed"], width_in=v["spacing"])
    working = f"5940 × {show(v['flow'])} ÷ ({show(v['speed'])} × {show(v['spacing'])}) = {show(found)} gal/ac"
    return Worked(results=metric("gpa", RATE, found, "gal/ac", "l/ha"), working=working)


def _boom_rate(v: V) -> Worked:
    found = flow.gpa_whole_boom(total_gpm=v["total"], speed_mph=v["speed"], swath_ft=v["swath"])
    working = f"495 × {show(v['total'])} ÷ ({show(v['speed'])} × {show(v['swath'])}) = {show(found)} gal/ac"
    return Worked(results=metric("gpa", RATE, found, "gal/ac", "l/ha"), working=working)


def _nozzle_flow(v: V) -> Worked:
    found = flow.nozzle_gpm_for(gpa=v["gpa"], speed_mph=v["speed"], width_in=v["spacing"])
    working = f"{show(v['gpa'])} × {show(v['speed'])} × {show(v['spacing'])} ÷ 5940 = {show(found)} gal/min"
    return Worked(results=metric("gpm", EACH, found, "gpm", "floz/min"), working=working)


def _boom_flow(v: V) -> Worked:
    found = flow.boom_gpm_for(gpa=v["gpa"], speed_mph=v["speed"], swath_ft=v["swath"])
    foot = flow.boom_gpm_for(gpa=v["gpa"], speed_mph=v["speed"], swath_ft=1)
    each = Result(code="gpm_per_foot", label=gettext_noop("Each foot of swath"), amount=foot, unit="gpm", places=4)
    working = f"{show(v['gpa'])} × {show(v['speed'])} × {show(v['swath'])} ÷ 495 = {show(found)} gal/min"
    return Worked(results=(*metric("gpm", TOGETHER, found, "gpm", "l/min"), each), working=working)


def _speed_for(v: V) -> Worked:
    found = flow.speed_for(gpa=v["gpa"], nozzle_gpm=v["flow"], width_in=v["spacing"])
    working = f"5940 × {show(v['flow'])} ÷ ({show(v['gpa'])} × {show(v['spacing'])}) = {show(found)} mph"
    return Worked(results=metric("mph", gettext_noop("Ground speed"), found, "mph", "km/h"), working=working)


def _pressure(v: V) -> Worked:
    speed, wanted = v["speed"] or Decimal(1), v["new_speed"] or v["speed"] or Decimal(1)
    found = flow.pressure_for_rate(
        pressure_psi=v["pressure"], gpa=v["gpa"], wanted_gpa=v["wanted"], speed_mph=speed, wanted_speed_mph=wanted
    )
    change = f"({show(v['wanted'])} × {show(wanted)}) ÷ ({show(v['gpa'])} × {show(speed)})"
    working = f"{show(v['pressure'])} × [{change}]² = {show(found)} psi"
    return Worked(results=metric("psi", gettext_noop("Pressure to set"), found, "psi", "bar", 1), working=working)


def _both_speeds(v: V) -> Worked:
    if (v["speed"] is None) != (v["new_speed"] is None):
        missing = "speed" if v["speed"] is None else "new_speed"
        raise BadInput({missing: gettext_noop("Give both speeds, or neither if the speed stays.")})
    return _pressure(v)


def _flow_at(v: V) -> Worked:
    found = flow.flow_at_pressure(gpm=v["flow"], pressure_psi=v["pressure"], new_pressure_psi=v["new_pressure"])
    working = f"{show(v['flow'])} × √({show(v['new_pressure'])} ÷ {show(v['pressure'])}) = {show(found)} gal/min"
    return Worked(results=metric("gpm", EACH, found, "gpm", "floz/min"), working=working)


def _denser(v: V) -> Worked:
    if v["density"] is None:
        raise BadInput({"density": gettext_noop("Enter the density: water is 8.345 lb/gal. It stands on the label.")})
    gravity = v["density"] / WATER_LB_PER_GAL
    comes = flow.solution_flow(water_gpm=v["flow"], specific_gravity=gravity)
    chart = flow.water_flow_for(solution_gpm=v["flow"], specific_gravity=gravity)
    working = f"{show(v['flow'])} ÷ √({show(v['density'])} ÷ 8.345) = {show(comes)} gal/min"
    return Worked(
        results=(
            Result(code="gpm", label=gettext_noop("Comes out of the nozzle"), amount=comes, unit="gpm", places=4),
            Result(
                code="chart_gpm", label=gettext_noop("Look for in a water chart"), amount=chart, unit="gpm", places=4
            ),
        ),
        working=working,
    )


def _wear(v: V) -> Worked:
    new = v["new_flow"]
    if v["pressure"] is not None and v["new_pressure"] is not None:
        new = flow.flow_at_pressure(gpm=new, pressure_psi=v["new_pressure"], new_pressure_psi=v["pressure"])
    over = catch.off_percent(v["flow"], new, field="new_flow")
    test = catch.judge_catches([v["flow"] * 128], seconds=60, new_nozzle_gpm=new)
    working = f"({show(v['flow'])} − {show(new)}) ÷ {show(new)} × 100 = {show(over, 1)} %"
    over_new = Result(code="over_new_percent", label=gettext_noop("Over a new nozzle, %"), amount=over, places=1)
    return Worked(results=(over_new,), working=working, findings=test.findings)


def _spread(v: V) -> Worked:
    test = catch.judge_catches(v["catches"], seconds=v["seconds"])
    low, high = catch.limits(test.mean_floz, catch.CHECK_PERCENT)
    total = " + ".join(show(c) for c in v["catches"][:12]) + (" + …" if len(v["catches"]) > 12 else "")
    working = f"({total}) ÷ {len(v['catches'])} = {show(test.mean_floz, 2)} fl oz"
    return Worked(
        results=(
            Result(code="mean_floz", label=gettext_noop("Average cup"), amount=test.mean_floz, unit="floz", places=2),
            Result(code="low_floz", label=gettext_noop("Look at cups below"), amount=low, unit="floz", places=2),
            Result(code="high_floz", label=gettext_noop("Look at cups above"), amount=high, unit="floz", places=2),
            Result(code="total_gpm", label=TOGETHER, amount=test.total_gpm, unit="gpm"),
        ),
        working=working,
        findings=test.findings,
    )


CATCHES = Asked(
    name="catches",
    label=gettext_noop("Every cup, from left to right"),
    kind=Kind.SEVERAL,
    units=("floz", "ml"),
    hint=gettext_noop("Numbers with spaces between them."),
)

SUMS = (
    Sum(
        code="rate",
        group=Group.CALIBRATE,
        title=gettext_noop("Rate from the flow of a nozzle"),
        asked=(FLOW, SPEED, SPACING),
        formula="GPA = 5940 × gal/min ÷ (mph × in)",
        source=MISSOURI,
        work=_rate,
    ),
    Sum(
        code="boom-rate",
        group=Group.CALIBRATE,
        title=gettext_noop("Rate from the flow of the whole boom"),
        asked=(amount("total", TOGETHER, FLOWS), SPEED, SWATH),
        formula="GPA = 495 × gal/min ÷ (mph × ft)",
        source=MESA,
        work=_boom_rate,
    ),
    Sum(
        code="nozzle-flow",
        group=Group.NOZZLES,
        title=gettext_noop("Flow a nozzle must give"),
        asked=(GPA, SPEED, SPACING),
        formula="gal/min = GPA × mph × in ÷ 5940",
        source=MISSOURI,
        work=_nozzle_flow,
    ),
    Sum(
        code="boom-flow",
        group=Group.NOZZLES,
        title=gettext_noop("Flow the whole boom must give"),
        asked=(GPA, SPEED, SWATH),
        formula="gal/min = GPA × mph × ft ÷ 495",
        source=MESA,
        work=_boom_flow,
    ),
    Sum(
        code="speed-for-rate",
        group=Group.CALIBRATE,
        title=gettext_noop("Speed for a wanted rate"),
        asked=(GPA, FLOW, SPACING),
        formula="mph = 5940 × gal/min ÷ (GPA × in)",
        source=MISSOURI,
        work=_speed_for,
    ),
    Sum(
        code="pressure-for-rate",
        group=Group.NOZZLES,
        title=gettext_noop("Pressure for a wanted rate"),
        asked=(
            PRESSURE,
            amount("gpa", gettext_noop("Rate at this pressure"), VOLUMES_PER_AREA),
            amount("wanted", gettext_noop("Rate you want"), VOLUMES_PER_AREA),
            amount("speed", gettext_noop("Speed now"), SPEEDS, needed=False),
            amount("new_speed", gettext_noop("Speed then, if it changes"), SPEEDS, needed=False),
        ),
        formula="P₂ = P₁ × [(GPA₂ × mph₂) ÷ (GPA₁ × mph₁)]²",
        source=ROOT_LAW,
        work=_both_speeds,
    ),
    Sum(
        code="flow-at-pressure",
        group=Group.NOZZLES,
        title=gettext_noop("Flow at another pressure"),
        asked=(FLOW, PRESSURE, amount("new_pressure", gettext_noop("Other pressure"), PRESSURES)),
        formula="gal/min₂ = gal/min₁ × √(P₂ ÷ P₁)",
        source=ROOT_LAW,
        work=_flow_at,
    ),
    Sum(
        code="denser-liquid",
        group=Group.NOZZLES,
        title=gettext_noop("Liquids heavier than water"),
        asked=(
            amount("flow", gettext_noop("Flow with water, or flow you want"), FLOWS),
            amount("density", gettext_noop("Density of the spray"), ("lb/gal", "kg/l", "g/l"), needed=False),
        ),
        formula="flow = flow of water ÷ √(density ÷ density of water)",
        source="square-root law from memory; density of water 8.345 lb/gal, Purdue (Whitford), in No-Till Farmer",
        work=_denser,
    ),
    Sum(
        code="wear",
        group=Group.NOZZLES,
        title=gettext_noop("Wear of a nozzle"),
        asked=(
            amount("flow", gettext_noop("Flow now"), FLOWS),
            amount("new_flow", gettext_noop("Flow of a new one"), FLOWS),
            amount("pressure", gettext_noop("Pressure now"), PRESSURES, needed=False),
            amount("new_pressure", gettext_noop("Pressure the new one is rated at"), PRESSURES, needed=False),
        ),
        formula="(flow now − flow new) ÷ flow new × 100",
        source=catch.WEAR_SOURCE,
        work=_wear,
    ),
    Sum(
        code="spread",
        group=Group.CALIBRATE,
        title=gettext_noop("Spread across the boom"),
        asked=(CATCHES, plain("seconds", gettext_noop("Seconds each cup was held"), start="60")),
        formula="(cup − average) ÷ average × 100",
        source=catch.SPREAD_SOURCE,
        work=_spread,
    ),
)
