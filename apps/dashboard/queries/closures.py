"""The board's closures as the chart draws them."""

from __future__ import annotations

from datetime import datetime

from apps.dashboard.rules import ClosureFacts, Shade, Span
from apps.land import queries as land
from apps.people.models import Farm
from apps.safety import queries as board
from apps.safety import rules as safety
from apps.safety.rules.verdicts import verdict


def closure_facts(farm: Farm, now: datetime) -> list[ClosureFacts]:
    """Every closure that hangs on a block in use. Two queries."""
    blocks = {b.pk: b for b in land.blocks(farm)}
    hung = board.closures_on(list(blocks), now)
    return [_facts(str(block), row, now) for pk, block in blocks.items() for row in hung[pk] if not _over(row, now)]


def _over(row: safety.Closure, now: datetime) -> bool:
    """Silent for good: begun, timed, and its minute has run out."""
    begun = row.starts_at <= now
    return begun and row.kind in safety.TIMED_KINDS and verdict(row, now, now) is None


def _facts(block: str, row: safety.Closure, now: datetime) -> ClosureFacts:
    said = verdict(row, now, now)
    ends_at = row.ends_at if row.kind is not safety.Kind.UNCONFIRMED else row.provisional_ends_at or row.ends_at
    return ClosureFacts(
        block=block,
        shade=Shade(row.kind.value),
        span=Span(starts_at=row.starts_at, ends_at=None if ends_at is None else safety.up_to_minute(ends_at)),
        unsure=said is not None and said.answer is safety.Word.UNKNOWN,
        products=", ".join(row.product_names),
        set_by=row.set_by,
    )
