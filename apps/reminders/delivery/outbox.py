"""Claiming, closing and putting off what leaves the house: the same for letters and calls."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import F, Q, QuerySet

from apps.reminders import rules
from apps.reminders.models import WAITING, Outgoing


class Passing:
    """The sweep's ``now`` and the machine's, both moved on by the time that has really passed since."""

    def __init__(self, now: datetime, machine: datetime | None = None) -> None:
        self._now, self._machine, self._begun = now, machine or now, time.monotonic()

    @property
    def elapsed(self) -> timedelta:
        return timedelta(seconds=time.monotonic() - self._begun)

    @property
    def now(self) -> datetime:
        return self._now + self.elapsed

    @property
    def machine(self) -> datetime:
        return self._machine + self.elapsed


@dataclass
class Delivered:
    """What one round of delivery did."""

    sent: int = 0
    failed: int = 0
    errors: list[str] = field(default_factory=list)


def waiting(model: type[Outgoing], passing: Passing) -> QuerySet[Any]:
    """What is due, not at its end and claimed by nobody, oldest first."""
    free = Q(claimed_until=None) | Q(claimed_until__lte=passing.machine)
    return model.rows.filter(WAITING, free, due_at__lte=passing.now).order_by("due_at", "id")


def claim(model: type[Outgoing], passing: Passing, rows: QuerySet[Any] | None = None) -> Any | None:
    """Take the first waiting row (of ``rows``, when given) for ``LEASE``; None when there is none left.

    One that has been claimed too often without a word is given up and returned as such.
    """
    with transaction.atomic():
        found = locked(waiting(model, passing) if rows is None else rows).first()
        if found is None:
            return None
        mine = model.rows.filter(pk=found.pk)
        if found.attempts < model.MOST:
            mine.update(claimed_until=passing.machine + rules.LEASE, attempts=F("attempts") + 1)
        else:  # its last claim ended without a word: whoever held it died each time
            give_up(found, found.last_error or "never finished", passing.now)
        return mine.get()


def locked(rows: QuerySet[Any]) -> QuerySet[Any]:
    """On PostgreSQL, leave out what somebody else is holding. SQLite has one writer at a time."""
    return rows.select_for_update(skip_locked=True, of=("self",)) if connection.vendor == "postgresql" else rows


def close(row: Outgoing, outcome: str, now: datetime, *, said: str = "") -> bool:
    """Bring the row to its end. Its state decides: only the first of two processes does."""
    columns = {"done_at": now, "outcome": outcome, "claimed_until": None, "last_error": said[:300]}
    return type(row).rows.filter(WAITING, pk=row.pk).update(**columns) == 1


def give_up(row: Outgoing, said: str, now: datetime) -> bool:
    return close(row, "given_up", now, said=said)


def put_off(row: Outgoing, until: datetime, said: str) -> None:
    """Try again from ``until``."""
    values = {"due_at": until, "claimed_until": None, "last_error": said[:300]}
    type(row).rows.filter(WAITING, pk=row.pk).update(**values)
