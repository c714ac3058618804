"""How much product goes into a load, from the three ways in which labels state a rate.

A rate per acre, a rate per 100 gallons of spray and a share of the spray volume are three different
things; they meet only through the gallons per acre. No dose here is ever rounded upwards: where a
number has to be cut, the water makes up the difference, not the product.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.exact import Number, not_negative, percent, positive, to_decimal, to_decimal_down
from apps.equipment.rules.tank import LoadPlan
from apps.products.rules.codes import RateBasis
from farmops.errors import BadInput, gettext_noop
from farmops.units import Dimension, Quantity, factor, round_down


def dose(rate: Quantity, basis: RateBasis, *, gallons: Number, gpa: Number) -> Quantity:
    """Product for ``gallons`` of spray put on at ``gpa``; in the unit of the rate, gallons for % v/v.

    Per acre: gallons / GPA x rate (South Dakota State University Extension, "Pesticide Mixing and
    Sprayer Calibration Equations"). Per 100 gal: rate x gallons / 100. % v/v: % x gallons / 100.
    """
    spray = not_negative(gallons, "gallons")
    amount = Fraction(rate.amount)
    if basis is RateBasis.PER_ACRE:
        return Quantity(to_decimal_down(amount * spray / positive(gpa, "gpa")), rate.unit)
    if basis is RateBasis.PER_100_GAL:
        return Quantity(to_decimal_down(amount * spray / 100), rate.unit)
    if rate.unit != "%vv":
        raise BadInput({"unit": gettext_noop("A share of the spray volume is stated in % v/v.")})
    return Quantity(to_decimal_down(percent(amount, "rate") * spray), "gal")


def per_acre(rate: Quantity, basis: RateBasis, *, gpa: Number) -> Quantity:
    """The same rate stated per acre, for comparing it with a limit per acre."""
    return dose(rate, basis, gallons=gpa, gpa=gpa)


@dataclass(frozen=True, kw_only=True)
class ProductLoads:
    """One product over the loads of a job: exact, in one unit."""

    full: Quantity
    last: Quantity
    even: Quantity
    total: Quantity

    def measured(self, unit: str, places: int) -> ProductLoads:
        """In the measure at hand, every amount cut to ``places`` decimals and never rounded up."""
        cut = [Quantity(round_down(q.to(unit).amount, places), unit) for q in (self.full, self.last, self.even)]
        total = Quantity(round_down(self.total.to(unit).amount, places), unit)
        return ProductLoads(full=cut[0], last=cut[1], even=cut[2], total=total)


def product_loads(rate: Quantity, basis: RateBasis, plan: LoadPlan) -> ProductLoads:
    """Product per full load, in the last load, in each of even loads, and for the whole job."""

    def put(gallons: Decimal) -> Quantity:
        return dose(rate, basis, gallons=gallons, gpa=plan.gpa)

    return ProductLoads(
        full=put(plan.usable_gal), last=put(plan.last_gal), even=put(plan.even_gal), total=put(plan.total_gal)
    )


def water_gal(*, load_gal: Number, products: Iterable[Quantity]) -> Decimal:
    """Water for a load: its gallons less the volume of the liquid products in it.

    Labels state rates per acre, so product takes the place of water. A dry product counts no volume.
    """
    taken = sum(
        (Fraction(q.amount) * factor(q.unit, "gal") for q in products if q.dimension is Dimension.VOLUME),
        Fraction(0),
    )
    rest = positive(load_gal, "load_gal") - taken
    if rest < 0:
        raise BadInput({"load_gal": gettext_noop("The products alone are more than this load.")})
    return to_decimal(rest)


def ai_in_liquid_lb(*, product_gal: Number, ai_lb_per_gal: Number) -> Decimal:
    """Pounds of active ingredient in a liquid product (University of Missouri Extension G1272)."""
    return to_decimal(not_negative(product_gal, "product_gal") * positive(ai_lb_per_gal, "ai_lb_per_gal"))


def ai_in_dry_lb(*, product_lb: Number, ai_percent: Number) -> Decimal:
    """Pounds of active ingredient in a dry product."""
    return to_decimal(not_negative(product_lb, "product_lb") * percent(ai_percent, "ai_percent"))


def liquid_for_ai_gal(*, ai_lb: Number, ai_lb_per_gal: Number) -> Decimal:
    """Gallons of liquid product that hold ``ai_lb``."""
    return to_decimal_down(not_negative(ai_lb, "ai_lb") / positive(ai_lb_per_gal, "ai_lb_per_gal"))


def dry_for_ai_lb(*, ai_lb: Number, ai_percent: Number) -> Decimal:
    """Pounds of dry product that hold ``ai_lb``."""
    return to_decimal_down(not_negative(ai_lb, "ai_lb") / percent(ai_percent, "ai_percent"))


def content_lb_per_gal(*, density_lb_per_gal: Number, content_percent: Number) -> Decimal:
    """Pounds of an ingredient or nutrient in a gallon, from the density and the share by weight."""
    return to_decimal(positive(density_lb_per_gal, "density_lb_per_gal") * percent(content_percent, "content_percent"))
