"""The planned times themselves."""

from __future__ import annotations

from datetime import timedelta

from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.saying import PROJECT, refuse
from farmops.errors import Finding, gettext_noop

LONGEST = timedelta(hours=24)


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: window_backwards, window_long."""
    numbers = {"start": facts.local(facts.start_at), "end": facts.local(facts.end_at)}
    if facts.end_at <= facts.start_at:
        template = gettext_noop("The spray would end at {end}, not after its start at {start}.")
        return [refuse("window_backwards", template, source=PROJECT, field="end_at", **numbers)]
    if facts.end_at - facts.start_at > LONGEST:
        template = gettext_noop("From {start} to {end} is more than 24 hours: plan each day as a job of its own.")
        return [refuse("window_long", template, source=PROJECT, field="end_at", **numbers)]
    return []
