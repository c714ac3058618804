"""What is coming due in spraying: the next spray, jobs nobody reported, signatures, stock for what is planned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Q

from apps.crops.queries import crop_facts
from apps.inventory.queries import shortages
from apps.land import queries as land
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import person_ids_with
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, register, rolled
from apps.reminders.rules.timing import next_midnight
from apps.spraying import queries
from apps.spraying.facts import settings_of
from apps.spraying.history import Labels, events_on, planned_rate
from apps.spraying.models import Job
from apps.spraying.programs.queries import diseases_followed, followed
from apps.spraying.rules.interval import LOOK_BACK_DAYS, Phase, SprayWindow, next_window
from apps.spraying.rules.outcome import product_needed
from apps.spraying.rules.states import JobState
from farmops import clock
from farmops.errors import BadInput, Finding, gettext_noop
from farmops.units import Quantity

SPRAY_DUE = register("spray_due", Level.INFORMATION)
SPRAY_MISSED = register("spray_missed", Level.DO_TODAY)
JOB_UNREPORTED = register("job_unreported", Level.DO_TODAY)
JOB_UNSIGNED = register("job_unsigned", Level.DO_TODAY)
STOCK_FOR_PLANS = register("stock_for_plans", Level.INFORMATION)

UNSIGNED_AFTER = timedelta(hours=2)
STOCK_AHEAD = timedelta(days=14)
LOOK_AHEAD, LOOK_AGAIN = timedelta(hours=12), timedelta(minutes=15)
_OPEN = (JobState.DRAFT, JobState.ASSIGNED, JobState.SPRAYING, JobState.SPRAYED)


def next_due(farm: Farm, now: datetime) -> datetime:
    """When time alone may change ``due``: the date, a window's begin or end, two hours after a finish. One query.

    While a job is under way or about to be, it is looked at every quarter of an hour besides.
    """
    open_ones = Job.objects.for_farm(farm).filter(Q(state__in=[s.value for s in _OPEN]) | Q(doubt=True))
    changes = [next_midnight(now, farm.time_zone)]
    for state, begins, ends, finished in open_ones.values_list(
        "state", "window_starts_at", "window_ends_at", "finished_at"
    ):
        changes += [begins - STOCK_AHEAD, begins, ends]
        if finished is not None:
            changes.append(finished + UNSIGNED_AFTER)
        if state != JobState.DRAFT and begins <= now + LOOK_AHEAD:
            changes.append(now + LOOK_AGAIN)
    return min(at for at in changes if at > now)


def due(farm: Farm, now: datetime) -> list[Due]:
    """Everything that is due now on one farm; a constant number of queries."""
    managers, plan = person_ids_with(farm, Role.MANAGER), f"/f/{farm.slug}/jobs/new/"
    return [
        *rolled(_next_sprays(farm, now, managers), slot="block", subject=("sprays", farm.pk), path=plan),
        *_unreported(farm, now, managers),
        *_unsigned(farm, now, managers),
        *_short(farm, now, managers),
    ]


# ---- the next spray --------------------------------------------------------------------


def windows(farm: Farm, now: datetime) -> list[tuple[Block, SprayWindow]]:
    """(block, window) of every block whose disease sprays are running; for notices and charts.

    Blocks that a season program follows are left to it: nobody hears of one window twice.
    """
    today = clock.to_local(now, farm.time_zone).date()
    theirs = diseases_followed(followed(farm, now))
    blocks = [b for b in land.blocks(farm) if b.pk not in theirs]
    since = now - timedelta(days=LOOK_BACK_DAYS + 2)
    events = events_on(farm, [b.pk for b in blocks], labels=Labels(), since=since)
    crops = crop_facts([b for b in blocks if b.pk in events], today, today=today)
    house = settings_of(farm)
    found = []
    for block in blocks:
        crop = crops.get(block.pk)
        if crop is None or _harvest_past(crop.harvest_to, today):
            continue
        window = next_window(
            events[block.pk],
            site_code=crop.site_code,
            today=today,
            from_days=house.interval_from_days,
            to_days=house.interval_to_days,
        )
        if window is not None:
            found.append((block, window))
    return found


def _harvest_past(harvest_to: date | None, today: date) -> bool:
    return harvest_to is not None and harvest_to < today


_SAID = {
    Phase.OPEN: gettext_noop("Last sprayed {last}: {block}. The next spray fits from {opens} through {closes}."),
    Phase.CLOSING: gettext_noop("Last sprayed {last}: {block}. The time for the next spray ends {closes}."),
    Phase.MISSED: gettext_noop("Last sprayed {last}: {block}. The next spray was due by {closes}."),
}


def _next_sprays(farm: Farm, now: datetime, managers: list[int]) -> Iterable[Due]:
    today = clock.to_local(now, farm.time_zone).date()
    for block, window in windows(farm, now):
        phase = window.phase(today)
        if phase is None:
            continue
        yield Due(
            kind=SPRAY_MISSED if phase is Phase.MISSED else SPRAY_DUE,
            subject_type="block",
            subject_id=block.pk,
            occasion=f"{phase} after {window.last_on}",
            person_ids=managers,
            template=_SAID[phase],
            numbers={
                "block": str(block),
                "last": window.last_on,
                "opens": window.opens_on,
                "closes": window.closes_on,
            },
            path=f"/f/{farm.slug}/jobs/new/?block={block.pk}",
            at=window.opens_on,
            until=window.closes_on,
        )


# ---- jobs nobody has reported or signed ------------------------------------------------


def _about(job: Job, kind: str, occasion: str, to: Iterable[int], template: str) -> Due:
    return Due(
        kind=kind,
        subject_type="job",
        subject_id=job.pk,
        occasion=occasion,
        person_ids=sorted(set(to)),
        template=template,
        numbers={
            "job": str(job.number),
            "blocks": ", ".join(str(b.block) for b in job.job_blocks.all()),
            "until": job.window_ends_at,
        },
        path=f"/f/{job.farm.slug}/jobs/{job.pk}/",
    )


def _people(job: Job) -> list[int]:
    return [p for p in (job.applicator_id, job.supervisor_id) if p is not None]


def _unreported(farm: Farm, now: datetime, managers: list[int]) -> Iterable[Due]:
    late = queries.jobs(farm).filter(state__in=[JobState.ASSIGNED, JobState.SPRAYING], window_ends_at__lte=now)
    not_begun = gettext_noop(
        "Spray job {job} on {blocks}: its window ended {until} and nobody has reported. The blocks stay closed until "
        "somebody does."
    )
    not_ended = gettext_noop(
        "Spray job {job} on {blocks} was started and its window ended {until}. Report its end; the blocks stay closed."
    )
    for job in late:
        template = not_ended if job.state == JobState.SPRAYING else not_begun
        yield _about(job, JOB_UNREPORTED, f"{job.state} past its window", [*_people(job), *managers], template)
    doubt = gettext_noop(
        "Spray job {job} on {blocks} was called off after its window had begun. Sign that nothing was applied, or "
        "report what was; until then the blocks stay closed."
    )
    for job in queries.jobs(farm).filter(doubt=True):
        yield _about(job, JOB_UNREPORTED, "called off in doubt", [*_people(job), *managers], doubt)


def _unsigned(farm: Farm, now: datetime, managers: list[int]) -> Iterable[Due]:
    template = gettext_noop(
        "Spray job {job} on {blocks} is finished and not signed. The blocks stay closed until it is."
    )
    for job in queries.jobs(farm).filter(state=JobState.SPRAYED, finished_at__lte=now - UNSIGNED_AFTER):
        yield _about(job, JOB_UNSIGNED, "two hours", [*_people(job), *managers], template)


# ---- stock -----------------------------------------------------------------------------


def _short(farm: Farm, now: datetime, managers: list[int]) -> Iterable[Due]:
    """Products of which less is free than the drafts of the next two weeks need (assigned jobs hold theirs)."""
    drafts = queries.jobs(farm).filter(
        state=JobState.DRAFT, window_ends_at__gt=now, window_starts_at__lte=now + STOCK_AHEAD
    )
    needs, first, names = _needs(drafts.order_by("window_starts_at", "id"))
    today = clock.to_local(now, farm.time_zone).date()
    template = gettext_noop(
        "{product}: {needed} is needed for planned spray jobs, the first {first}; {available} is free."
    )
    for finding in _shortages(farm, needs, today):
        product_id = names[finding.numbers["product"]]
        job = first[product_id]
        numbers = {name: finding.numbers[name] for name in ("product", "needed", "available")}
        yield Due(
            kind=STOCK_FOR_PLANS,
            subject_type="product",
            subject_id=product_id,
            occasion=f"for job {job.number}",
            person_ids=managers,
            template=template,
            numbers={**numbers, "first": job.window_starts_at},
            path=f"/f/{farm.slug}/shed/{product_id}/",
        )


def _needs(drafts: Iterable[Job]) -> tuple[dict[int, Quantity], dict[int, Job], dict[str, int]]:
    """product id -> what the drafts need together; -> the first of them; product name -> id."""
    needs: dict[int, Quantity] = {}
    first: dict[int, Job] = {}
    names: dict[str, int] = {}
    for job in drafts:
        acres = sum((b.planned_acres for b in job.job_blocks.all()), start=Decimal(0))
        for row in job.job_products.all():
            needed = product_needed(planned_rate(row), acres=acres, spray_gpa=job.spray_gpa)
            before = needs.get(row.product_id)
            if needed is None or (before is not None and before.dimension is not needed.dimension):
                continue
            needs[row.product_id] = needed if before is None else before + needed
            first.setdefault(row.product_id, job)
            names[row.product.name] = row.product_id
    return needs, first, names


def _shortages(farm: Farm, needs: Mapping[int, Quantity], today: date) -> list[Finding]:
    """All at once; product by product when one of them cannot be compared (the check of its job says so)."""
    try:
        return shortages(farm, needs, today) if needs else []
    except BadInput:
        if len(needs) == 1:
            return []
        return [f for product_id, needed in needs.items() for f in _shortages(farm, {product_id: needed}, today)]
