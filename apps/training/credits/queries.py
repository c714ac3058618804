"""Reading credits."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection

from django.db.models import QuerySet

from apps.people.models import Farm
from apps.people.queries import one
from apps.training.credits.rules import CreditFacts, Toward, toward
from apps.training.models import Certificate, Credit


def credits(farm: Farm) -> QuerySet[Credit]:
    """Every credit on record, struck ones too, the newest course first."""
    return Credit.objects.for_farm(farm).select_related("person", "recorded_by").order_by("-held_on", "-id")


def credit(farm: Farm, credit_id: int) -> Credit:
    """One credit; ``Unknown`` for another farm's."""
    row: Credit = one(credits(farm).filter(pk=credit_id))
    return row


def renewals(farm: Farm, certificates: Collection[Certificate]) -> dict[int, Toward]:
    """How far each certificate's renewal is, for those that ask for credits. One query."""
    asking = [c for c in certificates if c.credits_needed is not None]
    if not asking:
        return {}
    held: dict[int, list[CreditFacts]] = defaultdict(list)
    for row in Credit.objects.for_farm(farm).filter(person_id__in={c.person_id for c in asking}, struck_at=None):
        held[row.person_id].append(CreditFacts(jurisdiction=row.jurisdiction, held_on=row.held_on, amount=row.amount))
    found = {}
    for c in asking:
        so_far = toward(
            held[c.person_id],
            jurisdiction=c.jurisdiction,
            valid_from=c.valid_from,
            valid_to=c.valid_to,
            needed=c.credits_needed,
        )
        if so_far is not None:
            found[c.pk] = so_far
    return found
