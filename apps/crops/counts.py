"""Reading thresholds and scouting counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet

from apps.crops.models import ScoutCount, ThresholdRow
from apps.crops.rules import (
    SHIPPED,
    CountAnswer,
    EventKind,
    Measure,
    Place,
    PlantingFact,
    StartedAs,
    Surety,
    Threshold,
    Unit,
    Verdict,
    judge_count,
)
from apps.people.models import Farm
from apps.people.queries import one
from farmops.errors import Unknown

NUMBERS = ("sample_min", "places_min", "places", "per_place", "hold_days")


@dataclass(frozen=True, kw_only=True)
class FarmThreshold:
    """A threshold as the farm has it. ``version`` 0 = as it came with the book; ``active`` false = not offered."""

    rule: Threshold
    version: int = 0
    active: bool = True

    @property
    def changed(self) -> bool:
        """Whether the farm changed one that came with the book."""
        return self.version > 0 and self.rule.code in SHIPPED

    @property
    def code(self) -> str:
        return self.rule.code


def thresholds(farm: Farm) -> dict[str, FarmThreshold]:
    """code -> threshold: those that came with the book, as far as the farm has not changed them, and its own."""
    found = {code: FarmThreshold(rule=rule) for code, rule in SHIPPED.items()}
    for row in ThresholdRow.objects.for_farm(farm).order_by("name", "code"):
        found[row.code] = FarmThreshold(rule=rule_of(row), version=row.version, active=row.active)
    return found


def threshold(farm: Farm, code: str) -> FarmThreshold:
    """One threshold of the farm, or ``Unknown``."""
    found = thresholds(farm).get(code)
    if found is None:
        raise Unknown()
    return found


def rule_of(row: ThresholdRow) -> Threshold:
    """A row -> the fact the rules read."""
    return Threshold(
        code=row.code,
        name=row.name,
        pest=row.pest,
        measure=Measure(row.measure),
        unit=Unit(row.unit),
        treat_at=row.treat_at,
        crops=tuple(row.crops),
        when=row.when,
        walk=row.walk,
        source=row.source,
        surety=Surety(row.surety),
        **{name: getattr(row, name) for name in NUMBERS},
    )


def as_json(rule: Threshold) -> dict[str, Any]:
    """A threshold as it is kept beside a count."""
    words = ("code", "name", "pest", "when", "walk", "source")
    return {
        **{name: getattr(rule, name) for name in (*words, *NUMBERS)},
        "measure": rule.measure.value,
        "unit": rule.unit.value,
        "surety": rule.surety.value,
        "treat_at": str(rule.treat_at),
        "crops": list(rule.crops),
    }


def from_json(kept: dict[str, Any]) -> Threshold:
    """A threshold as it was when something was counted by it."""
    return Threshold(
        **{
            **kept,
            "measure": Measure(kept["measure"]),
            "unit": Unit(kept["unit"]),
            "surety": Surety(kept["surety"]),
            "treat_at": Decimal(kept["treat_at"]),
            "crops": tuple(kept["crops"]),
        }
    )


def counts(farm: Farm) -> QuerySet[ScoutCount]:
    """Standing counts, newest look first."""
    return (
        ScoutCount.objects.for_farm(farm)
        .filter(withdrawn_at=None)
        .select_related("recorded_by", "block", "planting__crop")
        .order_by("-looked_on", "-pk")
    )


def count(farm: Farm, count_id: int) -> ScoutCount:
    """One standing count, or ``Unknown``."""
    row: ScoutCount = one(counts(farm).filter(pk=count_id))
    return row


def answer_of(row: ScoutCount) -> CountAnswer:
    """What a count says by the threshold it was made with. No query."""
    spots = [Place(examined=examined, found=found) for examined, found in row.spots]
    return judge_count(from_json(row.rule), spots, row.nights)


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A count beside what it says."""

    row: ScoutCount
    answer: CountAnswer

    @property
    def rule(self) -> Threshold:
        return from_json(self.row.rule)


def judged(row: ScoutCount) -> Judged:
    return Judged(row=row, answer=answer_of(row))


def reached(farm: Farm, block_ids: Iterable[int], *, since: date | None = None) -> dict[int, list[ScoutCount]]:
    """block id -> counts that reached their threshold, oldest first; one query."""
    rows = counts(farm).filter(block_id__in=set(block_ids), verdict=Verdict.REACHED.value)
    if since is not None:
        rows = rows.filter(looked_on__gte=since)
    found: dict[int, list[ScoutCount]] = defaultdict(list)
    for row in rows.order_by("looked_on", "pk"):
        found[row.block_id].append(row)
    return found


def held_until(rule: Threshold, planting: PlantingFact | None) -> date | None:
    """The last day a systemic seed treatment is reckoned to cover the crop, if the farm says so.

    Counted from emergence; transplants have no cover (Ohio State, VegNet, May 2024). ``None`` = nothing holds it.
    """
    if rule.hold_days is None or planting is None or planting.started_as is StartedAs.TRANSPLANT:
        return None
    emerged_on = planting.happened(EventKind.EMERGED)
    return emerged_on + timedelta(days=rule.hold_days) if emerged_on else None
