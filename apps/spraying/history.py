"""What was and what will be sprayed on blocks, as events the check counts.

Signed jobs count as signed, reported ones at the larger of plan and report, everything that may have
happened or is booked at its planned maximum. Nothing that might be on the ground is left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from decimal import Decimal

from django.db.models import Prefetch, Q, QuerySet

from apps.land import queries as land
from apps.land.models import Block
from apps.people.models import Farm
from apps.products.models import LabelVersion
from apps.products.rules import Label, Rate, RateBasis
from apps.spraying import outlines
from apps.spraying.amending.rules import signed_acres, signed_end, signed_rate
from apps.spraying.bringing.queries import events_brought
from apps.spraying.models import Job, JobBlock, JobProduct
from apps.spraying.rules import Event, MixLine
from apps.spraying.rules.outcome import higher_rate, per_acre
from apps.spraying.rules.pieces import pieces_of
from apps.spraying.rules.states import COUNTED, JobState
from farmops import clock
from farmops.units import Quantity

MAY_BE_ON_THE_GROUND = Q(job__state__in=[*sorted(COUNTED), JobState.ASSIGNED]) | Q(
    job__state=JobState.CALLED_OFF, job__doubt=True
)


@dataclass
class Labels:
    """Label documents read once each, however many jobs used them."""

    read: dict[int, Label] = field(default_factory=dict)

    def facts(self, version: LabelVersion) -> Label:
        if version.pk not in self.read:
            self.read[version.pk] = version.facts
        return self.read[version.pk]


def products_of_jobs(farm: Farm) -> QuerySet[JobProduct]:
    """The product lines of the farm's jobs, in the order they stand in the mix."""
    return JobProduct.objects.for_farm(farm).select_related("product", "label_version").order_by("position")


def planned_rate(row: JobProduct) -> Rate:
    """The rate as it was planned."""
    return Rate(quantity=Quantity(row.rate_amount, row.rate_unit), basis=RateBasis(row.rate_basis))


def treated_acres(job_blocks: Iterable[JobBlock]) -> Decimal:
    """Acres reported as treated, all blocks together."""
    return sum((b.treated_acres for b in job_blocks if b.treated_acres is not None), start=Decimal(0))


def actual_rate(row: JobProduct, acres: Decimal) -> Rate | None:
    """What was used per treated acre; ``None`` while it is not reported."""
    if row.actual_amount is None or acres <= 0:
        return None
    return Rate(quantity=per_acre(Quantity(row.actual_amount, row.actual_unit), acres))


def rate_that_counts(job: Job, row: JobProduct, acres: Decimal) -> Rate | None:
    """The rate history counts with; ``None`` when a signed record says that this product was not used.

    A record that is being corrected goes on counting as it was signed, where that is more.
    """
    actual = actual_rate(row, acres)
    if job.state == JobState.SIGNED:
        return None if row.actual_amount == 0 else actual
    reported = higher_rate(planned_rate(row), actual, job.spray_gpa)
    return higher_rate(reported, signed_rate(job.signed_before, row.product_id), job.spray_gpa)


def mix_line(
    row: JobProduct,
    *,
    version: LabelVersion | None,
    rate: Rate,
    labels: Labels,
    targets: list[str],
    site_code: str | None,
) -> MixLine:
    """One product of a job as the check reads it, with the targets that are its own."""
    label = labels.facts(version) if version is not None else None
    return MixLine(
        product_id=row.product_id,
        name=row.product.name,
        rate=rate,
        label=label,
        label_ref=f"label version {version.number}" if version is not None else "",
        label_checked=version is not None and version.checked_at is not None and version.withdrawn_at is None,
        targets=_own_targets(label, targets, site_code),
    )


def _own_targets(label: Label | None, targets: list[str], site_code: str | None) -> tuple[str, ...]:
    """Of a job's targets those that this label names on the crop; all of them if it names none."""
    if label is None:
        return tuple(targets)
    named = {t for use in label.uses if use.site_code == site_code for t in use.targets}
    return tuple(t for t in targets if t in named) or tuple(targets)


def events_on(
    farm: Farm,
    block_ids: Iterable[int],
    *,
    labels: Labels,
    but_job: int | None = None,
    since: datetime | None = None,
) -> dict[int, tuple[Event, ...]]:
    """block id -> every spray that is or may be on its ground, oldest first: seven queries for any number of blocks,
    nine where one was made by splitting or merging.

    What was done on the blocks it was made from, or by others on ground that it holds now, counts on the piece of it
    that they held (``outlines``). ``since`` leaves out jobs whose window began before it (the check of a job reads
    everything).
    """
    blocks = list(Block.objects.for_farm(farm).filter(pk__in=set(block_ids)).order_by("pk"))
    before = land.shared_history(farm, blocks)
    under = outlines.buried(farm, blocks, before)
    reach = {row.pk: {*before[row.pk], *under[row.pk]} for row in blocks}
    holders = {pk: [row for row in blocks if pk in reach[row.pk]] for found in reach.values() for pk in found}
    grounds = outlines.Grounds(before)
    same_jobs = Prefetch("job__job_blocks", queryset=JobBlock.objects.for_farm(farm))
    lines = JobProduct.objects.for_farm(farm).prefetch_related("product", "label_version").order_by("position")
    products = Prefetch("job__job_products", queryset=lines)  # each label document is read once, not once a line
    rows = (
        JobBlock.objects.for_farm(farm)
        .filter(MAY_BE_ON_THE_GROUND, Q(block_id__in=holders) | Q(outline__isnull=False))
        .exclude(job_id=but_job)
        .select_related("job", "block")
        .prefetch_related(same_jobs, products)
        .order_by("job__window_starts_at", "pk")
    )
    if since is not None:
        rows = rows.filter(job__window_starts_at__gte=since)
    on: dict[int, list[JobBlock]] = defaultdict(list)
    for row in rows:
        if row.treated_acres is None or row.treated_acres > 0 or signed_acres(row.job.signed_before, row.block_id):
            here = holders.get(row.block_id, [])
            for holder in [*here, *(b for b in blocks if b not in here and grounds.reaches(row, b))]:
                on[holder.pk].append(row)
    found = {block.pk: _on_block(farm, block, on[block.pk], grounds, labels) for block in blocks}
    past = events_brought(farm, list(holders), labels=labels, line=mix_line, since=since)
    for block in blocks:
        found[block.pk] = _in_order(found[block.pk], [e for pk in reach[block.pk] for e in past.get(pk, ())])
    return {block_id: events for block_id, events in found.items() if events}


def _in_order(here: tuple[Event, ...], past: list[Event]) -> tuple[Event, ...]:
    """With what was brought in from the past, oldest first; that counts on all the ground of a block."""
    return tuple(sorted([*here, *past], key=_starts)) if past else here


def _starts(event: Event) -> datetime:
    return event.starts_at or datetime.max.replace(tzinfo=UTC)


def _on_block(
    farm: Farm, block: Block, rows: list[JobBlock], grounds: outlines.Grounds, labels: Labels
) -> tuple[Event, ...]:
    """The sprays on a block, each on the piece of its ground that it covered."""
    shapes = {row.pk: grounds.shape(row, block) for row in reversed(rows)}  # the newest are told apart first
    drawn = {shape[0]: shape for shape in shapes.values() if shape is not None}
    cut = pieces_of(block.polygon, list(drawn.values())) if drawn else None
    events = []
    for row in rows:
        shape = shapes[row.pk]
        pieces = cut.under(shape[0]) if cut is not None and shape is not None else frozenset()
        if pieces is not None:
            parts = frozenset({row.zone}) if row.zone and row.block_id == block.pk else frozenset()
            events.append(replace(_event(row, farm, labels), parts=parts, pieces=pieces))
    return tuple(events)


def _event(row: JobBlock, farm: Farm, labels: Labels) -> Event:
    job = row.job
    starts_at = job.started_at or job.window_starts_at
    acres, site = treated_acres(job.job_blocks.all()), row.site_code or None
    counted = [(p, rate) for p in job.job_products.all() if (rate := rate_that_counts(job, p, acres)) is not None]
    return Event(
        on_date=_local_date(starts_at, farm),
        lines=tuple(
            mix_line(p, version=p.label_version, rate=rate, labels=labels, targets=job.targets, site_code=site)
            for p, rate in counted
        ),
        site_code=site,
        starts_at=starts_at,
        ends_at=max(job.ended_at or job.window_ends_at, signed_end(job.signed_before) or starts_at),
        spray_gpa=job.spray_gpa,
        signed=job.state == JobState.SIGNED,
        done=job.state in COUNTED,
        job_ref=str(job),
    )


def _local_date(instant: datetime, farm: Farm) -> date:
    return clock.to_local(instant, farm.time_zone).date()
