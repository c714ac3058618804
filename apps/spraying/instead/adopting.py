"""A way out as changes of the plan: what ``edit_job`` takes, in values that can be sent and sent back."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_DOWN, Decimal
from typing import Any

from apps.spraying.models import Job
from apps.spraying.rules.alternatives import Change, Suggestion, Turn
from apps.spraying.rules.mix import MixLine
from farmops.units import CONTEXT

LEAST_ACRES = Decimal("0.0001")
NO_FORECAST = {"expected_wind_mph": None, "expected_high_f": None, "expected_dry_hours": None}
"""A forecast typed for the planned start says nothing about another one."""


def plan_of(way: Suggestion, job: Job) -> dict[str, Any] | None:
    """The changes of the plan that a way out asks for; ``None`` when part of it lies outside the job (the harvest)."""
    turned = {change.turn for change in way.changes}
    if Turn.HARVEST in turned:
        return None
    plan: dict[str, Any] = {}
    for change in way.changes:
        plan |= _single(change, way)
    if turned & {Turn.BLOCK, Turn.AREA}:
        plan["blocks"] = _blocks(way, job)
    if turned & {Turn.RATE, Turn.PRODUCT}:
        plan["products"] = _products(way, job)
    return plan


def _single(change: Change, way: Suggestion) -> dict[str, Any]:
    first = way.facts[0]
    if change.turn is Turn.START:
        return {"window_starts_at": first.start_at, "window_ends_at": first.end_at, **NO_FORECAST}
    if change.turn is Turn.VOLUME:
        return {"spray_gpa": change.value}
    if change.turn is Turn.APPLICATOR:
        return {"applicator_id": int(change.value), "supervisor_id": None}
    return {}


def _blocks(way: Suggestion, job: Job) -> list[dict[str, Any]]:
    """The blocks that stay; fewer acres are shared out as they were planned, cut and never rounded up."""
    left_out = {change.value for change in way.changes if change.turn is Turn.BLOCK}
    rows = [row for row in job.job_blocks.all() if str(row.block) not in left_out]
    whole = sum((row.planned_acres for row in rows), start=Decimal(0))
    acres = next((Decimal(c.value) for c in way.changes if c.turn is Turn.AREA), whole)
    share = CONTEXT.divide(acres, whole)
    return [
        {
            "block_id": row.block_id,
            "planned_acres": str((row.planned_acres * share).quantize(LEAST_ACRES, rounding=ROUND_DOWN)),
            "zone": row.zone,
        }
        for row in rows
    ]


def _products(way: Suggestion, job: Job) -> list[dict[str, Any]]:
    """The mix with the changed lines in their places; a line that nothing changed stays as it was typed."""
    after = {line.product_id: line for line in way.facts[0].lines}
    swaps = {c.product_id: int(c.value) for c in way.changes if c.turn is Turn.PRODUCT}
    turned = {c.product_id for c in way.changes if c.turn is Turn.RATE} | set(swaps)
    return [
        _line(after[swaps.get(row.product_id, row.product_id)])
        if row.product_id in turned
        else {name: str(getattr(row, name)) for name in ("rate_amount", "rate_unit", "rate_basis")}
        | {"product_id": row.product_id}
        for row in job.job_products.all()
    ]


def _line(line: MixLine) -> Mapping[str, Any]:
    return {
        "product_id": line.product_id,
        "rate_amount": str(line.rate.quantity.amount),
        "rate_unit": line.rate.quantity.unit,
        "rate_basis": line.rate.basis.value,
    }
