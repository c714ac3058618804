"""The weather turns against a job that is under way or about to begin."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from apps.people.models import Farm
from apps.people.queries import person_ids_with
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, Words, register
from apps.spraying import queries
from apps.spraying.checking import check_job
from apps.spraying.facts import Moment
from apps.spraying.models import Job
from apps.spraying.rules import Weather
from apps.spraying.rules.states import JobState
from apps.weather.models import Reading
from apps.weather.queries import readings
from apps.weather.rules.readings import Source
from farmops.errors import Finding, Severity, gettext_noop

JOB_WEATHER = register("job_weather", Level.DO_TODAY)

AHEAD = timedelta(hours=12)
"""A job that begins within this time is tonight's."""

FRESH, HOLD = timedelta(hours=1), timedelta(minutes=10)
"""How long a reading speaks, and a bad one outlasts a better one, so that gusts do not chatter (project rule)."""

LOOK_AGAIN = timedelta(minutes=10)
CODES = {"wind_high", "wind_low", "gust_high", "temp_high", "phyto_heat"}


def next_due(farm: Farm, now: datetime) -> datetime | None:
    """When a job comes within twelve hours; while one is, every ten minutes, for readings age. One query."""
    begins = list(_jobs(farm).filter(window_ends_at__gt=now).values_list("window_starts_at", flat=True))
    if any(at - AHEAD <= now for at in begins):
        return now + LOOK_AGAIN
    return min((at - AHEAD for at in begins), default=None)


def _jobs(farm: Farm) -> QuerySet[Job]:
    return queries.jobs(farm).filter(state__in=[JobState.ASSIGNED, JobState.SPRAYING])


def due(farm: Farm, now: datetime) -> list[Due]:
    """For those on the job and the managers; three queries when nothing is read or nothing is near."""
    near = Q(window_starts_at__lte=now + AHEAD, window_ends_at__gt=now) | Q(state=JobState.SPRAYING)
    jobs = list(_jobs(farm).filter(near))
    if not jobs:
        return []
    read = _readings(farm, now, until=max(job.window_ends_at for job in jobs))
    managers = person_ids_with(farm, Role.MANAGER)
    return [found for job in jobs if (found := _about(job, read, managers, now)) is not None]


def _readings(farm: Farm, now: datetime, *, until: datetime) -> list[Reading]:
    """Fresh measured ones, and forecasts for the time ahead; newest entry first."""
    measured = Q(taken_at__gt=now - FRESH, taken_at__lte=now) & ~Q(source=Source.FORECAST.value)
    forecast = Q(source=Source.FORECAST.value, taken_at__gt=now - FRESH, taken_at__lte=until)
    return list(readings(farm).filter(measured | forecast)[:50])


def _about(job: Job, read: Iterable[Reading], managers: list[int], now: datetime) -> Due | None:
    blocks = {row.block_id for row in job.job_blocks.all()}
    mine = [r for r in read if (r.block_id is None or r.block_id in blocks) and _speaks(r, job)]
    if not mine:
        return None
    newest = max(r.recorded_at for r in mine)
    for row in [r for r in mine if r.recorded_at >= newest - HOLD][:3]:
        if (worst := _worst(job, row, now)) is not None:
            return _due(job, row, worst, managers)
    return None


def _speaks(row: Reading, job: Job) -> bool:
    """A forecast speaks of its own hour only."""
    return row.source != Source.FORECAST or job.window_starts_at <= row.taken_at <= job.window_ends_at


def _worst(job: Job, row: Reading, now: datetime) -> Finding | None:
    """The first finding about this weather that stops the job, or that nobody has answered for yet."""
    weather = Weather(
        wind_mph=row.wind_mph,
        gust_mph=row.gust_mph,
        temperature_f=row.temperature_f,
        humidity_percent=row.humidity_percent,
    )
    start_at = max(now, job.window_starts_at)
    moment = Moment(
        start_at=start_at, end_at=max(job.window_ends_at, start_at + FRESH), now=now, weather=weather, kept_labels=True,
        stock=False,
    )  # fmt: skip
    answered = {f["code"] for block in [*job.findings, *job.start_findings] for f in block.get("findings", [])}
    found = [f for block in check_job(job, moment) for f in block.findings if f.code in CODES]
    against = [f for f in found if f.severity is Severity.REFUSE or f.code not in answered]
    return min(against, key=lambda f: f.severity is not Severity.REFUSE, default=None)


def _due(job: Job, row: Reading, worst: Finding, managers: list[int]) -> Due:
    under_way = job.state == JobState.SPRAYING
    template = (
        gettext_noop(
            "Spray job {job} is under way and the weather has turned against it: {why} Stop, or record why not."
        )
        if under_way
        else gettext_noop("The weather turns against spray job {job}, {begins}: {why}")
    )
    return Due(
        kind=JOB_WEATHER,
        subject_type="job",
        subject_id=job.pk,
        occasion=f"{worst.code} {'during' if under_way else 'before'}",
        person_ids=sorted({p for p in (job.applicator_id, job.supervisor_id) if p is not None} | set(managers)),
        template=template,
        numbers={"job": str(job.number), "begins": job.window_starts_at, "why": Words(worst.template, worst.numbers)},
        path=f"/f/{job.farm.slug}/jobs/{job.pk}/",
        urgent=under_way,
        at=job.window_starts_at,
        until=job.window_ends_at,
    )
