"""Writing notices, changing them and taking them back.

Writing a notice never talks to a broker or a mail server: it is a row in the caller's
transaction, gone if that rolls back. The sweep does the rest.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from django.db import transaction

from apps.people import queries as people
from apps.people.models import Farm, Membership
from apps.people.rules import Role
from apps.reminders import queries, rules
from apps.reminders.models import Notice
from apps.reminders.rules import Due, Slot, timing
from apps.reminders.services import calls

CHUNK = 300
WORDS = ["template", "numbers", "path", "things", "starts_at", "ends_at", "all_day", "changed_at", "version"]
AGAIN = ["urgent", "turn", "withdrawn_at", "seen_at", "due_at", "letter", "rung", "escalates_at"]
Key = tuple[int, str, str, str, str]


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
    at: datetime | date | None = None,
    until: datetime | date | None = None,
) -> None:
    """Write one notice for each person id in ``to``, in the caller's transaction.

    A notice that exists already (same person, kind, subject and occasion) is left as it is.
    ``template`` is an English sentence (``gettext_noop``) whose slots ``numbers`` fills; give
    instants and dates as such, they are shown in the farm's zone and the reader's language.
    ``at`` and ``until`` say when it happens, for calendars. ``ValueError`` when the notice could
    not be stored or shown.
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
        at=at,
        until=until,
    )
    write(farm, [due], now)


def withdraw(*, farm: Farm, kind: str, subject: tuple[str, int | str], now: datetime) -> int:
    """Take back what was told, because its reason is gone; returns how many. What was e-mailed stays so."""
    rows = Notice.objects.for_farm(farm).filter(
        kind=kind, subject_type=subject[0], subject_id=str(subject[1]), withdrawn_at=None
    )
    return take_back(farm, list(rows), now)


@transaction.atomic(savepoint=False)
def take_back(farm: Farm, rows: Sequence[Notice], now: datetime) -> int:
    for row in rows:
        row.withdrawn_at, row.changed_at, row.version = now, now, row.version + 1
    columns = ["withdrawn_at", "changed_at", "version"]
    Notice.objects.for_farm(farm).bulk_update(rows, columns, batch_size=CHUNK) if rows else None
    calls.announce(farm, rows, event="withdrawn", now=now)
    return len(rows)


def standing_on(farm: Farm) -> dict[str, list[Notice]]:
    """Source -> its notices that stand. One query for all sources."""
    found: dict[str, list[Notice]] = {}
    for row in Notice.objects.for_farm(farm).filter(withdrawn_at=None).exclude(source=""):
        found.setdefault(row.source, []).append(row)
    return found


def reconcile(
    farm: Farm, source: str, dues: Sequence[Due], now: datetime, *, standing: Sequence[Notice] | None = None
) -> int:
    """Make the standing notices of ``source`` (read here unless given) what it says is due; returns how many were new.

    New reasons are told, changed ones re-worded, those that came back or grew told again, those
    that are gone withdrawn.
    """
    if standing is None:
        standing = Notice.objects.for_farm(farm).filter(source=source, withdrawn_at=None)
    if not (dues or standing):
        return 0
    with transaction.atomic():
        made = write(farm, dues, now, source=source)
        wanted = {due.key for due in dues}
        gone = [row for row in standing if (row.kind, row.subject_type, row.subject_id, row.occasion) not in wanted]
        take_back(farm, gone, now)
    return made


@transaction.atomic(savepoint=False)
def write(farm: Farm, dues: Sequence[Due], now: datetime, *, source: str = "") -> int:
    """Insert the notices that do not exist yet; returns how many were missing or came back.

    A notice and the calls that carry it stand or fall together: cut off between the two, the
    next sweep would find the notice and never call.
    """
    if not dues:
        return 0
    here = working_here(farm, {p for due in dues for p in due.person_ids})
    wanted = {(p, *due.key): due for due in dues for p in _hearers(farm, due, here)}
    keys, made = list(wanted), 0
    for start in range(0, len(keys), CHUNK):
        part = keys[start : start + CHUNK]
        there = _existing(farm, part)
        fresh = _rows(farm, {k: wanted[k] for k in part if k not in there}, here, now, source)
        # Somebody may insert the same one between look and write: the constraint decides.
        Notice.objects.for_farm(farm).bulk_create(fresh, ignore_conflicts=True) if fresh else None
        back = _refresh(farm, [(row, wanted[key]) for key, row in there.items()], now) if source else []
        calls.announce(farm, [*fresh, *back], event="told", now=now)
        made += len(fresh) + len(back)
    return made


def working_here(farm: Farm, person_ids: Collection[int]) -> dict[int, str]:
    """E-mail address of those who work on the farm now ('' for those without one)."""
    if not person_ids:
        return {}
    places = Membership.objects.for_farm(farm).filter(person_id__in=person_ids, active=True, person__is_active=True)
    return dict(places.values_list("person_id", "person__email"))


def _hearers(farm: Farm, due: Due, here: dict[int, str]) -> list[int]:
    """Those named who still work here. If all of them have left, the managers hear it instead."""
    found = sorted({p for p in due.person_ids if p in here})
    if found or not due.person_ids:
        return found
    managers = people.person_ids_with(farm, Role.MANAGER)
    here.update(working_here(farm, managers))
    return managers


def _existing(farm: Farm, keys: Sequence[Key]) -> dict[Key, Notice]:
    persons, kinds, types, subjects, occasions = (set(column) for column in zip(*keys, strict=True))
    rows = Notice.objects.for_farm(farm).filter(
        person_id__in=persons,
        kind__in=kinds,
        subject_type__in=types,
        subject_id__in=subjects,
        occasion__in=occasions,
    )
    named = {(r.person_id, r.kind, r.subject_type, r.subject_id, r.occasion): r for r in rows}
    return {key: named[key] for key in keys if key in named}


def _rows(
    farm: Farm, wanted: Mapping[Key, Due], addresses: Mapping[int, str], now: datetime, source: str
) -> list[Notice]:
    if not wanted:
        return []
    wishes = queries.wishes(farm, {key[0] for key in wanted})
    return [
        Notice(
            farm=farm,
            person_id=key[0],
            kind=due.kind,
            subject_type=due.subject_type,
            subject_id=str(due.subject_id),
            occasion=due.occasion,
            urgent=due.urgent,
            source=source,
            created_at=now,
            due_at=_mail_at(farm, due, wishes[key[0]], now) if addresses.get(key[0]) else None,
            escalates_at=timing.escalates_at(now, 0) if due.urgent else None,
            **_words(farm, due),
        )
        for key, due in wanted.items()
    ]


def _words(farm: Farm, due: Due) -> dict[str, Any]:
    """The columns that may change while the notice stands."""
    return {
        "template": due.template,
        "numbers": rules.stored(due.numbers, farm.time_zone),
        "path": due.path,
        "things": list(due.things),
        **asdict(rules.when(due, farm.time_zone)),
    }


def _mail_at(farm: Farm, due: Due, wishes: timing.Wishes, now: datetime) -> datetime | None:
    level = rules.level_of(due.kind, urgent=due.urgent)
    return timing.mail_at(wishes, due.kind, level, zone=farm.time_zone, now=now)


def _refresh(farm: Farm, pairs: Iterable[tuple[Notice, Due]], now: datetime) -> list[Notice]:
    """Re-word what changed and revive what came back or is about more things than before; returns the revived."""
    changed, back = [], []
    for row, due in pairs:
        words = _words(farm, due)
        if row.withdrawn_at is None and all(getattr(row, name) == value for name, value in words.items()):
            continue
        again = row.withdrawn_at is not None or not set(due.things) <= set(row.things)
        (back if again else changed).append(row)
        if again:
            row.urgent = due.urgent
        for name, value in words.items():
            setattr(row, name, value)
        row.changed_at, row.version = now, row.version + 1
    rows = Notice.objects.for_farm(farm)
    if changed:  # nothing but the words: somebody may see or post it at this moment
        rows.bulk_update(changed, WORDS, batch_size=CHUNK)
    if back:
        _post_again(farm, back, now)
        rows.bulk_update(back, [*WORDS, *AGAIN], batch_size=CHUNK)
    return back


def _post_again(farm: Farm, rows: Sequence[Notice], now: datetime) -> None:
    """A reason that came back is a new reason: its e-mail goes out again."""
    addresses = working_here(farm, {row.person_id for row in rows})
    wishes = queries.wishes(farm, addresses)
    for row in rows:
        level = rules.level_of(row.kind, urgent=row.urgent)
        row.turn, row.withdrawn_at, row.seen_at = row.turn + 1, None, None
        row.letter = row.due_at = None
        if addresses.get(row.person_id):
            row.due_at = timing.mail_at(wishes[row.person_id], row.kind, level, zone=farm.time_zone, now=now)
        row.rung, row.escalates_at = 0, timing.escalates_at(now, 0) if row.urgent else None
