"""How a job is mixed: loads, gallons, and product per load, from the sprayer arithmetic."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from apps.equipment.rules import LoadPlan, loads, product_loads
from apps.equipment.rules.calibration import SprayerFacts
from apps.products.rules import RateBasis
from apps.spraying.history import treated_acres
from apps.spraying.models import Job, JobProduct
from apps.spraying.rules.outcome import achieved_gpa
from farmops.errors import BadInput
from farmops.units import Quantity, round_down

PLACES = 3


@dataclass(frozen=True, kw_only=True)
class MixProduct:
    """One product over the loads; amounts cut to three decimals, never rounded up."""

    product_id: int
    product: str
    per_full_load: Quantity
    last_load: Quantity
    total: Quantity


@dataclass(frozen=True, kw_only=True)
class Mix:
    """The mix of a job. ``last_load_gal`` is a full load when the job comes out even."""

    acres: Decimal
    spray_gpa: Decimal
    plan: LoadPlan
    products: tuple[MixProduct, ...]

    @property
    def loads(self) -> int:
        return self.plan.loads

    @property
    def full_load_gal(self) -> Decimal:
        """Gallons of a full load; the only load may be smaller than the tank."""
        return self.plan.usable_gal if self.plan.full_loads else self.plan.last_gal


def mix_of(job: Job, sprayer: SprayerFacts) -> Mix | None:
    """The mix for the job's planned acres; ``None`` when it cannot be worked out (an absurd tank or rate)."""
    acres = sum((row.planned_acres for row in job.job_blocks.all()), start=Decimal(0))
    try:
        plan = loads(acres=acres, gpa=job.spray_gpa, usable_gal=sprayer.usable_gal)
        products = tuple(_product(row, plan) for row in job.job_products.all())
    except BadInput:
        return None
    return Mix(acres=acres, spray_gpa=job.spray_gpa, plan=plan, products=products)


def _product(row: JobProduct, plan: LoadPlan) -> MixProduct:
    rate = Quantity(row.rate_amount, row.rate_unit)
    each = product_loads(rate, RateBasis(row.rate_basis), plan)
    return MixProduct(
        product_id=row.product_id,
        product=row.product.name,
        per_full_load=_cut(each.full if plan.full_loads else each.last),
        last_load=_cut(each.last),
        total=_cut(each.total),
    )


def _cut(amount: Quantity) -> Quantity:
    return Quantity(round_down(amount.amount, PLACES), amount.unit)


def achieved_volume(job: Job) -> Decimal | None:
    """Gallons per acre really put on, where gallons and acres were reported."""
    acres = treated_acres(job.job_blocks.all())
    return None if job.sprayed_gal is None or acres <= 0 else achieved_gpa(job.sprayed_gal, acres)
