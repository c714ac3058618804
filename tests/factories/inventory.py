"""The shed, stocked through its own services so that ledger and balances agree."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from apps.inventory import services
from apps.inventory.models import Lot
from apps.people.queries import Member
from apps.products.models import Product
from farmops import clock
from farmops.units import Quantity


def qty(amount: str, unit: str) -> Quantity:
    return Quantity(Decimal(amount), unit)


def stocked(
    member: Member,
    product: Product,
    amount: str = "2.5",
    unit: str = "gal",
    *,
    lot: str = "A1",
    expires_on: date | None = None,
    received_on: date = date(2026, 4, 1),
    now: datetime | None = None,
) -> Lot:
    """A delivered lot."""
    return services.receive_delivery(
        member=member,
        product_id=product.pk,
        lot_number=lot,
        quantity=qty(amount, unit),
        received_on=received_on,
        expires_on=expires_on,
        now=now or clock.now(),
    )
