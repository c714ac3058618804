"""Writing a job down, and changing it while it is a draft."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.models import Farm
from apps.people.queries import Member
from apps.spraying import checking, queries
from apps.spraying.inputs import Plan
from apps.spraying.models import Job, JobBlock, JobProduct
from apps.spraying.rules.states import TRANSITIONS, JobState, Step
from apps.spraying.services.moves import locked, move, remember

PLAIN = (
    "targets",
    "sprayer_id",
    "applicator_id",
    "supervisor_id",
    "window_starts_at",
    "window_ends_at",
    "spray_gpa",
    "water_ph",
    "surfactant",
    "expected_wind_mph",
    "expected_high_f",
    "expected_dry_hours",
    "notes",
)


@transaction.atomic
def plan_job(
    *,
    member: Member,
    blocks: Sequence[Mapping[str, Any]],
    products: Sequence[Mapping[str, Any]],
    sprayer_id: int,
    window_starts_at: datetime,
    window_ends_at: datetime,
    now: datetime,
    applicator_id: int | None = None,
    supervisor_id: int | None = None,
    targets: Sequence[str] = (),
    spray_gpa: object = None,
    water_ph: object = None,
    surfactant: bool = False,
    expected_wind_mph: object = None,
    expected_high_f: object = None,
    expected_dry_hours: object = None,
    notes: str = "",
) -> Job:
    """Write a job down as a draft, with what the check says about it now.

    ``blocks``: ``block_id``, optional ``planned_acres`` (the planted acres if not given) and ``zone``.
    ``products``: ``product_id``, ``rate_amount``, ``rate_unit``, ``rate_basis``. Window times are aware.
    ``spray_gpa`` not given takes the sprayer's calibration. ``expected_…``: wind, highest temperature and hours
    without rain as forecast. Raises ``BadInput`` naming each field.
    """
    member.require(TRANSITIONS[Step.PLAN].can)
    values = {
        "targets": targets,
        "sprayer_id": sprayer_id,
        "applicator_id": applicator_id,
        "supervisor_id": supervisor_id,
        "window_starts_at": window_starts_at,
        "window_ends_at": window_ends_at,
        "spray_gpa": spray_gpa,
        "water_ph": water_ph,
        "surfactant": surfactant,
        "expected_wind_mph": expected_wind_mph,
        "expected_high_f": expected_high_f,
        "expected_dry_hours": expected_dry_hours,
        "notes": notes,
    }
    plan = Plan(member.farm, now).read(values, blocks, products)
    Farm.objects.select_for_update(no_key=True).get(pk=member.farm.pk)  # one number each
    last = Job.objects.for_farm(member.farm).order_by("-number").values_list("number", flat=True).first()
    row = Job.objects.add(
        farm=member.farm,
        number=(last or 0) + 1,
        state=JobState.DRAFT,
        created_by_id=member.person_id,
        **plan.values,
    )
    _write_lines(row, plan)
    job = _judged(row, now)
    remember(job, Step.PLAN, from_state="", member=member, now=now)
    audit.record(farm=job.farm, actor=member, verb=Step.PLAN.value, subject=job, now=now, after=_summary(job))
    return job


@transaction.atomic
def edit_job(*, member: Member, job_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime) -> Job:
    """Change a draft. ``changes`` holds any inputs of ``plan_job``; lines given replace all lines of their kind."""
    job = locked(member, job_id, Step.EDIT, expected_version=expected_version)
    before = _summary(job)
    values = {name: changes.get(name, getattr(job, name)) for name in PLAIN}
    blocks = changes.get("blocks", _block_inputs(job))
    products = changes.get("products", _product_inputs(job))
    plan = Plan(member.farm, now).read(values, blocks, products)
    JobBlock.objects.for_farm(job.farm).filter(job=job).delete()
    JobProduct.objects.for_farm(job.farm).filter(job=job).delete()
    move(job, Step.EDIT, member=member, now=now, changes=plan.values)
    _write_lines(job, plan)
    job = _judged(job, now)
    audit.record(
        farm=job.farm,
        actor=member,
        verb="changed the plan of",
        subject=job,
        now=now,
        before=before,
        after=_summary(job),
    )
    return job


def _judged(row: Job, now: datetime) -> Job:
    """The job read again, with what the check says now kept beside it."""
    job = queries.job(row.farm, row.pk)
    found = checking.check_job(job, checking.planned(job, now))
    note_ground(job, found)
    job.findings = checking.snapshot(found)
    Job.objects.for_farm(job.farm).filter(pk=job.pk).update(findings=job.findings)
    return job


def note_ground(job: Job, found: Sequence[checking.BlockFindings]) -> None:
    """Keep what stood on each block when it was judged: history is read by it."""
    crops = {b.block_id: b.facts for b in found}
    for row in job.job_blocks.all():
        row.site_code = crops[row.block_id].site_code or ""
        row.crop_name = crops[row.block_id].crop_name
        row.save(update_fields=["site_code", "crop_name"])


def _write_lines(job: Job, plan: Plan) -> None:
    for line in plan.blocks:
        JobBlock.objects.add(farm=job.farm, job=job, **line)
    for position, line in enumerate(plan.products, start=1):
        JobProduct.objects.add(farm=job.farm, job=job, position=position, **line)


def _block_inputs(job: Job) -> list[dict[str, Any]]:
    return [{"block_id": b.block_id, "planned_acres": b.planned_acres, "zone": b.zone} for b in job.job_blocks.all()]


def _product_inputs(job: Job) -> list[dict[str, Any]]:
    keys = ("product_id", "rate_amount", "rate_unit", "rate_basis")
    return [{key: getattr(p, key) for key in keys} for p in job.job_products.all()]


def _summary(job: Job) -> dict[str, Any]:
    """The plan in a form the trail can hold."""
    return {
        **{name: getattr(job, name) for name in PLAIN},
        "blocks": [f"{b.block}: {b.planned_acres.normalize():f} acres" for b in job.job_blocks.all()],
        "products": [
            f"{p.product}: {p.rate_amount.normalize():f} {p.rate_unit} {p.rate_basis}" for p in job.job_products.all()
        ],
    }
