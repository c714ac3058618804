"""Everything a mix sheet shows, in a constant number of queries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from apps.equipment.queries import sprayer_facts
from apps.equipment.rules import SprayerFacts, loads
from apps.products.models import LabelVersion
from apps.products.rules import Label, RateBasis
from apps.safety.rules import EntryInterval
from apps.spraying.facts import versions_for
from apps.spraying.history import Labels, mix_line, planned_rate
from apps.spraying.mix.models import MixTick
from apps.spraying.mix.rules import Entry, Pump, Sheet, TankLine, cautions, jar, sheet
from apps.spraying.models import Job, JobProduct
from apps.spraying.rules.outcome import entry_intervals
from apps.spraying.rules.states import JobState
from farmops import clock
from farmops.errors import BadInput, Finding, gettext_noop, refuse
from farmops.units import Quantity, show, unit_name

Ticks = dict[tuple[int, str], MixTick]


@dataclass(frozen=True, kw_only=True)
class Jar:
    """One product for a pint of water in the jar test."""

    product_id: int
    name: str
    amount: Quantity

    @property
    def said(self) -> str:
        """As a syringe or a kitchen scale shows it; the exact amount goes out over the API."""
        return f"{show(self.amount.amount, 2)} {unit_name(self.amount.unit)}"


@dataclass(frozen=True, kw_only=True)
class MixSheet:
    """The sheet of one job with what the labels ask for. ``versions`` are in the order of filling."""

    job: Job
    day: date
    sprayer: SprayerFacts
    sheet: Sheet
    versions: tuple[LabelVersion, ...]
    jar: tuple[Jar, ...]
    cautions: tuple[Finding, ...]
    entry: Entry
    pump: Pump | None
    ticks: Ticks

    @property
    def changed(self) -> bool:
        """Something was ticked on a sheet that said something else."""
        return any(row.sheet != self.sheet.digest for row in self.ticks.values() if row.done)

    @property
    def done(self) -> int:
        """Steps of this sheet that are ticked."""
        return sum(1 for step in self.sheet.steps() if step in self.ticks and self.ticks[step].done)


def mix_sheet(job: Job, *, even: bool = False) -> MixSheet:
    """The sheet by the label versions the job goes by. ``Refused`` when the loads cannot be worked out."""
    day = clock.to_local(job.window_starts_at, job.farm.time_zone).date()
    machine = sprayer_facts(job.sprayer, day)
    versions = _versions(job, day)
    read = Labels()
    facts = {product_id: read.facts(version) for product_id, version in versions.items()}
    made = _sheet(job, machine, facts, even)
    needs = cautions.pump(made, machine)
    ids = [row.line.product_id for row in made.order]
    named = [(row.line.name, facts[row.line.product_id]) for row in made.order if row.line.product_id in facts]
    return MixSheet(
        job=job,
        day=day,
        sprayer=machine,
        sheet=made,
        versions=tuple(versions[i] for i in ids if i in versions),
        jar=tuple(_jar(row.line, made) for row in made.order) if len(ids) > 1 else (),
        cautions=(
            *cautions.places(made.order),
            *cautions.water(named, job.water_ph),
            *cautions.leftover(made, machine),
            *cautions.pump_short(needs, machine),
        ),
        entry=cautions.entry(_intervals(job, versions, read), named),
        pump=needs,
        ticks=ticks_of(job),
    )


def ticks_of(job: Job) -> Ticks:
    """(load, step) -> the newest press of it."""
    rows = MixTick.objects.for_farm(job.farm).filter(job=job).select_related("by").order_by("happened_at", "id")
    return {(row.load, row.step): row for row in rows}


def _versions(job: Job, day: date) -> dict[int, LabelVersion]:
    return versions_for(job, day, kept=job.state not in (JobState.DRAFT, JobState.CALLED_OFF))


def _sheet(job: Job, machine: SprayerFacts, facts: dict[int, Label], even: bool) -> Sheet:
    acres = sum((row.planned_acres for row in job.job_blocks.all()), start=Decimal(0))
    try:
        plan = loads(acres=acres, gpa=job.spray_gpa, usable_gal=machine.usable_gal)
        return sheet([_line(row, facts.get(row.product_id)) for row in job.job_products.all()], plan, even=even)
    except BadInput as error:
        template = gettext_noop("There is no mix sheet for this job: check acres, rates and tank. {why}")
        raise refuse("mix_impossible", template, source="project rule", why=str(error)) from None


def _line(row: JobProduct, label: Label | None) -> TankLine:
    return TankLine(
        product_id=row.product_id,
        name=row.product.name,
        rate=Quantity(row.rate_amount, row.rate_unit),
        basis=RateBasis(row.rate_basis),
        kind=label.kind if label else None,
        code=label.formulation_code if label else None,
        label_stage=label.mixing_stage if label else None,
    )


def _jar(line: TankLine, made: Sheet) -> Jar:
    return Jar(product_id=line.product_id, name=line.name, amount=jar(line, made.plan))


def _intervals(job: Job, versions: dict[int, LabelVersion], read: Labels) -> list[EntryInterval]:
    """The entry intervals of every product on every crop of the job."""
    found: list[EntryInterval] = []
    for site in sorted({row.site_code for row in job.job_blocks.all()}):
        lines = [
            mix_line(
                row,
                version=versions.get(row.product_id),
                rate=planned_rate(row),
                labels=read,
                targets=job.targets,
                site_code=site or None,
            )
            for row in job.job_products.all()
        ]
        found += entry_intervals(lines, site or None, job.spray_gpa)
    return found
