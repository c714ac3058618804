"""What the shed holds against what open jobs need."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal

from apps.dashboard.rules import StockFacts
from apps.inventory import queries as shed
from apps.inventory.rules import in_stock_unit, stock_unit
from apps.people.models import Farm
from apps.products.queries import labels_in_force, today
from apps.spraying import queries as spraying
from apps.spraying.history import planned_rate
from apps.spraying.rules.outcome import product_needed
from apps.spraying.rules.states import JobState
from farmops.errors import BadInput
from farmops.units import Quantity

ZERO = Decimal(0)


def stock_facts(farm: Farm, now: datetime) -> list[StockFacts]:
    """Every product in the shed or in a draft job whose window is not over; the query count is constant."""
    needs, names = _drafts(farm, now)
    rows = {row.product_id: row for row in shed.stocks(farm)}
    labels = labels_in_force(farm, list(needs), today(farm, now)) if needs else {}
    density = {product_id: version.facts.density_lb_per_gal for product_id, version in labels.items()}
    found = [
        StockFacts(
            product=row.product.name,
            unit=row.unit,
            on_hand=row.on_hand,
            promised=row.reserved,
            drafts=_in_unit(needs.get(product_id, ()), row.unit, density.get(product_id)),
        )
        for product_id, row in rows.items()
    ]
    return found + _not_held(needs, names, rows, density)


def _drafts(farm: Farm, now: datetime) -> tuple[dict[int, list[Quantity | None]], dict[int, str]]:
    """product id -> what each draft needs (``None`` = cannot be told); product id -> name."""
    needs: dict[int, list[Quantity | None]] = {}
    names: dict[int, str] = {}
    for job in spraying.jobs(farm).filter(state=JobState.DRAFT, window_ends_at__gt=now):
        acres = sum((b.planned_acres for b in job.job_blocks.all()), start=ZERO)
        for row in job.job_products.all():
            needed = product_needed(planned_rate(row), acres=acres, spray_gpa=job.spray_gpa)
            needs.setdefault(row.product_id, []).append(needed)
            names[row.product_id] = row.product.name
    return needs, names


def _in_unit(needed: Sequence[Quantity | None], unit: str, density: Decimal | None) -> Decimal | None:
    """Everything together in the shed's unit; ``None`` when one of them cannot be counted in it."""
    total = ZERO
    for quantity in needed:
        if quantity is None:
            return None
        try:
            total += in_stock_unit(quantity, unit, density, field="products")
        except BadInput:
            return None
    return total


def _not_held(
    needs: Mapping[int, Sequence[Quantity | None]],
    names: Mapping[int, str],
    held: Mapping[int, object],
    density: Mapping[int, Decimal | None],
) -> list[StockFacts]:
    """Products that a draft needs and the shed never had: nothing is on hand."""
    found = []
    for product_id, needed in needs.items():
        if product_id in held:
            continue
        first = next((q for q in needed if q is not None), None)
        unit = stock_unit(first.unit) if first is not None else "gal"
        drafts = _in_unit(needed, unit, density.get(product_id))
        found.append(StockFacts(product=names[product_id], unit=unit, on_hand=ZERO, promised=ZERO, drafts=drafts))
    return found
