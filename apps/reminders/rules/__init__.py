"""What a notice is, how loud it is, and when its e-mail is tried again. Plain Python.

Any app may tell people something: a notice kind is a short code of that app's own, and
``register`` says once how much it weighs. Nothing here knows what the kinds mean.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from enum import StrEnum
from string import Formatter
from typing import Any
from zoneinfo import ZoneInfo

from farmops import wording
from farmops.errors import gettext_noop

LATE_AFTER = timedelta(minutes=5)
"""A sweep older than this turns the banner on (project rule)."""

LEASE = timedelta(seconds=60)
"""How long a claimed e-mail is left to the process that claimed it."""

MAX_ATTEMPTS = 8
"""After so many tries an e-mail is given up; the notice stays on the page."""


class Level(StrEnum):
    """How much a notice asks of its reader. Never a label signal word."""

    CALL_NOW = "call_now"
    DO_TODAY = "do_today"
    INFORMATION = "information"


LEVEL_NAMES = {
    Level.CALL_NOW: gettext_noop("Call now"),
    Level.DO_TODAY: gettext_noop("Do today"),
    Level.INFORMATION: gettext_noop("For your information"),
}

_LEVELS: dict[str, Level] = {}
_CODE = re.compile(r"[a-z][a-z0-9_]{1,39}")


def register(kind: str, level: Level) -> str:
    """Say how much notices of ``kind`` weigh; returns the code. Two opinions raise ``ValueError``."""
    if not _CODE.fullmatch(kind):
        raise ValueError(f"a notice kind is a lower-case code of at most 40 letters, not {kind!r}")
    if _LEVELS.setdefault(kind, level) is not level:
        raise ValueError(f"notice kind {kind} already weighs {_LEVELS[kind]}")
    return kind


def kinds() -> list[tuple[str, Level]]:
    """Every kind that may be told, with its weight, by code."""
    return sorted(_LEVELS.items())


def level_of(kind: str, *, urgent: bool) -> Level:
    """Urgent notices ask for a call now; a kind nobody registered is for information."""
    return Level.CALL_NOW if urgent else _LEVELS.get(kind, Level.INFORMATION)


@dataclass(frozen=True)
class Words:
    """A phrase (``gettext_noop``) that is translated when the notice is shown, not when it is written.

    It may have slots of its own (text as ``farmops.wording.fill`` takes it): a finding inside a notice.
    """

    phrase: str
    numbers: Mapping[str, str] = field(default_factory=dict)


Slot = str | int | Decimal | datetime | date | Words
"""What may fill a slot. Instants and dates are shown in the farm's zone and the reader's language."""


@dataclass(frozen=True, kw_only=True)
class Due:
    """Something an app says is due now: who must hear which sentence, about what, on which occasion.

    A person hears each (kind, subject, occasion) once, however often it stays due. ``template``
    is an English sentence with named slots and the message id of its translation. ``at`` and
    ``until`` (both instants, or both dates, the last one included) say when it happens, for calendars. ``things``
    names what a notice about several things is about: when one is added it is told again, when one
    is gone only its words change.
    """

    kind: str
    subject_type: str
    subject_id: int | str
    occasion: str
    person_ids: Sequence[int]
    template: str
    numbers: Mapping[str, Slot] = field(default_factory=dict)
    path: str = ""
    urgent: bool = False
    at: datetime | date | None = None
    until: datetime | date | None = None
    things: Collection[str] = ()

    def __post_init__(self) -> None:
        if trouble := _trouble(self):
            raise ValueError(f"notice {self.kind}: {trouble}")

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What makes it one notice for each person it is for."""
        return (self.kind, self.subject_type, str(self.subject_id), self.occasion)


LISTED = 8
"""How many names a notice lists; of more it says how many there are (project rule)."""


def listed(names: Iterable[str]) -> str:
    """ "B1, B2, B3", each once in the order given; of more than ``LISTED`` the first and how many in all."""
    every = list(dict.fromkeys(names))
    return ", ".join(every) if len(every) <= LISTED else f"{', '.join(every[:LISTED])} … ({len(every)})"


def rolled(found: Iterable[Due], *, slot: str, subject: tuple[str, int | str], path: str) -> list[Due]:
    """One notice about ``subject`` for all of ``found`` of a kind on the same occasion for the same people.

    Where they differ in ``slot`` alone its values are listed; others are left as they are, each by
    itself. ``path`` is where a notice about several leads.
    """
    groups: dict[tuple[object, ...], list[Due]] = {}
    for due in found:
        groups.setdefault((due.kind, due.occasion, tuple(due.person_ids)), []).append(due)
    made: list[Due] = []
    for group in groups.values():
        alike = all(_apart_from(due, slot) == _apart_from(group[0], slot) for due in group)
        made += [_one_for(group, slot, subject, path)] if alike else group
    return made


def _apart_from(due: Due, slot: str) -> tuple[object, ...]:
    rest = {name: value for name, value in due.numbers.items() if name != slot}
    return (due.template, rest, due.urgent, due.at, due.until)


def _one_for(group: Sequence[Due], slot: str, subject: tuple[str, int | str], path: str) -> Due:
    first = group[0]
    return replace(
        first,
        subject_type=subject[0],
        subject_id=subject[1],
        numbers={**first.numbers, slot: listed(sorted(str(due.numbers[slot]) for due in group))},
        path=first.path if len(group) == 1 else path,
        things=sorted({f"{due.subject_type} {due.subject_id}" for due in group}),
    )


@dataclass(frozen=True, kw_only=True)
class When:
    """When the thing a notice is about happens: instants, or the midnights around whole days."""

    starts_at: datetime | None = None
    ends_at: datetime | None = None
    all_day: bool = False


def when(due: Due, zone: str) -> When:
    """Dates as the instants at which the farm's days begin and end."""
    begin, end = due.at, due.until
    if begin is None or isinstance(begin, datetime):
        return When(starts_at=begin, ends_at=end if isinstance(end, datetime) else None)
    last = end if end is not None and not isinstance(end, datetime) else begin
    return When(
        starts_at=_midnight(begin, zone), ends_at=_midnight(max(begin, last) + timedelta(days=1), zone), all_day=True
    )


def _midnight(on: date, zone: str) -> datetime:
    return datetime.combine(on, time(0), tzinfo=ZoneInfo(zone)).astimezone(UTC)


def _trouble(due: Due) -> str:
    """Why this could not be stored or shown; the database would only say so on one of the two engines."""
    if not _CODE.fullmatch(due.kind):
        return "its kind must be a lower-case code of at most 40 letters"
    for name, most in (("subject_type", 40), ("subject_id", 40), ("occasion", 120), ("path", 300)):
        if len(str(getattr(due, name))) > most:
            return f"{name} is longer than {most}"
    if any(isinstance(v, datetime) and v.utcoffset() is None for v in (due.at, due.until)):
        return "its instant needs a zone"
    if due.path and not re.match(r"/(?!/)", due.path):
        return "path must begin with one slash"
    wanted = {slot for _, slot, _, _ in Formatter().parse(due.template) if slot is not None}
    if missing := wanted - set(due.numbers):
        return f"nothing to fill {', '.join(sorted(missing))}"
    return ""


def stored(numbers: Mapping[str, Slot], zone: str) -> dict[str, Any]:
    """Slots as JSON: text that ``farmops.wording.fill`` words, phrases marked to be translated when shown."""
    return {name: _store(value, zone) for name, value in numbers.items()}


def _store(value: Slot, zone: str) -> str | dict[str, Any]:
    if isinstance(value, datetime):
        if value.utcoffset() is None:
            raise ValueError("an instant in a notice needs its zone")
        return wording.stamp(value, zone)
    if isinstance(value, Words):
        return {"words": value.phrase, **({"numbers": dict(value.numbers)} if value.numbers else {})}
    return str(value)


def pause_after(attempts: int) -> timedelta:
    """How long to wait after the ``attempts``-th failed try: 1, 2, 4 … 64 minutes."""
    return timedelta(minutes=2 ** min(max(attempts - 1, 0), 6))


def is_late(last_finished_at: datetime | None, now: datetime) -> bool:
    """Whether reminders may be missing: no sweep has ended within ``LATE_AFTER``, or none ever."""
    return last_finished_at is None or now - last_finished_at > LATE_AFTER
