"""Credits toward renewing a certificate: what counts, and how many are still needed. Plain Python.

A certificate ends on its last day unless it was renewed before (40 CFR 171.107(a)); how many credits a renewal takes is
the issuer's to say and is kept with the certificate.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal


@dataclass(frozen=True, kw_only=True)
class CreditFacts:
    """Credits of one course."""

    jurisdiction: str
    held_on: date
    amount: Decimal


@dataclass(frozen=True, kw_only=True)
class Toward:
    """How far a renewal is. ``left`` is zero when enough are on record."""

    earned: Decimal
    needed: Decimal

    @property
    def left(self) -> Decimal:
        return max(Decimal(0), self.needed - self.earned)


def toward(
    credits: Iterable[CreditFacts], *, jurisdiction: str, valid_from: date, valid_to: date, needed: Decimal | None
) -> Toward | None:
    """Credits from the certificate's first day through its last, of its own issuer; ``None``: none are asked for."""
    if needed is None:
        return None
    counted = [
        c.amount
        for c in credits
        if c.jurisdiction.casefold() == jurisdiction.casefold() and valid_from <= c.held_on <= valid_to
    ]
    return Toward(earned=sum(counted, start=Decimal(0)), needed=needed)
