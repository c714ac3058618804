"""Which answers a closure that was hung later speaks against. Plain Python."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from apps.safety.rules.facts import Closure, Kind
from apps.safety.rules.verdicts import binds
from farmops.errors import gettext_noop

EXPOSING = frozenset({Kind.UNDERWAY, Kind.UNCONFIRMED, Kind.ENTRY, Kind.ZONE})
"""What says that ground was, or may have been, treated or in the spray. A plan or a sign does not."""


class How(StrEnum):
    """How somebody got an answer."""

    PAGE = "page"
    API = "api"
    TASK = "task"  # started a task on it


@dataclass(frozen=True, kw_only=True)
class Yes:
    """A yes somebody had, and for how long it was good."""

    id: int
    about_at: datetime
    good_until: datetime
    activity: str = ""
    rest: bool = False


STEPS = (
    gettext_noop("Get the people out of the ground now, and keep others out."),
    gettext_noop("Whoever feels ill, or was wetted: act now. Call 911; bring them to medical care at once."),
    gettext_noop("Wash skin with plenty of water and soap, and change clothes."),
    gettext_noop("Give medical staff the product name, its registration number and its safety data sheet."),
    gettext_noop("Watch for signs of illness for 72 hours, and offer transport to medical care."),
    gettext_noop("Write down who was where and when. Nothing of the record is deleted."),
)
"""40 CFR 170.309(f); first aid as labels commonly word it, from memory."""


def contradicted(closure: Closure, answers: Iterable[Yes], *, now: datetime) -> list[Yes]:
    """The answers whose time overlaps the time for which this closure says that people should have been out.

    An interval that has run by now speaks only against answers before its end; one that has no end, or goes on, up
    to now. Half-open on both sides.
    """
    if closure.kind not in EXPOSING:
        return []
    end = now if closure.ends_at is None else min(closure.ends_at, now)
    return [
        a
        for a in answers
        if binds(closure, a.activity or None)
        and not (a.rest and closure.part is not None)
        and a.about_at < max(end, closure.starts_at)
        and a.good_until > closure.starts_at
    ]
