"""Telling people, and the sweep that finds what is due and sends it.

Writing a notice never talks to a broker or a mail server: it is a row in the caller's
transaction, gone if that rolls back. The sweep does the rest.
"""

from __future__ import annotations

import logging
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.db.models import F, Q

from apps.people import queries as people
from apps.people.models import Farm, Membership
from apps.people.queries import Member
from apps.people.rules import Can, Role
from apps.reminders import delivery, queries, rules, sources
from apps.reminders.models import Lease, Notice, SweepFault, SweepRun
from apps.reminders.rules import Due, Slot

log = logging.getLogger(__name__)
CHUNK = 300


def tell(
    *,
    farm: Farm,
    kind: str,
    subject: tuple[str, int | str],
    occasion: str,
    to: Collection[int],
    template: str,
    now: datetime,
    numbers: Mapping[str, Slot] | None = None,
    path: str = "",
    urgent: bool = False,
) -> None:
    """Write one notice for each person id in ``to``, in the caller's transaction.

    A notice that exists already (same person, kind, subject and occasion) is left as it is.
    ``template`` is an English sentence (``gettext_noop``) whose slots ``numbers`` fills; give
    instants and dates as such, they are shown in the farm's zone and the reader's language.
    ``ValueError`` when the notice could not be stored or shown.
    """
    due = Due(
        kind=kind,
        subject_type=subject[0],
        subject_id=subject[1],
        occasion=occasion,
        person_ids=tuple(to),
        template=template,
        numbers=numbers or {},
        path=path,
        urgent=urgent,
    )
    _write(farm, [due], now)


def _write(farm: Farm, dues: Sequence[Due], now: datetime) -> int:
    """Insert the notices that do not exist yet; returns how many were missing."""
    addresses = _addresses(farm, {p for due in dues for p in due.person_ids})
    wanted = {(p, *due.key): due for due in dues for p in _hearers(farm, due, addresses)}
    keys, made = list(wanted), 0
    for start in range(0, len(keys), CHUNK):
        part = keys[start : start + CHUNK]
        there = _existing(farm, part)
        rows = [_row(farm, key[0], wanted[key], addresses, now) for key in part if key not in there]
        # Somebody may insert the same one between look and write: the constraint decides.
        Notice.objects.for_farm(farm).bulk_create(rows, ignore_conflicts=True)
        made += len(rows)
    return made


def _addresses(farm: Farm, person_ids: Collection[int]) -> dict[int, str]:
    """E-mail address of those who work on the farm now ('' for those without one)."""
    if not person_ids:
        return {}
    places = Membership.objects.for_farm(farm).filter(person_id__in=person_ids, active=True, person__is_active=True)
    return dict(places.values_list("person_id", "person__email"))


def _hearers(farm: Farm, due: Due, addresses: dict[int, str]) -> list[int]:
    """Those named who still work here. If all of them have left, the managers hear it instead."""
    here = sorted({p for p in due.person_ids if p in addresses})
    if here or not due.person_ids:
        return here
    managers = people.person_ids_with(farm, Role.MANAGER)
    addresses.update(_addresses(farm, managers))
    return managers


def _existing(farm: Farm, keys: Sequence[tuple[int, str, str, str, str]]) -> set[tuple[int, str, str, str, str]]:
    persons, kinds, types, subjects, occasions = (set(column) for column in zip(*keys, strict=True))
    rows = Notice.objects.for_farm(farm).filter(
        person_id__in=persons,
        kind__in=kinds,
        subject_type__in=types,
        subject_id__in=subjects,
        occasion__in=occasions,
    )
    return set(rows.values_list("person_id", "kind", "subject_type", "subject_id", "occasion"))


def _row(farm: Farm, person_id: int, due: Due, addresses: Mapping[int, str], now: datetime) -> Notice:
    return Notice(
        farm=farm,
        person_id=person_id,
        kind=due.kind,
        subject_type=due.subject_type,
        subject_id=str(due.subject_id),
        occasion=due.occasion,
        template=due.template,
        numbers=rules.stored(due.numbers, farm.time_zone),
        path=due.path,
        urgent=due.urgent,
        created_at=now,
        due_at=now if addresses.get(person_id) else None,
    )


def withdraw(*, farm: Farm, kind: str, subject: tuple[str, int | str], now: datetime) -> int:
    """Take back what was told, because its reason is gone; returns how many. What was e-mailed stays so."""
    rows = Notice.objects.for_farm(farm).filter(
        kind=kind, subject_type=subject[0], subject_id=str(subject[1]), withdrawn_at=None
    )
    return rows.update(withdrawn_at=now)


@transaction.atomic
def mark_seen(*, member: Member, notice_id: int, now: datetime) -> Notice:
    """The person has read one of their own notices; the first time counts."""
    member.require(Can.READ_FARM)
    row = queries.notice_of(member.farm, member.person_id, notice_id)
    if row.seen_at is None:
        row.seen_at = now
        row.save(update_fields=["seen_at"])
    return row


@transaction.atomic
def mark_all_seen(*, member: Member, up_to: int, now: datetime) -> int:
    """The person has read all own notices up to the one with id ``up_to``; later ones stay new."""
    member.require(Can.READ_FARM)
    mine = queries.notices_of(member.farm, member.person_id)
    return mine.filter(id__lte=up_to, seen_at=None).update(seen_at=now)


# ---- the sweep -------------------------------------------------------------------------


@dataclass
class Swept:
    """What one sweep did."""

    made: int = 0
    sent: int = 0
    failed: int = 0
    faults: int = 0
    errors: list[str] = field(default_factory=list)

    def add(self, delivered: delivery.Delivered) -> None:
        self.sent += delivered.sent
        self.failed += delivered.failed
        self.errors += [delivered.error] if delivered.error else []


def sweep(now: datetime) -> Swept:
    """Make the notices that are due on every farm, and send the e-mails that wait.

    May run twice at once, be killed at any line, or not run for an hour. A source that fails
    for a farm stops neither the other sources nor the other farms.
    """
    passing, done = delivery.Passing(now), Swept()
    _heartbeat(last_started_at=now)
    done.add(delivery.deliver(now))  # first, so that a slow source can never hold back the post
    _ask_all(now, done)
    done.add(delivery.deliver(passing.now))
    _heartbeat(
        last_finished_at=passing.now,
        made=done.made,
        sent=done.sent,
        failed=done.failed,
        error="; ".join(dict.fromkeys(done.errors))[:500],
    )
    return done


def _heartbeat(**values: object) -> None:
    if not SweepRun.objects.filter(pk=SweepRun.ONLY).update(**values):
        SweepRun.objects.update_or_create(pk=SweepRun.ONLY, defaults=values)


def _ask_all(now: datetime, done: Swept) -> None:
    found, broken = sources.load_all()
    for path, error in broken.items():
        log.error("reminder source %s cannot be loaded", path, exc_info=error)
        done.errors.append(f"{path}: {type(error).__name__}")
    farms = list(Farm.objects.order_by("pk"))
    for farm in farms:
        faulty = set(SweepFault.objects.for_farm(farm).values_list("source", flat=True))
        for path, source in found.items():
            _ask(farm, path, source, now, done, was_faulty=path in faulty)


def _ask(farm: Farm, path: str, source: sources.Source, now: datetime, done: Swept, *, was_faulty: bool) -> None:
    try:
        done.made += _write(farm, list(source(farm, now)), now)
    except Exception as error:  # one farm's fault never stops another's
        log.exception("reminder source %s failed for farm %s", path, farm.slug)
        if not connection.is_usable():
            raise
        done.faults += 1
        _note_fault(farm, path, error, now)
    else:
        if was_faulty:
            SweepFault.objects.for_farm(farm).filter(source=path).delete()


def _note_fault(farm: Farm, path: str, error: Exception, now: datetime) -> None:
    said = f"{type(error).__name__}: {error}"[:300]
    rows = SweepFault.objects.for_farm(farm)
    if not rows.filter(source=path).update(last_at=now, times=F("times") + 1, error=said):
        rows.bulk_create(
            [SweepFault(farm=farm, source=path, first_at=now, last_at=now, error=said)], ignore_conflicts=True
        )


# ---- one ticker at a time --------------------------------------------------------------


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
