"""What a page with an answer shows, the same for staff and at the gate, and what it says to its own script."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from hashlib import sha256
from typing import Any

from django.http import HttpResponse

from apps.land.models import Block
from apps.safety import queries, wording
from apps.safety.asked import rest_asked, work_asked
from apps.safety.rules import Activity, Answer, Word

LOOKS = {Word.YES: "allowed", Word.NO: "out", Word.UNKNOWN: "unknown"}
GRACE_SECONDS = 3
"""How long after its end a page without a working script is loaded again."""


def seconds_left(answer: Answer, now: datetime) -> int:
    """Whole seconds for which the page may show the answer, rounded down."""
    return max(0, int((answer.good_until - now).total_seconds()))


def said(answer: Answer, zone: str, now: datetime, *, harvest: bool = False) -> dict[str, Any]:
    """One answer in words, in both languages."""
    return {
        "look": LOOKS[answer.answer],
        "seconds": seconds_left(answer, now),
        "headline": wording.headline(answer, harvest=harvest),
        "second": wording.second_line(answer, zone),
        "remaining": wording.remaining(answer),
        "good_until": wording.good_until(answer, zone),
        "checked": wording.checked(answer, zone),
        "reasons": [{"both": wording.both(b, zone), "because": b} for b in answer.because],
    }


def answer_context(ground: Block, query: Mapping[str, str], now: datetime) -> dict[str, Any]:
    """Both answers for one block and one kind of work. ``BadInput`` for a question that cannot be read."""
    activity, rest = work_asked(query), rest_asked(query)
    entry = queries.entry_answer(ground, activity=activity, at=now, now=now, rest=rest)
    harvest = queries.harvest_answer(ground, at=now, now=now, rest=rest)
    zone = wording.zone_of(ground.farm)
    return {
        "farm": ground.farm,
        "ground": ground,  # Django keeps the name "block" for its own tag
        "activity": activity,
        "rest": rest,
        "only_a_part": any(b.code == "only_a_part" for b in (*entry.because, *harvest.because)),
        "work": wording.work_name(activity),
        "works": [(code.value, wording.ACTIVITY_NAMES[code]) for code in Activity],
        "fixed": wording,
        "answer": entry,
        "said": said(entry, zone, now),
        "harvest": harvest,
        "picking": said(harvest, zone, now, harvest=True),
        "mark": mark_of([entry, harvest]),
    }


def mark_of(answers: Iterable[Answer]) -> str:
    """Changes when what the answers say changes, and not with the time they were given."""
    parts = [(a.answer, a.opens_at, sorted((b.code, b.closure_id or 0) for b in a.because)) for a in answers]
    return sha256(repr(parts).encode()).hexdigest()[:16]


def say(response: HttpResponse, context: Mapping[str, Any]) -> HttpResponse:
    """Headers of an answer: for no cache, its mark for the page's script, and its end for pages without one."""
    response.headers["Cache-Control"] = "no-store"
    if "answer" not in context:
        response.headers["Farm-Answer"] = f"mark={context['mark']}"
        return response
    entry, harvest = context["answer"], context["harvest"]
    response.headers["Farm-Answer"] = f"entry={entry.answer} harvest={harvest.answer} mark={context['mark']}"
    if not entry.keep_out:
        response.headers["Refresh"] = str(context["said"]["seconds"] + GRACE_SECONDS)
    return response
