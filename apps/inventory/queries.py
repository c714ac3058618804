"""Reading the shed: what is there to use, what runs out, the ledger, and whether it all adds up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Count, Q, QuerySet

from apps.inventory.models import LedgerLine, Lot, ProductStock
from apps.inventory.rules import (
    Move,
    Source,
    amount_words,
    days_left,
    expiry_step,
    in_stock_unit,
    short,
    stock_unit,
)
from apps.people.models import Farm
from apps.people.queries import one, person_ids_with
from apps.people.rules import Role
from apps.products.models import LabelVersion, Product
from apps.products.queries import label_in_force, labels_in_force, today
from apps.products.rules import Label
from apps.reminders.rules import Due, Level, register
from apps.reminders.rules.timing import next_midnight
from farmops.errors import Finding, gettext_noop
from farmops.units import Dimension, Quantity, dimension_of

LOT_EXPIRING = register("lot_expiring", Level.INFORMATION)
ZERO = Decimal(0)
PACE_DAYS = 56
"""The pace at which a product is used is that of the last eight weeks (project rule)."""


@dataclass(frozen=True, kw_only=True)
class StockRow:
    """One product on the shed list. ``available`` is below zero when more is promised than is there."""

    product_id: int
    product_name: str
    is_demo: bool
    unit: str
    on_hand: Decimal
    reserved: Decimal
    available: Decimal
    soonest_expiry: date | None
    days_left: int | None


@dataclass(frozen=True, kw_only=True)
class Difference:
    """A balance that is not the sum of its ledger lines."""

    subject: str
    what: str
    kept: Decimal
    derived: Decimal


def stocks(farm: Farm) -> QuerySet[ProductStock]:
    return ProductStock.objects.for_farm(farm).select_related("product", "farm").order_by("product__name")


def stock_of(farm: Farm, product_id: int) -> ProductStock:
    return one(stocks(farm).filter(product=product_id))


def lots(farm: Farm) -> QuerySet[Lot]:
    return Lot.objects.for_farm(farm).select_related("product", "product__stock", "farm").order_by("-id")


def supplied(farm: Farm) -> frozenset[int]:
    """Products of which there are lots, and every lot says who delivered it. One query."""
    named = Lot.objects.for_farm(farm).values("product_id").annotate(silent=Count("pk", filter=Q(supplier="")))
    return frozenset(row["product_id"] for row in named if not row["silent"])


def lot_in(farm: Farm, lot_id: int) -> Lot:
    return one(lots(farm).filter(pk=lot_id))


def ledger(farm: Farm) -> QuerySet[LedgerLine]:
    """Every movement, newest first."""
    return LedgerLine.objects.for_farm(farm).select_related("product", "lot", "by").order_by("-id")


# ---- labels: which unit, which density -----------------------------------------------------


def _facts(version: LabelVersion | None) -> Label | None:
    return version.facts if version else None


def _unit_on(label: Label | None) -> str | None:
    """The stock unit of the label's rates: pounds for a dry product, gallons for a liquid."""
    units = [use.rate_unit for use in label.uses] if label else []
    measured = [u for u in units if dimension_of(u) in (Dimension.VOLUME, Dimension.MASS)]
    return stock_unit(measured[0]) if measured else ("gal" if units else None)


def label_unit(product: Product, on_date: date) -> str | None:
    """The unit the label in force suggests for stock; ``None`` without a label."""
    return _unit_on(_facts(label_in_force(product, on_date)))


def density(product: Product, on_date: date) -> Decimal | None:
    """Pounds per gallon as the label in force states it."""
    label = _facts(label_in_force(product, on_date))
    return label.density_lb_per_gal if label else None


# ---- balances ------------------------------------------------------------------------------


def reserved_for(farm: Farm, source: Source | tuple[str, Any]) -> dict[int, Decimal]:
    """Product id -> what is still promised to ``source``, in the product's stock unit."""
    found: dict[int, Decimal] = defaultdict(lambda: ZERO)
    mine = LedgerLine.objects.for_farm(farm).filter(source_type=str(source[0]), source_id=str(source[1]))
    for product_id, change in mine.values_list("product_id", "reserved_change"):
        found[product_id] += change
    return {product_id: amount for product_id, amount in found.items() if amount > 0}


def available(
    farm: Farm, product_ids: Collection[int], source: Source | tuple[str, Any] | None = None
) -> dict[int, Quantity]:
    """Product id -> on hand minus reserved, in gal or lb, for every product asked about; constant queries.

    What is reserved for ``source`` itself counts as available to it. Below zero when more is
    promised than is there. A product the shed never held has zero, in the unit of its newest checked label.
    """
    own = reserved_for(farm, source) if source else {}
    rows = {row.product_id: row for row in stocks(farm).filter(product__in=product_ids)}
    missing = [i for i in product_ids if i not in rows]
    labels = labels_in_force(farm, missing, date.max) if missing else {}
    found = {i: Quantity(row.on_hand - row.reserved + own.get(i, ZERO), row.unit) for i, row in rows.items()}
    return found | {i: Quantity(ZERO, _unit_on(_facts(labels.get(i))) or "gal") for i in missing}


def shortages(
    farm: Farm, needs: Mapping[int, Quantity], on_date: date, source: Source | tuple[str, Any] | None = None
) -> list[Finding]:
    """A ``stock_short`` finding for each product of which less is available than needed; constant queries.

    Liquid against weight is compared through the density on the label in force; ``BadInput`` without one.
    """
    have = available(farm, needs, source)
    names = dict(Product.objects.for_farm(farm).filter(pk__in=needs).values_list("pk", "name"))
    labels = labels_in_force(farm, needs, on_date)
    found = []
    for product_id, quantity in needs.items():
        free, label = have[product_id], _facts(labels.get(product_id))
        lb_per_gal = label.density_lb_per_gal if label else None
        needed = in_stock_unit(quantity, free.unit, lb_per_gal, field="unit")
        if needed > free.amount:
            found.append(short(names[product_id], free.unit, needed=needed, available=free.amount))
    return found


def shed(farm: Farm, now: datetime) -> list[StockRow]:
    """Every product of the shed, what runs out first on top; three queries.

    First what is overpromised or gone, then by days left at the pace of the last eight weeks,
    then by the soonest expiry.
    """
    expiry: dict[int, date] = {}
    for lot in Lot.objects.for_farm(farm).filter(on_hand__gt=0, expires_on__isnull=False).order_by("-expires_on"):
        expiry[lot.product_id] = lot.expires_on
    drawn = _drawn(farm, now)
    rows = [_row(stock, expiry.get(stock.product_id), drawn[stock.product_id]) for stock in stocks(farm)]
    far = 10**6
    return sorted(
        rows,
        key=lambda r: (far if r.days_left is None else r.days_left, r.soonest_expiry or date.max, r.product_name),
    )


def stock_row(farm: Farm, product_id: int, now: datetime) -> StockRow:
    """One product's line of the shed list; ``Unknown`` when the shed never held it."""
    stock = stock_of(farm, product_id)
    left = lots(farm).filter(product=product_id, on_hand__gt=0, expires_on__isnull=False).order_by("expires_on").first()
    return _row(stock, left.expires_on if left else None, _drawn(farm, now)[product_id])


def _drawn(farm: Farm, now: datetime) -> dict[int, Decimal]:
    found: dict[int, Decimal] = defaultdict(lambda: ZERO)
    since = now - timedelta(days=PACE_DAYS)
    recent = LedgerLine.objects.for_farm(farm).filter(kind=Move.DRAW.value, at__gt=since, at__lte=now)
    for product_id, change in recent.values_list("product_id", "on_hand_change"):
        found[product_id] -= change
    return found


def _row(stock: ProductStock, soonest: date | None, drawn: Decimal) -> StockRow:
    free = stock.on_hand - stock.reserved
    return StockRow(
        product_id=stock.product_id,
        product_name=stock.product.name,
        is_demo=stock.product.is_demo,
        unit=stock.unit,
        on_hand=stock.on_hand,
        reserved=stock.reserved,
        available=free,
        soonest_expiry=soonest,
        days_left=days_left(free, drawn, PACE_DAYS),
    )


def promises(farm: Farm, product_id: int) -> list[tuple[Source, Decimal]]:
    """What is still promised of a product, and to what, oldest first."""
    found: dict[Source, Decimal] = defaultdict(lambda: ZERO)
    lines = LedgerLine.objects.for_farm(farm).filter(product=product_id).exclude(reserved_change=0).order_by("id")
    for kind, key, change in lines.values_list("source_type", "source_id", "reserved_change"):
        found[Source(kind, key)] += change
    return [(source, amount) for source, amount in found.items() if amount]


# ---- does it add up? -----------------------------------------------------------------------


def rebuild_balances(farm: Farm) -> list[Difference]:
    """Every balance summed again from the ledger; what does not agree. Empty = all is in order."""
    on_hand: dict[tuple[int, str], Decimal] = defaultdict(lambda: ZERO)
    reserved: dict[tuple[int, str], Decimal] = defaultdict(lambda: ZERO)
    by_lot: dict[int | None, Decimal] = defaultdict(lambda: ZERO)
    lines = LedgerLine.objects.for_farm(farm).values_list(
        "product_id", "lot_id", "unit", "on_hand_change", "reserved_change"
    )
    for product_id, lot_id, unit, change, promised in lines.iterator():
        on_hand[product_id, unit] += change
        reserved[product_id, unit] += promised
        by_lot[lot_id] += change
    pairs = [(f"lot {lot.lot_number} of {lot.product}", "on hand", lot.on_hand, by_lot[lot.pk]) for lot in lots(farm)]
    for row in stocks(farm):
        key = (row.product_id, row.unit)
        pairs.append((str(row), "on hand", row.on_hand, on_hand.pop(key, ZERO)))
        pairs.append((str(row), "reserved", row.reserved, reserved.pop(key, ZERO)))
    for what, left in (("on hand", on_hand), ("reserved", reserved)):  # in a unit that is no longer kept
        pairs += [(f"product {i} in {unit}", what, ZERO, total) for (i, unit), total in left.items()]
    return [Difference(subject=s, what=w, kept=k, derived=d) for s, w, k, d in pairs if k != d]


def drawn_for(farm: Farm, source: Source | tuple[str, Any], product_id: int) -> dict[int, Decimal]:
    """lot id -> what ``source`` has taken from it and not brought back, in the stock unit; last taken first."""
    lines = LedgerLine.objects.for_farm(farm).filter(
        source_type=str(source[0]), source_id=str(source[1]), product=product_id, lot__isnull=False
    )
    found: dict[int, Decimal] = {}
    for lot_id, change in lines.order_by("-id").values_list("lot_id", "on_hand_change"):
        found[lot_id] = found.get(lot_id, ZERO) - change
    return {lot_id: amount for lot_id, amount in found.items() if amount > 0}


# ---- what is coming due --------------------------------------------------------------------


def next_due(farm: Farm, now: datetime) -> datetime:
    """When time alone may change ``due``: with the farm's date."""
    return next_midnight(now, farm.time_zone)


def due(farm: Farm, now: datetime) -> list[Due]:
    """Lots with something left that expire within 30 or 7 days, or have expired."""
    here = today(farm, now)
    soon = lots(farm).filter(on_hand__gt=0, expires_on__lte=here + timedelta(days=30)).order_by("expires_on", "id")
    managers = person_ids_with(farm, Role.MANAGER)
    return [_expiring(farm, lot, here, managers) for lot in soon]


def _expiring(farm: Farm, lot: Lot, here: date, managers: list[int]) -> Due:
    over = lot.expires_on < here
    template = (
        gettext_noop("Lot {lot} of {product} expired on {date}; {left} is left.")
        if over
        else gettext_noop("Lot {lot} of {product} expires on {date}; {left} is left.")
    )
    return Due(
        kind=LOT_EXPIRING,
        subject_type="lot",
        subject_id=lot.pk,
        occasion=f"{lot.expires_on} at {expiry_step(lot.expires_on, here)} days",
        person_ids=managers,
        template=template,
        numbers={
            "lot": lot.lot_number,
            "product": lot.product.name,
            "date": lot.expires_on,
            "left": amount_words(lot.on_hand, lot.product.stock.unit),
        },
        path=f"/f/{farm.slug}/shed/{lot.product_id}/",
        at=lot.expires_on,
    )
