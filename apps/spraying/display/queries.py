"""What the central display shows of an application: the facts of 40 CFR 170.311(b), and until when."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import QuerySet

from apps.people.models import Farm
from apps.people.queries import person_ids_with
from apps.people.rules import Role
from apps.products.models import SafetySheet
from apps.products.sds.queries import newest
from apps.reminders.rules import Due, Level, register
from apps.safety.phones import queries as phones
from apps.safety.phones.models import PhoneNumber
from apps.safety.rules import Kind
from apps.safety.rules.notice import change_notice_by, display_due_at, display_until, keep_until
from apps.spraying import ground, queries
from apps.spraying.display.models import Display
from apps.spraying.history import Labels
from apps.spraying.models import Job, JobBlock, JobProduct
from apps.spraying.rules.states import JobState
from apps.work.queries import entries_planned
from farmops.errors import gettext_noop
from farmops.units import show

DISPLAY_DUE = register("display_due", Level.DO_TODAY)
DISPLAY_OVER = register("display_over", Level.INFORMATION)
DONE = (JobState.SPRAYED, JobState.SIGNED)
SHOWN_FOR = timedelta(days=120)
"""Sheets of older applications are no longer asked about (the longest interval on record and 30 days fit well)."""


@dataclass(frozen=True, kw_only=True)
class ProductLine:
    """One product as the sheet names it. ``hours`` empty means that the label row has none."""

    name: str
    registration_number: str
    ingredients: tuple[str, ...]
    hours: str


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where: field, block, what grows there, acres treated, which part."""

    field: str
    block: str
    crop: str
    acres: str
    part: str


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """The central display of one application, from what is on record now."""

    job: Job
    products: tuple[ProductLine, ...]
    places: tuple[Place, ...]
    started_at: datetime | None
    ended_at: datetime | None
    planned_start_at: datetime
    planned_end_at: datetime
    signed: bool
    interval_ends_at: datetime | None
    interval_known: bool
    first_entry_at: datetime | None
    display: Display | None
    phones: tuple[PhoneNumber, ...]

    @property
    def safety_sheets(self) -> dict[int, SafetySheet]:
        """product id -> the newest safety data sheet on file; asked when it is read."""
        return newest(self.job.farm, [row.product_id for row in self.job.job_products.all()])

    @property
    def due_at(self) -> datetime | None:
        return self.ended_at and display_due_at(ended_at=self.ended_at, first_entry_at=self.first_entry_at)

    @property
    def until_at(self) -> datetime | None:
        """At least until then; unknown while the end or an interval is."""
        if self.ended_at is None or not self.interval_known:
            return None
        return display_until(interval_ends_at=self.interval_ends_at, ended_at=self.ended_at)

    @property
    def keep_until_at(self) -> datetime | None:
        if self.ended_at is None or not self.interval_known:
            return None
        return keep_until(interval_ends_at=self.interval_ends_at, ended_at=self.ended_at)

    @property
    def change_notice_at(self) -> datetime | None:
        """By when a hired firm would have had to tell that the end was another one than planned."""
        return self.ended_at and change_notice_by(told_end_at=self.planned_end_at, ended_at=self.ended_at)


def displayed(farm: Farm, now: datetime) -> QuerySet[Job]:
    """Jobs that were sprayed lately, newest first: what the central place shows."""
    found = queries.jobs(farm).filter(state__in=DONE, ended_at__gt=now - SHOWN_FOR)
    return found.select_related("display", "display__put_up_by").order_by("-ended_at", "-pk")


def sheet(job: Job) -> Sheet:
    """Everything the sheet of a job says."""
    blocks = list(job.job_blocks.all())
    closures = [c for c in ground.all_of(job) if c.kind == Kind.ENTRY and (c.lifted_at is None or _ran(c.lift_reason))]
    ends = [c.ends_at for c in closures]
    known = [end for end in ends if end is not None]
    planned = entries_planned([row.block_id for row in blocks], job.ended_at) if job.ended_at else []
    return Sheet(
        job=job,
        products=tuple(_product(job, row, blocks) for row in job.job_products.all()),
        places=tuple(_place(row) for row in blocks if row.treated_acres is None or row.treated_acres > 0),
        started_at=job.started_at,
        ended_at=job.ended_at,
        planned_start_at=job.window_starts_at,
        planned_end_at=job.window_ends_at,
        signed=job.state == JobState.SIGNED,
        interval_ends_at=max(known, default=None),
        interval_known=bool(ends) and len(known) == len(ends),
        first_entry_at=min((e.at for e in planned), default=None),
        display=getattr(job, "display", None),
        phones=tuple(phones.urgent(job.farm)),
    )


def _ran(reason: str) -> bool:
    """A closure that went over to other ground or was attested still tells how long the interval was."""
    return reason in {"reshaped", "attested"}


def _product(job: Job, row: JobProduct, blocks: Iterable[JobBlock]) -> ProductLine:
    label = Labels().facts(row.label_version) if row.label_version is not None else None
    said = [i for b in blocks for i in ground.intervals(job, b) if i.product == row.product.name]
    hours = [Decimal(i.hours) for i in said if i.hours is not None]
    return ProductLine(
        name=row.product.name,
        registration_number=row.product.registration_number,
        ingredients=tuple(i.name for i in label.ingredients) if label else (),
        hours=show(max(hours)) if hours and len(hours) == len(said) else "",
    )


def _place(row: JobBlock) -> Place:
    block = row.block
    acres = row.planned_acres if row.treated_acres is None else row.treated_acres
    part = row.part_note or (gettext_noop("the mapped part") if row.part else "")
    return Place(
        field=block.field.name, block=str(block), crop=row.crop_name or row.site_code, acres=show(acres, 2), part=part
    )


def due(farm: Farm, now: datetime) -> list[Due]:
    """Sheets to put up, and those that may come down."""
    jobs = list(displayed(farm, now))
    if not jobs:
        return []
    to = sorted({p for role in (Role.MANAGER, Role.APPLICATOR) for p in person_ids_with(farm, role)})
    return [line for job in jobs if (line := _line(sheet(job), to, now)) is not None]


def _line(said: Sheet, to: list[int], now: datetime) -> Due | None:
    if said.display is None:
        template = gettext_noop("{job}: its sheet has to hang at the central place by {by}, before workers go in.")
        return _due(DISPLAY_DUE, said, "put up", to, template, by=said.due_at)
    if said.display.taken_down_at is None and said.until_at is not None and now >= said.until_at:
        template = gettext_noop("{job}: its sheet may come down from the central place. It is kept until {kept}.")
        return _due(DISPLAY_OVER, said, "over", to, template, kept=said.keep_until_at)
    return None


def _due(kind: str, said: Sheet, occasion: str, to: list[int], template: str, **numbers: datetime | None) -> Due:
    job = said.job
    return Due(
        kind=kind,
        subject_type="job",
        subject_id=job.pk,
        occasion=occasion,
        person_ids=to,
        template=template,
        numbers={"job": str(job), **{name: at for name, at in numbers.items() if at is not None}},
        path=f"/f/{job.farm.slug}/jobs/{job.pk}/display/",
    )


def next_due(farm: Farm, now: datetime) -> datetime | None:
    """When time alone changes what is due: the day a sheet may come down."""
    ends = [sheet(job).until_at for job in displayed(farm, now)]
    return min((end for end in ends if end is not None and end > now), default=None)
