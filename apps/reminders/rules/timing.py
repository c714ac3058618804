"""When an e-mail about a notice may go out, and who hears it next when nobody answers. Plain Python."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from apps.reminders.rules import Level
from farmops.errors import gettext_noop


class Mode(StrEnum):
    """What a person wants of the e-mails of a kind."""

    NOW = "now"
    DIGEST = "digest"
    PAGE = "page"


MODE_NAMES = {
    Mode.NOW: gettext_noop("E-mail at once"),
    Mode.DIGEST: gettext_noop("In the morning e-mail"),
    Mode.PAGE: gettext_noop("Only on the page"),
}

USUAL = {Level.CALL_NOW: Mode.NOW, Level.DO_TODAY: Mode.NOW, Level.INFORMATION: Mode.DIGEST}
"""What holds for a kind about which the person has said nothing (project rule)."""

QUIET_FROM, QUIET_TO = time(20), time(5)
DIGEST_AT = time(5, 15)
"""Farm time; project rule, each person may choose other hours."""

ROLL_UP = timedelta(minutes=10)
"""At most one e-mail in this time to one person, but for what is dangerous: the rest comes together in the next."""

SECOND_AFTER, ALL_AFTER = timedelta(minutes=5), timedelta(minutes=15)
WAITS = {0: SECOND_AFTER, 1: ALL_AFTER}
"""A dangerous notice nobody has acknowledged goes to a second person, then to everybody who can act (project rule)."""


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """What one person on one farm wants to hear, and when."""

    quiet_from: time = QUIET_FROM
    quiet_to: time = QUIET_TO
    digest_at: time = DIGEST_AT
    email: Mapping[str, str] = field(default_factory=dict)
    not_in_calendar: Collection[str] = ()

    def mode(self, kind: str, level: Level) -> Mode:
        """What is dangerous comes at once, whatever was wished."""
        if level is Level.CALL_NOW:
            return Mode.NOW
        return Mode(self.email[kind]) if kind in self.email else USUAL[level]


def mail_at(wishes: Wishes, kind: str, level: Level, *, zone: str, now: datetime) -> datetime | None:
    """The earliest instant the e-mail may go out; None when the page is enough."""
    mode = wishes.mode(kind, level)
    if mode is Mode.PAGE:
        return None
    if mode is Mode.DIGEST:
        return next_at(wishes.digest_at, zone=zone, after=now)
    if level is Level.CALL_NOW or not is_quiet(wishes, zone=zone, now=now):
        return now
    return next_at(wishes.quiet_to, zone=zone, after=now)


def is_quiet(wishes: Wishes, *, zone: str, now: datetime) -> bool:
    """Whether the person's quiet hours run; the same hour twice means none."""
    at, begin, end = now.astimezone(ZoneInfo(zone)).time(), wishes.quiet_from, wishes.quiet_to
    if begin == end:
        return False
    return begin <= at < end if begin < end else at >= begin or at < end


def next_at(at: time, *, zone: str, after: datetime) -> datetime:
    """The next instant after ``after`` at which the farm's clocks show ``at``.

    A time that the spring change skips is reached an hour later by the clock; of one that the
    autumn change repeats the first counts.
    """
    day = after.astimezone(ZoneInfo(zone)).date()
    while True:
        found = datetime.combine(day, at, tzinfo=ZoneInfo(zone)).astimezone(UTC)
        if found > after:
            return found
        day += timedelta(days=1)


def next_midnight(now: datetime, zone: str) -> datetime:
    """When the farm's date changes next: for sources whose answer depends on the date alone."""
    return next_at(time(0), zone=zone, after=now)


def working_day(now: datetime, zone: str) -> date:
    """The day a daily notice belongs to: it begins when the usual quiet hours end, so that none comes at midnight."""
    local = now.astimezone(ZoneInfo(zone))
    return local.date() if local.time() >= QUIET_TO else local.date() - timedelta(days=1)


def next_hearers(told: Collection[int], managers: Sequence[int], applicators: Sequence[int], rung: int) -> list[int]:
    """Who hears a dangerous notice next: one more person on the first rung, then all who can act.

    Managers come before applicators; those who were told already are left out.
    """
    others = [p for p in dict.fromkeys([*managers, *applicators]) if p not in told]
    return others[:1] if rung <= 1 else others


def escalates_at(created_at: datetime, rung: int) -> datetime | None:
    """When a dangerous notice that stands on ``rung`` goes to the next one; None from the top."""
    waits = WAITS.get(rung)
    return None if waits is None else created_at + waits
