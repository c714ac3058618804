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
from apps.reminders.rules import Due, Level, listed, register, timing
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
    """One notice a day about all sheets to put up, and one a week about those that may come down."""
    sheets = [sheet(job) for job in displayed(farm, now)]
    missing = [s for s in sheets if s.display is None and (s.until_at is None or now < s.until_at)]
    over = [s for s in sheets if s.display and s.display.taken_down_at is None and s.until_at and now >= s.until_at]
    if not (missing or over):
        return []
    to = sorted({p for role in (Role.MANAGER, Role.APPLICATOR) for p in person_ids_with(farm, role)})
    return [*_to_put_up(farm, missing, to, now), *_to_take_down(farm, over, to, now)]


_MISSING = gettext_noop("Sheets to hang at the central place, of spray jobs {jobs}. The first has to be up by {by}.")
_LATE = gettext_noop(
    "Sheets that should hang at the central place already, of spray jobs {jobs}. The first had to be up by {by}. Hang "
    "them before anybody goes in."
)


def _to_put_up(farm: Farm, missing: Iterable[Sheet], to: list[int], now: datetime) -> Iterable[Due]:
    """Told again within its day only when one more has to hang before the next morning, or one is late."""
    by = sorted((s.due_at, s.job.pk, str(s.job.number)) for s in missing if s.due_at is not None)
    late = [line for line in by if line[0] <= now]
    next_morning = timing.next_at(timing.QUIET_TO, zone=farm.time_zone, after=now)
    if by:
        yield Due(
            kind=DISPLAY_DUE,
            subject_type="displays",
            subject_id=farm.pk,
            occasion=f"{timing.working_day(now, farm.time_zone)}",
            person_ids=to,
            template=_LATE if late else _MISSING,
            numbers={"jobs": listed(number for _, _, number in late or by), "by": by[0][0]},
            path=_page(farm),
            urgent=bool(late),
            things=[f"{job} {'late' if at <= now else 'soon'}" for at, job, _ in by if at <= next_morning],
        )


def _to_take_down(farm: Farm, over: list[Sheet], to: list[int], now: datetime) -> Iterable[Due]:
    if over:
        year, week, _ = timing.working_day(now, farm.time_zone).isocalendar()
        yield Due(
            kind=DISPLAY_OVER,
            subject_type="displays",
            subject_id=farm.pk,
            occasion=f"week {week} of {year}",
            person_ids=to,
            template=gettext_noop("Sheets that may come down from the central place, of spray jobs {jobs}. Keep them."),
            numbers={"jobs": listed(str(s.job.number) for s in over)},
            path=_page(farm),
        )


def _page(farm: Farm) -> str:
    return f"/f/{farm.slug}/displays/"


def next_due(farm: Farm, now: datetime) -> datetime | None:
    """When time alone changes what is due: a sheet is late or may come down, a new day begins while one is missing."""
    sheets = [sheet(job) for job in displayed(farm, now)]
    if not sheets:
        return None
    open_ones = [s for s in sheets if s.display is None or s.display.taken_down_at is None]
    moments = [at for s in open_ones for at in (s.due_at if s.display is None else None, s.until_at)]
    if open_ones:
        moments.append(timing.next_at(timing.QUIET_TO, zone=farm.time_zone, after=now))
    return min((at for at in moments if at is not None and at > now), default=None)
