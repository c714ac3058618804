"""Reading the question: for what work, and for when. Used by the API and the pages."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from datetime import datetime, timedelta

from django.utils.dateparse import parse_datetime

from apps.people.models import Farm
from apps.safety.rules import CLOCKS_DIFFER, Activity
from farmops import clock
from farmops.errors import BadInput, Said, gettext_noop

FARTHEST = timedelta(days=400)
REST = "rest"
NAMES = frozenset({"activity", "at", "part"})


def only_known(query: Mapping[str, str], *, but: Collection[str] = ()) -> None:
    """A misspelt question must not be answered as if it had not been asked: ``BadInput`` names it."""
    template = gettext_noop("There is no such parameter. Use activity and at.")
    if not but:
        template = gettext_noop("There is no such parameter. Use activity, at and part.")
    unknown = dict.fromkeys(set(query) - (NAMES - set(but)), template)
    if unknown:
        raise BadInput(unknown)


def work_asked(query: Mapping[str, str]) -> str | None:
    """The activity code, or None when no work is chosen (judged by the strictest)."""
    code = query.get("activity", "").strip()
    if not code:
        return None
    if code not in set(Activity):
        raise BadInput(
            {
                "activity": Said(
                    gettext_noop("“{code}” is not a kind of work here. Use one of: {codes}."),
                    code=code,
                    codes=", ".join(Activity),
                )
            }
        )
    return code


def rest_asked(query: Mapping[str, str]) -> bool:
    """Whether the question is about the ground outside every mapped part that was treated."""
    named = query.get("part", "").strip()
    if named not in {"", REST}:
        raise BadInput({"part": gettext_noop("Use part=rest to ask about the ground outside the mapped parts.")})
    return named == REST


def moment_asked(query: Mapping[str, str], farm: Farm, now: datetime) -> datetime:
    """The instant asked about, now or later; now when none is given. A time without offset is farm-local.

    The past is refused: a phone whose clock is slow would get yesterday's yes. Clocks that differ a
    little are forgiven, and the answer is about the server's now.
    """
    text = query.get("at", "").strip()
    if not text:
        return now
    at = clock.to_utc(_read(text), farm.time_zone, field="at")
    if at < now - CLOCKS_DIFFER:
        raise BadInput({"at": gettext_noop("Ask about now or later; leave it out to ask about now.")})
    if at > now + FARTHEST:
        raise BadInput({"at": gettext_noop("Ask about a time within 400 days of now.")})
    return max(at, now)


def _read(text: str) -> datetime:
    # A plus sign that was not percent-encoded arrives as a space.
    text = re.sub(r" (\d{2}:?\d{2})$", r"+\1", text) if "T" in text or text.count(" ") > 1 else text
    try:
        moment = parse_datetime(text)
    except ValueError:
        moment = None
    if moment is None:
        raise BadInput({"at": gettext_noop("Use a date and time such as 2026-06-01T09:30:00-05:00.")})
    return moment
