"""The shed: deliveries, counts, reservations and use. Every function locks the product's balance first.

Whoever changes several products in one transaction goes by rising product id, so that two
cannot wait for each other. ``reserve``, ``release`` and ``draw_down`` are parts of a larger
action (assigning, calling off, signing a job) whose service has asked for the role.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.inventory import queries
from apps.inventory.models import LedgerLine, Lot, ProductStock
from apps.inventory.rules import (
    MOST,
    PLACES,
    LotFacts,
    Move,
    Source,
    amount_words,
    first_expiring,
    in_stock_unit,
    short,
    stock_unit,
    take,
)
from apps.people.models import Farm
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.people.services import save_changes
from apps.products.models import Product
from apps.products.queries import today
from farmops.errors import BadInput, Refused, Said, gettext_noop, refuse
from farmops.units import CONTEXT, Quantity

ZERO = Decimal(0)
TYPED_PLACES = Decimal("0.000001")


@transaction.atomic
def receive_delivery(
    *,
    member: Member,
    product_id: int,
    lot_number: str,
    quantity: Quantity,
    received_on: date,
    expires_on: date | None = None,
    supplier: str = "",
    now: datetime,
) -> Lot:
    """Put a delivered lot on the shelf; more of a known lot is added to it. ``supplier``: who delivered it."""
    member.require(Can.EDIT_SHED)
    farm, number = member.farm, _lot_number(lot_number)
    _above_zero(quantity)
    if received_on > today(farm, now):
        raise BadInput({"received_on": gettext_noop("The delivery date must be today or earlier.")})
    if expires_on and expires_on < received_on:
        raise BadInput({"expires_on": gettext_noop("The expiry date must not be before the delivery.")})
    stock = _locked(farm, product_id, quantity, now)
    _reopen(stock, quantity, now)
    amount = _amount(stock, quantity, now)
    lot = Lot.objects.for_farm(farm).filter(product=stock.product, lot_number=number).first()
    if lot is None:
        lot = Lot.objects.add(
            farm=farm,
            product=stock.product,
            lot_number=number,
            expires_on=expires_on,
            received_on=received_on,
            supplier=_supplier(supplier),
        )
    elif expires_on and lot.expires_on != expires_on:
        said = gettext_noop("This lot is in the book with another expiry date. Correct the lot first.")
        raise BadInput({"expires_on": said})
    elif supplier.strip() and lot.supplier != _supplier(supplier):
        raise BadInput(
            {"supplier": gettext_noop("This lot is in the book from another supplier. Correct the lot first.")}
        )
    _write(stock, Move.RECEIVE, quantity, now=now, by=member, lot=lot, on_hand=amount)
    audit.record(farm=farm, actor=member, verb="received", subject=lot, now=now, after={"amount": str(quantity)})
    return lot


@transaction.atomic
def adjust(*, member: Member, lot_id: int, change: Quantity, reason: str, now: datetime) -> LedgerLine:
    """Correct a lot by ``change`` (negative: less), for instance a spill. Never below zero."""
    stock, lot = _locked_lot(member, lot_id)
    return _adjusted(stock, lot, _amount(stock, change, now), change, reason, member, now)


@transaction.atomic
def count(*, member: Member, lot_id: int, counted: Quantity, reason: str, now: datetime) -> LedgerLine:
    """Set a lot to what was counted; the ledger gets the difference, also when it is nothing."""
    stock, lot = _locked_lot(member, lot_id)
    if counted.amount < 0:
        raise BadInput({"amount": gettext_noop("A count must be 0 or more.")})
    change = CONTEXT.subtract(_amount(stock, counted, now), lot.on_hand)
    return _adjusted(stock, lot, change, counted, reason, member, now)


@transaction.atomic
def edit_lot(*, member: Member, lot_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime) -> Lot:
    """Correct a lot's number, expiry date or supplier."""
    _stock, lot = _locked_lot(member, lot_id)
    wanted = {name: changes[name] for name in ("lot_number", "expires_on", "supplier") if name in changes}
    if "lot_number" in wanted:
        wanted["lot_number"] = number = _lot_number(wanted["lot_number"])
        others = Lot.objects.for_farm(member.farm).filter(product=lot.product_id, lot_number=number)
        if others.exclude(pk=lot.pk).exists():
            raise BadInput({"lot_number": gettext_noop("This product already has a lot of this number.")})
    if "supplier" in wanted:
        wanted["supplier"] = _supplier(wanted["supplier"])
    return save_changes(lot, member=member, expected_version=expected_version, changes=wanted, now=now)


@transaction.atomic
def reserve(
    *,
    farm: Farm,
    member: Member | None,
    product_id: int,
    quantity: Quantity,
    source: Source | tuple[str, Any],
    now: datetime,
) -> LedgerLine:
    """Promise stock to ``source``. ``Refused`` with ``stock_short`` when less is there to use."""
    _above_zero(quantity)
    stock = _locked(farm, product_id, quantity, now)
    needed = _amount(stock, quantity, now)
    free = CONTEXT.subtract(stock.on_hand, stock.reserved)
    if needed > free:
        raise Refused([short(stock.product.name, stock.unit, needed=needed, available=free)])
    return _write(stock, Move.RESERVE, quantity, now=now, by=member, reserved=needed, source=source)


@transaction.atomic
def release(*, farm: Farm, member: Member | None, source: Source | tuple[str, Any], now: datetime) -> list[LedgerLine]:
    """Give back whatever is still promised to ``source``; nothing promised, nothing written."""
    return [
        line
        for product_id in sorted(queries.reserved_for(farm, source))
        if (line := _released(_locked(farm, product_id, None, now), member, source, now)) is not None
    ]


@transaction.atomic
def draw_down(
    *,
    farm: Farm,
    member: Member | None,
    product_id: int,
    quantity: Quantity,
    source: Source | tuple[str, Any],
    lot_id: int | None = None,
    keep_rest: bool = False,
    now: datetime,
) -> list[LedgerLine]:
    """Take what ``source`` used from the shelf: from ``lot_id``, or first expiring first.

    Uses up the reservation of ``source`` first; what it did not need is released, unless
    ``keep_rest`` says that more will be drawn. It may take what others have reserved, since it
    is used already, but never more than is there: ``Refused`` with ``stock_short``.
    """
    if quantity.amount < 0:
        raise BadInput({"amount": gettext_noop("The amount used must be 0 or more.")})
    stock = _locked(farm, product_id, quantity, now)
    amount = _amount(stock, quantity, now)
    lots = _lots(stock, lot_id)
    pieces = take([_facts(lot) for lot in lots.values()], amount)
    if pieces is None:
        there = sum((lot.on_hand for lot in lots.values()), ZERO)
        raise Refused([short(stock.product.name, stock.unit, needed=amount, available=there)])
    promised = min(queries.reserved_for(farm, source).get(stock.product_id, ZERO), amount)
    lines = []
    for lot_key, piece in pieces:
        typed = quantity if len(pieces) == 1 else Quantity(quantity.amount * piece / amount, quantity.unit)
        lines.append(
            _write(
                stock,
                Move.DRAW,
                typed,
                now=now,
                by=member,
                lot=lots[lot_key],
                on_hand=-piece,
                reserved=-promised,
                source=source,
            )
        )
        promised = ZERO
    rest = None if keep_rest else _released(stock, member, source, now)
    return lines if rest is None else [*lines, rest]


# ---- one product at a time, locked ---------------------------------------------------------


def _locked(farm: Farm, product_id: int, quantity: Quantity | None, now: datetime) -> ProductStock:
    """The product's balance, locked; opened at zero when there was none."""
    mine = queries.stocks(farm).select_for_update(of=("self",)).filter(product=product_id)
    row = mine.first()
    if row is None:
        product = one(Product.objects.for_farm(farm).select_for_update(no_key=True).filter(pk=product_id))
        unit = queries.label_unit(product, today(farm, now)) or stock_unit(quantity.unit if quantity else "gal")
        row = mine.first() or ProductStock.objects.add(farm=farm, product=product, unit=unit)
    return row


def _locked_lot(member: Member, lot_id: int) -> tuple[ProductStock, Lot]:
    member.require(Can.EDIT_SHED)
    product_id = queries.lot_in(member.farm, lot_id).product_id
    stock = one(queries.stocks(member.farm).select_for_update(of=("self",)).filter(product=product_id))
    return stock, queries.lot_in(member.farm, lot_id)  # read again: the balance is locked now


def _reopen(stock: ProductStock, quantity: Quantity, now: datetime) -> None:
    """An empty shelf may turn from liquid to weight or back, where no label says otherwise: a slip mended."""
    unit = stock_unit(quantity.unit)
    if unit == stock.unit or stock.on_hand or stock.reserved:
        return
    if queries.label_unit(stock.product, today(stock.farm, now)) in (None, unit):
        stock.unit = unit
        stock.save(update_fields=["unit"])


def _amount(stock: ProductStock, quantity: Quantity, now: datetime) -> Decimal:
    """In the stock unit; the label's density is looked up only where it is needed."""
    same = stock_unit(quantity.unit) == stock.unit
    lb_per_gal = None if same else queries.density(stock.product, today(stock.farm, now))
    return in_stock_unit(quantity, stock.unit, lb_per_gal, field="unit")


def _lots(stock: ProductStock, lot_id: int | None) -> dict[int, Lot]:
    """The lots to take from, in the order they are used."""
    rows = {lot.pk: lot for lot in queries.lots(stock.farm).filter(product=stock.product_id)}
    if lot_id is not None:
        if lot_id not in rows:
            raise BadInput({"lot_id": gettext_noop("This product has no such lot.")})
        return {lot_id: rows[lot_id]}
    return {facts.id: rows[facts.id] for facts in first_expiring(map(_facts, rows.values()))}


def _facts(lot: Lot) -> LotFacts:
    return LotFacts(id=lot.pk, expires_on=lot.expires_on, received_on=lot.received_on, on_hand=lot.on_hand)


def _released(
    stock: ProductStock, member: Member | None, source: Source | tuple[str, Any], now: datetime
) -> LedgerLine | None:
    rest = queries.reserved_for(stock.farm, source).get(stock.product_id, ZERO)
    if rest <= 0:
        return None
    return _write(stock, Move.RELEASE, Quantity(rest, stock.unit), now=now, by=member, reserved=-rest, source=source)


def _adjusted(
    stock: ProductStock, lot: Lot, change: Decimal, typed: Quantity, reason: str, member: Member, now: datetime
) -> LedgerLine:
    why = reason.strip()
    if not why or len(why) > 300:
        raise BadInput({"reason": gettext_noop("Enter why the amount changes, 300 characters at most.")})
    if lot.on_hand + change < 0:
        raise refuse(
            "below_zero",
            gettext_noop("Lot {lot} holds {there}: it cannot be brought below zero."),
            field="amount",
            lot=lot.lot_number,
            there=amount_words(lot.on_hand, stock.unit),
        )
    line = _write(stock, Move.ADJUST, typed, now=now, by=member, lot=lot, on_hand=change, reason=why)
    after = {"typed": str(typed), "on hand": amount_words(lot.on_hand, stock.unit), "reason": why}
    audit.record(farm=member.farm, actor=member, verb="adjusted", subject=lot, now=now, after=after)
    return line


def _write(
    stock: ProductStock,
    move: Move,
    typed: Quantity,
    *,
    now: datetime,
    by: Member | None,
    lot: Lot | None = None,
    on_hand: Decimal = ZERO,
    reserved: Decimal = ZERO,
    reason: str = "",
    source: Source | tuple[str, Any] = ("", ""),
) -> LedgerLine:
    """The one place where balances change: the ledger line, the product's balance and the lot's, together."""
    stock.on_hand, stock.reserved = stock.on_hand + on_hand, stock.reserved + reserved
    if stock.on_hand > MOST * 9:
        raise BadInput(
            {
                "amount": Said(
                    gettext_noop("The shed would hold more than {most} of this product."),
                    most=f"{MOST * 9} {stock.unit}",
                )
            }
        )
    stock.version += 1
    stock.save(update_fields=["on_hand", "reserved", "version"])
    if lot is not None and on_hand:
        lot.on_hand, lot.version = lot.on_hand + on_hand, lot.version + 1
        lot.save(update_fields=["on_hand", "version"])
    return LedgerLine.objects.add(
        farm=stock.farm,
        product=stock.product,
        lot=lot,
        kind=move.value,
        unit=stock.unit,
        on_hand_change=on_hand.quantize(PLACES),
        reserved_change=reserved.quantize(PLACES),
        entered_amount=typed.amount.quantize(TYPED_PLACES),
        entered_unit=typed.unit,
        reason=reason,
        source_type=str(source[0]),
        source_id=str(source[1]),
        at=now,
        by_id=by.person_id if by else None,
    )


def _above_zero(quantity: Quantity) -> None:
    if quantity.amount <= 0:
        raise BadInput({"amount": gettext_noop("The amount must be above 0.")})


def _supplier(text: str) -> str:
    name = " ".join(text.split())
    if len(name) > 160:
        raise BadInput({"supplier": gettext_noop("Use 160 characters at most.")})
    return name


def _lot_number(text: str) -> str:
    number = " ".join(text.split())
    if not number or len(number) > 60:
        said = gettext_noop("Enter the lot number on the container, 60 characters at most.")
        raise BadInput({"lot_number": said})
    return number
