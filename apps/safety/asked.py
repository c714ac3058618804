"""Reading the question: for what work, and for when. Used by the API and the pages."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from django.utils.dateparse import parse_datetime

from apps.people.models import Farm
from apps.safety.rules import Activity
from farmops import clock
from farmops.errors import BadInput, gettext_noop

FARTHEST = timedelta(days=400)


def work_asked(query: Mapping[str, str]) -> str | None:
    """The activity code, or None when no work is chosen (judged by the strictest)."""
    code = query.get("activity", "").strip()
    if not code:
        return None
    if code not in set(Activity):
        raise BadInput({"activity": f"“{code}” is not a kind of work here. Use one of: {', '.join(Activity)}."})
    return code


def moment_asked(query: Mapping[str, str], farm: Farm, now: datetime) -> datetime:
    """The instant asked about; now when none is given. A time without offset is farm-local."""
    text = query.get("at", "").strip().replace(" ", "+")
    if not text:
        return now
    try:
        moment = parse_datetime(text)
    except ValueError:
        moment = None
    if moment is None:
        raise BadInput({"at": gettext_noop("Use a date and time such as 2026-06-01T09:30:00-05:00.")})
    at = clock.to_utc(moment, farm.time_zone, field="at")
    if abs(at - now) > FARTHEST:
        raise BadInput({"at": gettext_noop("Ask about a time within 400 days of now.")})
    return at
