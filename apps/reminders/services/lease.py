"""One process at a time: the tickers' lease."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from apps.reminders.models import Lease


@transaction.atomic
def hold_lease(*, name: str, holder: str, length: timedelta, now: datetime) -> bool:
    """Take or renew the lease ``name``; False while somebody else's is running."""
    fresh = [Lease(name=name, holder=holder, until_at=now + length)]
    Lease.objects.bulk_create(fresh, ignore_conflicts=True)
    mine_or_over = Q(holder=holder) | Q(until_at__lte=now)
    return Lease.objects.filter(mine_or_over, name=name).update(holder=holder, until_at=now + length) == 1


def release_lease(*, name: str, holder: str) -> None:
    """Give the lease back, so that the next process need not wait for its end."""
    Lease.objects.filter(name=name, holder=holder).delete()
