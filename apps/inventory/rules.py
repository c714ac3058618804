"""The shed's arithmetic: stock units, what is short, which lot goes first, when a lot expires.

Amounts of stock are kept in one unit per product, gallons or pounds, to nine decimals: small
enough for a drop, and exact in either database.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import NamedTuple

from farmops.errors import BadInput, Finding, Said, Severity, gettext_noop
from farmops.units import CANONICAL, CONTEXT, Dimension, Quantity, show, unit_name, volume_of

PLACES = Decimal("0.000000001")
MOST = Decimal(100_000)
"""No shed holds more gallons or pounds of one product: a larger amount is a slip (project rule)."""

EXPIRY_DAYS = (30, 7, 0)
"""Days before a lot expires on which the managers hear of it (project rule)."""


class Move(StrEnum):
    """What a ledger line records."""

    RECEIVE = "receive"
    DRAW = "draw"
    ADJUST = "adjust"
    RESERVE = "reserve"
    RELEASE = "release"


class Source(NamedTuple):
    """What a reservation is for, such as ``("job", "12")``."""

    type: str
    id: str


@dataclass(frozen=True, kw_only=True)
class LotFacts:
    """A lot and what is left of it, in the product's stock unit."""

    id: int
    expires_on: date | None
    received_on: date
    on_hand: Decimal


def stock_unit(unit: str) -> str:
    """The unit stock of such a product is kept in; ``BadInput`` on ``unit`` for anything but volume and mass."""
    dimension = Quantity(Decimal(0), unit).dimension
    if dimension not in (Dimension.VOLUME, Dimension.MASS):
        raise BadInput(
            {
                "unit": Said(
                    gettext_noop("{unit} is no unit of product. Use a liquid or a weight unit."), unit=unit_name(unit)
                )
            }
        )
    return CANONICAL[dimension]


def in_stock_unit(quantity: Quantity, unit: str, density_lb_per_gal: Decimal | None, *, field: str) -> Decimal:
    """``quantity`` as a number of ``unit`` (gal or lb), nine decimals.

    Liquid becomes weight, or weight liquid, only through the density on the label; without one
    ``BadInput`` on ``field``.
    """
    have, want = stock_unit(quantity.unit), unit
    if have == want:
        amount = quantity.to(want).amount
    elif density_lb_per_gal is None:
        raise BadInput(
            {
                field: Said(
                    gettext_noop(
                        "{unit} cannot be counted in {kept}: this product is kept in {kept} and its label states no "
                        "density. (Fluid ounce is floz, weight ounce is oz.)"
                    ),
                    unit=unit_name(quantity.unit),
                    kept=unit_name(want),
                )
            }
        )
    elif want == "gal":
        amount = volume_of(quantity, density_lb_per_gal).amount
    else:
        amount = CONTEXT.multiply(quantity.to("gal").amount, density_lb_per_gal)
    if abs(amount) > MOST:
        raise BadInput({field: Said(gettext_noop("Must be {most} or less."), most=f"{MOST} {unit_name(want)}")})
    return amount.quantize(PLACES, rounding=ROUND_HALF_UP)


def short(product: str, unit: str, *, needed: Decimal, available: Decimal, field: str = "amount") -> Finding:
    """The refusal that says how much is missing."""
    missing = Quantity(CONTEXT.subtract(needed, available), unit)
    return Finding(
        code="stock_short",
        severity=Severity.REFUSE,
        template=gettext_noop("{product}: {needed} is needed, {available} is there to use, {missing} is missing."),
        numbers={
            "product": product,
            "needed": str(Quantity(needed, unit)),
            "available": str(Quantity(available, unit)),
            "missing": str(missing),
        },
        source="shed ledger",
        field=field,
        subject=product,
    )


def first_expiring(lots: Iterable[LotFacts]) -> list[LotFacts]:
    """In the order they are used up: soonest expiry first, lots without a date last, older delivery first."""
    return sorted(lots, key=lambda lot: (lot.expires_on or date.max, lot.received_on, lot.id))


def take(lots: Sequence[LotFacts], amount: Decimal) -> list[tuple[int, Decimal]] | None:
    """(lot id, amount) pieces that make up ``amount``, in the order of ``lots``; ``None`` if they hold less."""
    pieces, left = [], amount
    for lot in lots:
        piece = min(lot.on_hand, left)
        if piece > 0:
            pieces.append((lot.id, piece))
            left -= piece
    return None if left > 0 else pieces


def expiry_step(expires_on: date, today: date) -> int | None:
    """The last of the 30, 7 and 0 day marks that a lot has reached; ``None`` when it is further off."""
    left = (expires_on - today).days
    return min((mark for mark in EXPIRY_DAYS if left <= mark), default=None)


def days_left(available: Decimal, drawn: Decimal, over_days: int) -> int | None:
    """Days until ``available`` is used up at the pace of the last ``over_days``; ``None`` without a pace."""
    if available <= 0:
        return 0
    return None if drawn <= 0 else int(CONTEXT.divide(available * over_days, drawn))


def amount_words(amount: Decimal, unit: str) -> str:
    """``2.5 gal``."""
    return f"{show(amount)} {unit_name(unit)}"
