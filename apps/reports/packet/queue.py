"""The packets that wait, worked off by the sweep that also makes the notices."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import datetime, timedelta

from apps.people.models import Farm
from apps.reminders.rules import Due
from apps.reports.packet import queries, services

BUDGET = timedelta(seconds=30)
"""How long one sweep makes packets for one farm; the next sweep goes on."""


def work_off(farm: Farm, now: datetime) -> Sequence[Due]:
    """Make this farm's waiting packets, oldest first, and tidy up. What is ready is told as it is made."""
    begun = time.monotonic()
    services.tidy(farm=farm, now=now)
    for packet_id in list(queries.unfinished(farm, now).values_list("pk", flat=True)):
        passed = timedelta(seconds=time.monotonic() - begun)
        if passed > BUDGET:
            break
        services.make(farm=farm, packet_id=packet_id, now=now + passed)
    return []


def next_work_off(farm: Farm, now: datetime) -> datetime | None:
    """When the sweep must look again although nothing is written: at once while something waits, or when files end."""
    if queries.any_unfinished(farm):
        return now
    return queries.next_expiry(farm)
