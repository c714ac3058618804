"""Notices into letters, letters to the mail server."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from typing import Any

from django.core import mail
from django.db import transaction
from django.utils.translation import gettext_noop

from apps.people import queries as people
from apps.people.models import Membership
from apps.people.rules import Role
from apps.reminders import letters, rules
from apps.reminders.delivery import outbox
from apps.reminders.delivery.outbox import Delivered, Passing
from apps.reminders.models import UNPOSTED, Letter, Notice
from apps.reminders.rules import timing
from apps.reminders.services import telling
from apps.reminders.services.calls import LETTER_LOST

log = logging.getLogger(__name__)
BUDGET = timedelta(seconds=30)
"""How long one round sends; the rest waits for the next. Two rounds and the calls stay below the task's time limit."""

AT_ONCE = 2000
MOST_IN_ONE = 100
"""Notices in one letter; a flood becomes several letters."""


# ---- notices into letters --------------------------------------------------------------


def gather(now: datetime) -> int:
    """Put the notices whose e-mail is due into letters: what is dangerous alone, the rest of a person together.

    The letter and its notices are tied in one transaction, so a notice stands in one letter only,
    whoever gathers at the same time and wherever they are killed. Returns how many letters were made.
    """
    due = Notice.rows.filter(UNPOSTED, due_at__lte=now).order_by()
    pairs = list(due.values_list("farm_id", "person_id").distinct()[:AT_ONCE])
    return sum(_gather_for(farm_id, person_id, now) for farm_id, person_id in pairs)


@transaction.atomic
def _gather_for(farm_id: int, person_id: int, now: datetime) -> int:
    mine = Notice.rows.filter(UNPOSTED, farm_id=farm_id, person_id=person_id, due_at__lte=now).order_by("due_at", "id")
    found = list(outbox.locked(mine)[: 5 * MOST_IN_ONE])
    letters_made = [[row] for row in found if row.urgent]
    calm = [row for row in found if not row.urgent]
    if calm and not _one_just_went(farm_id, person_id, now):
        letters_made += [calm[n : n + MOST_IN_ONE] for n in range(0, len(calm), MOST_IN_ONE)]
    for rows in letters_made:
        columns = {"farm_id": farm_id, "person_id": person_id, "created_at": now, "due_at": now}
        letter = Letter.objects.add(**columns, urgent=rows[0].urgent)
        Notice.rows.filter(pk__in=[row.pk for row in rows], letter=None).update(letter=letter)
    return len(letters_made)


def _one_just_went(farm_id: int, person_id: int, now: datetime) -> bool:
    recent = Letter.rows.filter(farm_id=farm_id, person_id=person_id, urgent=False)
    return recent.filter(created_at__gt=now - timing.ROLL_UP, created_at__lte=now).exists()


# ---- letters to the mail server --------------------------------------------------------


def deliver(passing: Passing) -> Delivered:
    """Send the letters that are due.

    When the mail server cannot be reached nothing is claimed, so an outage uses up no tries.
    """
    begun, done = passing.elapsed, Delivered()
    gather(passing.now)
    if not outbox.waiting(Letter, passing).exists():
        return done
    post = mail.get_connection()
    try:
        post.open()
        while passing.elapsed - begun < BUDGET and (letter := _claim(passing)) is not None:
            _send(letter, post, passing, done)
    except OSError as error:  # smtplib's errors and refused or timed-out connections
        log.warning("the mail server does not answer: %r", error)
        done.errors.append(f"mail server: {type(error).__name__}")
    finally:
        _hang_up(post)
    return done


@transaction.atomic
def _claim(passing: Passing) -> Letter | None:
    """The next letter. One that was claimed once too often comes back closed, and the managers hear of it."""
    letter: Letter | None = outbox.claim(Letter, passing)
    if letter is not None and letter.done_at is not None:
        _lost(letter, passing.now)
    return letter


def _send(letter: Letter, post: Any, passing: Passing, done: Delivered) -> None:
    if letter.done_at is not None:
        return
    notices = list(letter.notices.filter(withdrawn_at=None).order_by("-urgent", "id"))
    if not notices or not _reachable(letter):
        outbox.close(letter, "dropped", passing.now)
        return
    try:
        post.send_messages([letters.letter(letter, notices)])
    except Exception as error:  # a bad address or text: this one waits, the others go on
        log.warning("letter %s failed (try %s)", letter.pk, letter.attempts, exc_info=True)
        _failed(letter, error, passing.now)
        done.failed += 1
        _hang_up(post)
        post.open()
    else:
        outbox.close(letter, "sent", passing.now)
        done.sent += 1


def _reachable(letter: Letter) -> bool:
    """Whether the person still works here and has an address: nobody else hears about a farm."""
    person = letter.person
    places = Membership.objects.for_farm(letter.farm).filter(person=person, active=True)
    return bool(person.email) and person.is_active and places.exists()


@transaction.atomic
def _failed(letter: Letter, error: Exception, now: datetime) -> None:
    said = f"{type(error).__name__}: {error}"
    if letter.attempts < rules.MAX_ATTEMPTS:
        outbox.put_off(letter, now + rules.pause_after(letter.attempts), said)
    elif outbox.give_up(letter, said, now):
        _lost(letter, now)


def _lost(letter: Letter, now: datetime) -> None:
    """The managers hear that somebody's letters do not arrive: once for each address, and never about that."""
    about = set(letter.notices.values_list("kind", flat=True))
    if about == {LETTER_LOST}:
        return
    telling.tell(
        farm=letter.farm,
        kind=LETTER_LOST,
        subject=("person", letter.person_id),
        occasion=letter.person.email[:120],
        to=people.person_ids_with(letter.farm, Role.MANAGER),
        template=gettext_noop(
            "E-mail to {name} ({address}) does not arrive. Tell them yourself and correct the address."
        ),
        numbers={"name": letter.person.full_name, "address": letter.person.email},
        path=f"/f/{letter.farm.slug}/people/",
        now=now,
    )


def _hang_up(post: Any) -> None:
    try:
        post.close()
    except Exception:
        log.debug("closing the mail connection failed", exc_info=True)
