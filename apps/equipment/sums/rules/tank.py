"""Sums of loads, field time, pump and rinse water."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from apps.equipment.rules import field_time, pump, tank
from apps.equipment.sums.rules.ask import (
    ACRES,
    FLOWS,
    GALLONS,
    GPA,
    LENGTHS,
    PRESSURES,
    SPEED,
    SWATH,
    TIMES,
    USABLE,
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
from farmops.errors import Finding, Severity, gettext_noop
from farmops.units import show

TANK_SOURCE = "Montana State University Extension MT 2000-14, formulas 4 to 7"
MIN = ("min", *(unit for unit in TIMES if unit != "min"))
V = Mapping[str, Any]


def _loads(v: V) -> Worked:
    tank.must_hold_an_acre(usable_gal=v["usable"], gpa=v["gpa"], acres=v["area"])
    plan = tank.loads(acres=v["area"], gpa=v["gpa"], usable_gal=v["usable"])
    whole = {"loads": gettext_noop("Loads"), "refills": gettext_noop("Refills during the job")}
    gallons = {
        "total_gal": gettext_noop("Spray in all"),
        "last_gal": gettext_noop("Last load"),
        "even_gal": gettext_noop("Each load, if all are alike"),
    }
    acres = {
        "acres_per_tank": gettext_noop("Acres a full tank covers"),
        "last_acres": gettext_noop("Acres of the last load"),
    }
    results = (
        *(Result(code=c, label=w, amount=Decimal(getattr(plan, c)), places=0) for c, w in whole.items()),
        *(Result(code=c, label=w, amount=getattr(plan, c), unit="gal", places=2) for c, w in gallons.items()),
        *(Result(code=c, label=w, amount=getattr(plan, c), unit="ac", places=4) for c, w in acres.items()),
    )
    total = f"{show(plan.acres)} ac × {show(plan.gpa)} gal/ac = {show(plan.total_gal)} gal"
    return Worked(results=results, working=f"{total}; ÷ {show(plan.usable_gal)} gal = {plan.loads}")


def _rinse(v: V) -> Worked:
    each = tank.rinse_water_gal(container_gal=v["container"], containers=v["containers"])
    label = gettext_noop("Rinse water, counted into the load")
    working = f"3 × ¼ × {show(v['container'])} gal × {v['containers']} = {show(each, 2)} gal"
    return Worked(results=metric("rinse_gal", label, each, "gal", "l", 2), working=working)


def _reach(v: V) -> Worked:
    feet = tank.feet_per_tank(usable_gal=v["usable"], gpa=v["gpa"], swath_ft=v["swath"])
    results = [Result(code="feet", label=gettext_noop("Feet of pass a tank covers"), amount=feet, unit="ft", places=0)]
    if v["flow"] is not None:
        minutes = tank.minutes_per_tank(usable_gal=v["usable"], total_gpm=v["flow"])
        label = gettext_noop("Spraying until it is empty")
        results.append(Result(code="minutes", label=label, amount=minutes, unit="min", places=1))
    working = f"{show(v['usable'])} ÷ {show(v['gpa'])} × 43,560 ÷ {show(v['swath'])} = {show(feet, 0)} ft"
    return Worked(results=tuple(results), working=working)


def _field_time(v: V) -> Worked:
    found = field_time.field_time(
        acres=v["area"],
        speed_mph=v["speed"],
        swath_ft=v["swath"],
        row_ft=v["row"],
        turn_seconds=v["turn"],
        refills=v["refills"],
        fill_minutes=v["fill"] or Decimal(0),
        travel_minutes=v["travel"] or Decimal(0),
    )
    minutes = {
        "spraying_min": gettext_noop("Spraying"),
        "turning_min": gettext_noop("Turning"),
        "filling_min": gettext_noop("Filling"),
        "total_min": gettext_noop("In all"),
    }
    parts = ("spraying_min", "turning_min", "filling_min", "travel_min")
    working = " + ".join(show(getattr(found, part), 1) for part in parts)
    return Worked(
        results=(
            Result(code="passes", label=gettext_noop("Passes"), amount=Decimal(found.passes), places=0),
            *(Result(code=c, label=w, amount=getattr(found, c), unit="min", places=1) for c, w in minutes.items()),
            Result(
                code="efficiency_percent",
                label=gettext_noop("Part of the time that is spraying, %"),
                amount=found.efficiency_percent,
                places=1,
            ),
        ),
        working=f"{working} = {show(found.total_min, 1)} min",
    )


def _work_rate(v: V) -> Worked:
    found = field_time.acres_per_hour(speed_mph=v["speed"], swath_ft=v["swath"], efficiency_percent=v["efficiency"])
    result = Result(code="acres_per_hour", label=gettext_noop("Acres in an hour"), amount=found, places=2)
    working = f"{show(v['speed'])} × {show(v['swath'])} ÷ 8.25 × {show(v['efficiency'])} % = {show(found, 2)}"
    return Worked(results=(result,), working=working)


def _pump(v: V) -> Worked:
    agitation = pump.agitation_flow(tank=v["tank"], percent_per_minute=v["agitation"])
    needed = pump.pump_gpm_needed(boom_gpm=v["boom"], agitation_gpm=agitation, reserve_percent=v["reserve"])
    results = [
        Result(code="agitation_gpm", label=gettext_noop("Agitation"), amount=agitation, unit="gpm", places=2),
        Result(code="needed_gpm", label=gettext_noop("Pump must give"), amount=needed, unit="gpm", places=2),
    ]
    if v["pressure"] is not None:
        power = pump.horsepower(gpm=needed, pressure_psi=v["pressure"])
        results.append(Result(code="hp", label=gettext_noop("Power, hp, before losses"), amount=power, places=2))
    working = f"({show(v['boom'])} + {show(agitation)}) × (1 + {show(v['reserve'])} %) = {show(needed, 2)} gal/min"
    return Worked(results=tuple(results), working=working, findings=_short(v["have"], needed))


def _short(have: Decimal | None, needed: Decimal) -> tuple[Finding, ...]:
    if have is None or have >= needed:
        return ()
    numbers = {"have": f"{show(have, 2)} gal/min", "needed": f"{show(needed, 2)} gal/min"}
    template = gettext_noop("The pump gives {have}, {needed} are needed: agitation will be weak or pressure will fall.")
    return (
        Finding(
            code="pump_short",
            severity=Severity.JUSTIFY,
            template=template,
            numbers=numbers,
            source="common practice, no source",
            field="have",
        ),
    )


SUMS = (
    Sum(
        code="loads",
        group=Group.LOADS,
        title=gettext_noop("Loads of a job"),
        asked=(ACRES, GPA, USABLE),
        formula="loads = ac × GPA ÷ usable gallons, rounded up",
        source=TANK_SOURCE,
        work=_loads,
    ),
    Sum(
        code="rinse-water",
        group=Group.LOADS,
        title=gettext_noop("Rinse water of empty containers"),
        asked=(
            amount("container", gettext_noop("Size of a container"), GALLONS),
            Asked(name="containers", label=gettext_noop("How many"), kind=Kind.WHOLE, start="1"),
        ),
        formula="3 rinses × a quarter of the container",
        source="EPA farm library, triple rinse; label wording of 40 CFR 156.146 from memory",
        work=_rinse,
    ),
    Sum(
        code="tank-reach",
        group=Group.LOADS,
        title=gettext_noop("How far a tank goes"),
        asked=(
            USABLE,
            GPA,
            SWATH,
            amount("flow", gettext_noop("Flow of the whole boom"), FLOWS, needed=False),
        ),
        formula="ft = gal ÷ GPA × 43,560 ÷ ft of swath",
        source="plain geometry",
        work=_reach,
    ),
    Sum(
        code="field-time",
        group=Group.LOADS,
        title=gettext_noop("Time for a field with turns and refills"),
        asked=(
            ACRES,
            SPEED,
            SWATH,
            amount("row", gettext_noop("Length of the rows"), LENGTHS),
            amount("turn", gettext_noop("Time of a turn"), TIMES, zero=True),
            Asked(name="refills", label=gettext_noop("Refills"), kind=Kind.WHOLE, zero=True, start="0"),
            amount("fill", gettext_noop("Time of a refill"), MIN, needed=False, zero=True),
            amount("travel", gettext_noop("Travel"), MIN, needed=False, zero=True),
        ),
        formula="ac × 43,560 ÷ ft ÷ (mph × 88) + turns + refills + travel",
        source="plain geometry",
        work=_field_time,
    ),
    Sum(
        code="work-rate",
        group=Group.LOADS,
        title=gettext_noop("Acres in an hour"),
        asked=(SPEED, SWATH, plain("efficiency", gettext_noop("Field efficiency, %"), start="65")),
        formula="ac/h = mph × ft ÷ 8.25 × efficiency",
        source="Iowa State University Extension PM 696",
        work=_work_rate,
    ),
    Sum(
        code="pump",
        group=Group.LOADS,
        title=gettext_noop("Pump and agitation"),
        asked=(
            amount("boom", gettext_noop("Flow of the whole boom"), FLOWS),
            amount("tank", gettext_noop("Tank"), GALLONS),
            plain("agitation", gettext_noop("Tank turned over in a minute, %"), start=str(pump.AGITATION_PERCENT)),
            plain("reserve", gettext_noop("Reserve, %"), zero=True, start=str(pump.RESERVE_PERCENT)),
            amount("pressure", gettext_noop("Pressure"), PRESSURES, needed=False),
            amount("have", gettext_noop("Your pump gives"), FLOWS, needed=False),
        ),
        formula="(boom + tank × 5 %) × 1.2; hp = gal/min × psi ÷ 1714",
        source="common practice, no source; GRDC (Australia) says 2 to 3 % a minute",
        work=_pump,
    ),
)
