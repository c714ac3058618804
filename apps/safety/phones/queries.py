"""Reading the farm's numbers."""

from __future__ import annotations

from apps.people.models import Farm
from apps.people.queries import one
from apps.safety.phones.models import PhoneNumber
from apps.safety.phones.rules import URGENT, Purpose

_ORDER = list(Purpose)


def numbers(farm: Farm) -> list[PhoneNumber]:
    """Every number of the farm, what is most urgent first."""
    rows = PhoneNumber.objects.for_farm(farm)
    return sorted(rows, key=lambda row: (_ORDER.index(Purpose(row.purpose)), row.name, row.pk))


def urgent(farm: Farm) -> list[PhoneNumber]:
    """Those that somebody who feels ill needs."""
    return [row for row in numbers(farm) if row.purpose in URGENT]


def number(farm: Farm, number_id: int) -> PhoneNumber:
    """One number of this farm; ``Unknown`` if it is not there."""
    row: PhoneNumber = one(PhoneNumber.objects.for_farm(farm).filter(pk=number_id))
    return row
