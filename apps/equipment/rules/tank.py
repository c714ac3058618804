"""How many loads a job takes, how large the last one is, and how far a tank goes.

Standard tank arithmetic (Montana State University Extension MT 2000-14, formulas 4 to 7). All in
exact fractions, so 380 gallons in a 190 gallon tank are two loads and never three.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.exact import Number, positive, to_decimal, to_decimal_down
from apps.equipment.rules.flow import SQFT_PER_ACRE
from farmops.errors import BadInput, gettext_noop
from farmops.units import show

# A measured rate carries 28 digits, so an exact ratio can miss by its last digit. Less than a
# thousand-millionth of a load is no load.
_HAIR = Fraction(1, 10**9)
MOST_LOADS = 1000


@dataclass(frozen=True, kw_only=True)
class LoadPlan:
    """The loads of one job. ``part_gal`` is 0 when every load is full; ``last_gal`` is the last load either way."""

    acres: Decimal
    gpa: Decimal
    usable_gal: Decimal
    total_gal: Decimal
    loads: int
    full_loads: int
    part_gal: Decimal
    last_gal: Decimal
    even_gal: Decimal
    acres_per_tank: Decimal
    last_acres: Decimal
    even_acres: Decimal

    @property
    def refills(self) -> int:
        """Fillings during the job: the first load is mixed before it starts."""
        return self.loads - 1

    @property
    def load_gallons(self) -> tuple[Decimal, ...]:
        """Gallons of each load in order, full loads first."""
        part = (self.part_gal,) if self.part_gal else ()
        return (self.usable_gal,) * self.full_loads + part


def loads(*, acres: Number, gpa: Number, usable_gal: Number) -> LoadPlan:
    """The load plan for ``acres`` treated acres at ``gpa`` from a tank with ``usable_gal`` usable gallons.

    Raises ``BadInput`` on the field that is zero or negative, and on ``usable_gal`` when more than a
    thousand loads would be needed (a tank typed in the wrong unit).
    """
    area, rate = positive(acres, "acres"), positive(gpa, "gpa")
    tank = positive(usable_gal, "usable_gal")
    total = area * rate
    count = max(1, math.ceil(total / tank - _HAIR))
    if count > MOST_LOADS:
        raise BadInput(
            {"usable_gal": gettext_noop("This would take more than 1000 loads. Check acres, rate and tank.")}
        )
    full = min(count, math.floor(total / tank + _HAIR))
    part = total - full * tank if full < count else Fraction(0)
    last = part or tank
    return LoadPlan(
        acres=to_decimal(area),
        gpa=to_decimal(rate),
        usable_gal=to_decimal(tank),
        total_gal=to_decimal(total),
        loads=count,
        full_loads=full,
        part_gal=to_decimal(part),
        last_gal=to_decimal(last),
        even_gal=to_decimal_down(total / count),
        acres_per_tank=to_decimal(tank / rate),
        last_acres=to_decimal(last / rate),
        even_acres=to_decimal(area / count),
    )


def acres_per_tank(*, usable_gal: Number, gpa: Number) -> Decimal:
    """Acres one tank covers."""
    return to_decimal(positive(usable_gal, "usable_gal") / positive(gpa, "gpa"))


def feet_per_tank(*, usable_gal: Number, gpa: Number, swath_ft: Number) -> Decimal:
    """Feet of pass one tank covers."""
    covered = positive(usable_gal, "usable_gal") / positive(gpa, "gpa") * SQFT_PER_ACRE
    return to_decimal(covered / positive(swath_ft, "swath_ft"))


def minutes_per_tank(*, usable_gal: Number, total_gpm: Number) -> Decimal:
    """Minutes of spraying until the tank is empty."""
    return to_decimal(positive(usable_gal, "usable_gal") / positive(total_gpm, "total_gpm"))


def must_hold_an_acre(*, usable_gal: Number, gpa: Number, acres: Number) -> None:
    """``BadInput`` on ``usable_gal`` when a tank for an acre or more holds less than one acre takes.

    Then somebody most likely typed a wrong unit, rate or tank (project rule); spots below an acre may be that small.
    """
    if positive(acres, "acres") >= 1 and positive(usable_gal, "usable_gal") < positive(gpa, "gpa"):
        said = (
            f"The tank holds less than one acre takes ({show(to_decimal(Fraction(gpa)), 2)} gal). Check tank and rate."
        )
        raise BadInput({"usable_gal": said})


RINSES = 3
RINSE_SHARE = Fraction(1, 4)  # of the container, each time: EPA farm library, triple rinse (20 to 25 %)


def rinse_water_gal(*, container_gal: Number, containers: int = 1) -> Decimal:
    """Water of the triple rinse of emptied containers. It goes into the tank before the last water and counts."""
    rinsed = positive(container_gal, "container_gal") * positive(containers, "containers")
    return to_decimal(rinsed * RINSES * RINSE_SHARE)
