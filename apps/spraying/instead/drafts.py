"""A plan that is not in the book: judged like a job, never saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from apps.people.queries import Member
from apps.spraying.inputs import Plan
from apps.spraying.models import Job, JobBlock, JobProduct
from apps.spraying.rules.states import JobState

UNSAVED = -1
"""Rows of an unsaved plan have numbers below zero, which no saved row ever has."""


def unsaved_job(
    *,
    member: Member,
    blocks: Sequence[Mapping[str, Any]],
    products: Sequence[Mapping[str, Any]],
    now: datetime,
    **values: Any,
) -> Job:
    """What ``plan_job`` would write down, as a job that no table knows. Raises ``BadInput`` naming each field."""
    plan = Plan(member.farm, now).read({**DEFAULTS, **values}, blocks, products)
    farm = member.farm
    job = Job(
        pk=UNSAVED, farm=farm, number=0, state=JobState.DRAFT, created_by_id=member.person_id, version=0, **plan.values
    )
    block_rows = [JobBlock(pk=-n, farm=farm, job=job, **line) for n, line in enumerate(plan.blocks, start=1)]
    product_rows = [
        JobProduct(pk=-n, farm=farm, job=job, position=n, **line) for n, line in enumerate(plan.products, start=1)
    ]
    for row in block_rows:
        row.block.farm = farm
    job._prefetched_objects_cache = {"job_blocks": block_rows, "job_products": product_rows}  # type: ignore[attr-defined]
    return job


DEFAULTS: dict[str, Any] = {
    "targets": (),
    "applicator_id": None,
    "supervisor_id": None,
    "spray_gpa": None,
    "water_ph": None,
    "surfactant": False,
    "expected_wind_mph": None,
    "expected_high_f": None,
    "expected_dry_hours": None,
    "notes": "",
}
"""What a plan may leave out, as ``plan_job`` fills it in."""
