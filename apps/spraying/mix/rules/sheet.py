"""The mix sheet: what goes into each load of a job, to the ounce, and the steps of filling it.

Doses are cut, never rounded up; the water makes up the difference. A load is filled to a mark that is rounded up to
a whole gallon (but never over the usable tank), so that the spray is at most as strong as planned.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.doses import dose, water_gal
from apps.equipment.rules.exact import to_decimal
from apps.equipment.rules.tank import LoadPlan
from apps.spraying.mix.rules.measures import Measure, measure
from apps.spraying.mix.rules.order import Placed, TankLine, in_order
from farmops.errors import BadInput, gettext_noop
from farmops.units import Dimension, Quantity

_HAIR = Fraction(1, 10**9)
JAR_GAL = Fraction(1, 8)  # a pint of the water that will be used


@dataclass(frozen=True, kw_only=True)
class Portion:
    """One product in one load."""

    product_id: int
    name: str
    measure: Measure


@dataclass(frozen=True, kw_only=True)
class Load:
    """One filling. ``mix_gal`` is what the acres take, ``mark_gal`` where the tank is filled to."""

    number: int
    acres: Decimal
    mix_gal: Decimal
    mark_gal: Decimal
    first_water_gal: Decimal
    last_water_gal: Decimal
    portions: tuple[Portion, ...]

    @property
    def spare_gal(self) -> Decimal:
        """What the rounded mark holds beyond the acres."""
        return self.mark_gal - self.mix_gal


@dataclass(frozen=True, kw_only=True)
class Total:
    """One product over all loads as it is measured out; ``planned`` is what the acres would take uncut."""

    product_id: int
    name: str
    measured: Quantity
    planned: Quantity


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """The loads of a job, products in the order of filling."""

    plan: LoadPlan
    even: bool
    order: tuple[Placed, ...]
    loads: tuple[Load, ...]
    totals: tuple[Total, ...]

    @property
    def digest(self) -> str:
        """Names exactly this sheet; a tick carries it, so that a changed sheet is noticed."""
        said = [
            f"{load.number}:{load.mark_gal}:{p.product_id}:{p.measure}" for load in self.loads for p in load.portions
        ]
        return hashlib.sha256("|".join(said).encode()).hexdigest()[:16]

    def steps(self) -> tuple[tuple[int, str], ...]:
        """Every step that can be ticked, as (load, code); load 0 is before the first and after the last."""
        before = [(0, code) for code in BEFORE if code != "jar_test" or len(self.order) > 1]
        filling = [(load.number, code) for load in self.loads for code in self.filling()]
        return (*before, *filling, *((0, code) for code in AFTER))

    def filling(self) -> tuple[str, ...]:
        """The steps of one load."""
        return ("water_first", *(product_code(p.line.product_id) for p in self.order), "rinse", "water_last")


BEFORE = ("label_read", "wear", "water_tested", "jar_test", "posted")
AFTER = ("sprayer_rinsed", "containers", "washed")


def product_code(product_id: int) -> str:
    """The step that puts a product in."""
    return f"product-{product_id}"


def sheet(lines: Sequence[TankLine], plan: LoadPlan, *, even: bool = False) -> Sheet:
    """The sheet for a load plan; with ``even`` every load is alike. ``BadInput`` where no sheet can be right."""
    order = in_order(lines)
    if not order:
        raise BadInput({"products": gettext_noop("Name at least one product.")})
    gallons = [Fraction(plan.total_gal) / plan.loads] * plan.loads if even else list(map(Fraction, plan.load_gallons))
    loads = tuple(_load(number, gal, order, plan) for number, gal in enumerate(gallons, start=1))
    totals = tuple(_total(place, row, loads, plan) for place, row in enumerate(order))
    return Sheet(plan=plan, even=even, order=order, loads=loads, totals=totals)


def _load(number: int, gallons: Fraction, order: Sequence[Placed], plan: LoadPlan) -> Load:
    portions = tuple(_portion(row.line, gallons, plan) for row in order)
    mark = min(Fraction(math.ceil(gallons - _HAIR)), Fraction(plan.usable_gal))
    room = Fraction(water_gal(load_gal=mark, products=[p.measure.exact for p in portions if _liquid(p)]))
    first = min(Fraction(math.ceil(mark / 2)), Fraction(math.floor(room)))
    return Load(
        number=number,
        acres=to_decimal(gallons / Fraction(plan.gpa)),
        mix_gal=to_decimal(gallons),
        mark_gal=to_decimal(mark),
        first_water_gal=to_decimal(first),
        last_water_gal=to_decimal(room - first),
        portions=portions,
    )


def _liquid(portion: Portion) -> bool:
    return portion.measure.exact.dimension is Dimension.VOLUME


def _portion(line: TankLine, gallons: Fraction, plan: LoadPlan) -> Portion:
    put = dose(line.rate, line.basis, gallons=gallons, gpa=plan.gpa)
    return Portion(product_id=line.product_id, name=line.name, measure=measure(put))


def _total(place: int, row: Placed, loads: Sequence[Load], plan: LoadPlan) -> Total:
    portions = [load.portions[place].measure.exact for load in loads]
    measured = sum((p.amount for p in portions), Decimal(0))
    planned = dose(row.line.rate, row.line.basis, gallons=plan.total_gal, gpa=plan.gpa)
    return Total(
        product_id=row.line.product_id,
        name=row.line.name,
        measured=Quantity(measured, portions[0].unit),
        planned=planned,
    )


def jar(line: TankLine, plan: LoadPlan) -> Quantity:
    """The product for a pint of water in a jar, as strong as the tank: mL, or g of a dry product."""
    put = dose(line.rate, line.basis, gallons=JAR_GAL, gpa=plan.gpa)
    return put.to("ml" if put.dimension is Dimension.VOLUME else "g")
