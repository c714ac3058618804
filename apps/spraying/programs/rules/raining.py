"""Rain after a spray: when it asks for a decision.

A gauge tells how much fell between two looks, never when. So rain that may have fallen in the time that counts is
taken to have fallen in it: that can only ask once too often.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum

from apps.spraying.programs.rules.facts import Choice, Decision, Program, Rain, Spray

HEAVY_WITHIN = timedelta(hours=24)
HEAVY_SOURCE = "project rule: heavy rain within a day of a protectant; common practice, no source"
ANSWERS = frozenset({Choice.CONTINUE, Choice.RESPRAY, Choice.END})


class AskKind(StrEnum):
    """Why a decision is asked for."""

    HEAVY_RAIN = "heavy_rain"
    RAIN_TOO_SOON = "rain_too_soon"


@dataclass(frozen=True, kw_only=True)
class Ask:
    """A question about the last spray. ``limit``: inches for heavy rain, hours for a label's rain-free time."""

    kind: AskKind
    spray: Spray
    inches: Decimal
    limit: Decimal
    source: str
    answered: Decision | None = None


def asks(program: Program, spray: Spray, rains: Sequence[Rain], decisions: Sequence[Decision]) -> tuple[Ask, ...]:
    """Every question the rain after ``spray`` raises, answered or not."""
    found = []
    if spray.protectant:
        wet = during(rains, spray.ended_at, spray.ended_at + HEAVY_WITHIN)
        if fallen(wet) >= program.rain_inches:
            found.append(_ask(AskKind.HEAVY_RAIN, spray, wet, program.rain_inches, HEAVY_SOURCE, decisions))
    if spray.rain_free_hours:
        hours = timedelta(seconds=float(spray.rain_free_hours * 3600))
        wet = during(rains, spray.ended_at, spray.ended_at + hours)
        if fallen(wet) > 0:
            source = spray.rain_free_source
            found.append(_ask(AskKind.RAIN_TOO_SOON, spray, wet, spray.rain_free_hours, source, decisions))
    return tuple(found)


def during(rains: Iterable[Rain], from_at: datetime, until_at: datetime) -> tuple[Rain, ...]:
    """Gauge readings of which any part lies in the time: half-open, so a reading that ends at its start is out."""
    return tuple(r for r in rains if r.inches > 0 and r.from_at < until_at and r.until_at > from_at)


def fallen(rains: Sequence[Rain]) -> Decimal:
    """Inches that may have fallen: the block's own gauge or the farm's, whichever caught more.

    Two readings of one gauge over the same time are one: the larger counts.
    """
    totals = []
    for own in (True, False):
        spans: dict[tuple[datetime, datetime], Decimal] = {}
        for r in (r for r in rains if r.own is own):
            span = (r.from_at, r.until_at)
            spans[span] = max(spans.get(span, Decimal(0)), r.inches)
        totals.append(sum(spans.values(), start=Decimal(0)))
    return max(totals)


def _ask(
    kind: AskKind, spray: Spray, wet: Sequence[Rain], limit: Decimal, source: str, decisions: Sequence[Decision]
) -> Ask:
    """Answered by the last decision that came after all of this rain was known."""
    known_at = max(r.recorded_at for r in wet)
    after = [d for d in decisions if d.choice in ANSWERS and d.at >= max(known_at, spray.ended_at)]
    answer = min(after, key=lambda d: d.at, default=None)
    return Ask(kind=kind, spray=spray, inches=fallen(wet), limit=limit, source=source, answered=answer)
