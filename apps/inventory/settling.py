"""What was used turns out to be another amount: the ledger gets the difference, and keeps every line it had."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction

from apps.inventory import queries
from apps.inventory import services as shed
from apps.inventory.models import LedgerLine
from apps.inventory.rules import Move, Source
from apps.people.models import Farm
from apps.people.queries import Member
from farmops.errors import BadInput, gettext_noop
from farmops.units import CONTEXT, Quantity


@transaction.atomic
def settle_use(
    *,
    farm: Farm,
    member: Member | None,
    product_id: int,
    quantity: Quantity,
    source: Source | tuple[str, Any],
    reason: str,
    now: datetime,
) -> list[LedgerLine]:
    """Make ``quantity`` what ``source`` has used of a product: draw what is missing, put back what is too much.

    What is put back goes to the lots it came from, the last first, as lines that say why. ``Refused`` with
    ``stock_short`` when more was used than is on the shelf. Nothing to settle, nothing written.
    """
    if quantity.amount < 0:
        raise BadInput({"amount": gettext_noop("The amount used must be 0 or more.")})
    stock = shed._locked(farm, product_id, quantity, now)
    drawn = queries.drawn_for(farm, source, product_id)
    more = CONTEXT.subtract(shed._amount(stock, quantity, now), sum(drawn.values(), start=shed.ZERO))
    if more > 0:
        piece = Quantity(more, stock.unit)
        return shed.draw_down(
            farm=farm, member=member, product_id=product_id, quantity=piece, source=source, keep_rest=True, now=now
        )
    lots, lines, left = {lot.pk: lot for lot in queries.lots(farm).filter(pk__in=drawn)}, [], -more
    for lot_id, taken in drawn.items():
        back = min(taken, left)
        if back <= 0:
            break
        line = shed._write(
            stock,
            Move.ADJUST,
            Quantity(back, stock.unit),
            now=now,
            by=member,
            lot=lots[lot_id],
            on_hand=back,
            reason=reason[:300],
            source=source,
        )
        lines.append(line)
        left -= back
    return lines
