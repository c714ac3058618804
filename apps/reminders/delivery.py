"""The outbox: claim one e-mail, send it, mark it. Any number of processes, killed at any line.

A claim is a lease. A process that dies after its claim leaves the row to the next one when the
lease is over, so an e-mail goes out at least once; its Message-ID is the same at every try. A
repeat is possible only when a process dies between the server's acceptance and the mark.
"""

from __future__ import annotations

import logging
import time
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.core import mail
from django.db import connection, transaction
from django.db.models import F, Q, QuerySet

from apps.people.models import Membership
from apps.reminders import letters, rules
from apps.reminders.models import WAITING, Notice

log = logging.getLogger(__name__)
BUDGET = timedelta(seconds=45)
"""How long one sweep sends; the rest waits for the next. Below the task's time limit."""


class Passing:
    """The sweep's ``now``, moved on by the time that has really passed since."""

    def __init__(self, now: datetime) -> None:
        self._now, self._begun = now, time.monotonic()

    @property
    def elapsed(self) -> timedelta:
        return timedelta(seconds=time.monotonic() - self._begun)

    @property
    def now(self) -> datetime:
        return self._now + self.elapsed


@dataclass
class Delivered:
    """What one round of delivery did."""

    sent: int = 0
    failed: int = 0
    error: str = ""


def waiting(now: datetime) -> QuerySet[Notice]:
    """E-mails that are due, not sent, not given up and claimed by nobody."""
    free = Q(claimed_until=None) | Q(claimed_until__lte=now)
    return Notice.rows.filter(WAITING, free, due_at__lte=now).order_by("due_at", "id")


def deliver(now: datetime) -> Delivered:
    """Send what is due, one e-mail per notice.

    When the mail server cannot be reached nothing is claimed, so an outage uses up no tries.
    """
    passing, done = Passing(now), Delivered()
    if not waiting(now).exists():
        return done
    post = mail.get_connection()
    try:
        post.open()
        while passing.elapsed < BUDGET and (notice := claim(passing.now)) is not None:
            _send(notice, post, passing, done)
    except OSError as error:  # smtplib's errors and refused or timed-out connections
        log.warning("the mail server does not answer: %r", error)
        done.error = f"mail server: {type(error).__name__}"
    finally:
        _hang_up(post)
    return done


def claim(now: datetime) -> Notice | None:
    """Take the oldest waiting e-mail for ``LEASE``; None when there is none left."""
    while True:
        with transaction.atomic():
            rows = waiting(now)
            if connection.vendor == "postgresql":
                rows = rows.select_for_update(skip_locked=True)
            found = rows.first()
            if found is None:
                return None
            mine = Notice.rows.filter(pk=found.pk)
            if found.attempts < rules.MAX_ATTEMPTS:
                mine.update(claimed_until=now + rules.LEASE, attempts=F("attempts") + 1)
                return mine.select_related("farm", "person").get()
            # Its last claim ended without a word: whoever held it died each time.
            mine.update(given_up_at=now, claimed_until=None, last_error=found.last_error or "never finished")


def _send(notice: Notice, post: Any, passing: Passing, done: Delivered) -> None:
    if not _reachable(notice):
        _close(notice, due_at=None)
        return
    try:
        post.send_messages([letters.letter(notice)])
    except Exception as error:  # a bad address or text: this one waits, the others go on
        log.warning("e-mail of notice %s failed (try %s)", notice.pk, notice.attempts, exc_info=True)
        _put_off(notice, error, passing.now)
        done.failed += 1
        _hang_up(post)
        post.open()
    else:
        _close(notice, sent_at=passing.now)
        done.sent += 1


def _reachable(notice: Notice) -> bool:
    """Whether the person still works here and has an address: nobody else hears about a farm."""
    person = notice.person
    places = Membership.objects.for_farm(notice.farm).filter(person=person, active=True)
    return bool(person.email) and person.is_active and places.exists()


def _close(notice: Notice, **values: Any) -> None:
    """Take the row out of the outbox. Its state decides, so a second process changes nothing."""
    Notice.rows.filter(WAITING, pk=notice.pk).update(claimed_until=None, last_error="", **values)


def _put_off(notice: Notice, error: Exception, now: datetime) -> None:
    said = f"{type(error).__name__}: {error}"[:300]
    row = Notice.rows.filter(WAITING, pk=notice.pk)
    if notice.attempts >= rules.MAX_ATTEMPTS:
        row.update(given_up_at=now, claimed_until=None, last_error=said)
    else:
        row.update(claimed_until=now + rules.pause_after(notice.attempts), last_error=said)


def _hang_up(post: Any) -> None:
    try:
        post.close()
    except Exception:
        log.debug("closing the mail connection failed", exc_info=True)
