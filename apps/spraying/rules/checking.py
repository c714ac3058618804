"""The check: every finding on one block, worst first.

The label in hand is the law; nothing here invents, defaults or shortens a limit.
"""

from __future__ import annotations

from collections.abc import Callable

from apps.spraying.rules import (
    bees,
    ground,
    harvest_entry,
    intervals,
    labels,
    means,
    people,
    rates,
    resistance,
    season,
    tank,
    weather,
    window,
)
from apps.spraying.rules.facts import CheckFacts
from farmops.errors import Finding, worst_first

PARTS: tuple[Callable[[CheckFacts], list[Finding]], ...] = (
    labels.findings,
    window.findings,
    rates.findings,
    season.findings,
    intervals.findings,
    harvest_entry.findings,
    resistance.findings,
    bees.findings,
    weather.findings,
    people.findings,
    ground.findings,
    tank.findings,
    means.findings,
)


def check(facts: CheckFacts) -> list[Finding]:
    """All findings on one block: refusals, then what needs a reason, then notes."""
    return worst_first(finding for part in PARTS for finding in part(facts))
