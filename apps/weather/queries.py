"""Reading the weather: readings, the sun over the farm, and what both say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Q, QuerySet

from apps.people.models import Farm
from apps.people.queries import one
from apps.weather.models import Rainfall, Reading
from apps.weather.rules import SunTimes, delta_t, delta_t_findings, inversion_findings, sun_times
from apps.weather.rules.readings import ReadingFacts, Source
from farmops import clock
from farmops.errors import Finding


def today(farm: Farm, now: datetime) -> date:
    """The farm's own calendar day."""
    return clock.to_local(now, farm.time_zone).date()


def readings(farm: Farm) -> QuerySet[Reading]:
    """Every reading of the farm, newest entry first."""
    return Reading.objects.for_farm(farm).select_related("block", "taken_by", "farm").order_by("-id")


def reading(farm: Farm, reading_id: int) -> Reading:
    """One reading; ``Unknown`` for another farm's."""
    row: Reading = one(readings(farm).filter(pk=reading_id))
    return row


def latest(farm: Farm, *, block_id: int | None, at: datetime, within: timedelta) -> Reading | None:
    """The newest measured reading up to ``at`` and not older than ``within``, of the block or of the farm at large.

    Forecasts are not measured and never count here.
    """
    place = Q(block=None) | Q(block_id=block_id) if block_id is not None else Q(block=None)
    fresh = readings(farm).filter(place, taken_at__lte=at, taken_at__gt=at - within)
    return fresh.exclude(source=Source.FORECAST.value).order_by("-taken_at", "-id").first()


def rainfall(farm: Farm) -> QuerySet[Rainfall]:
    """Every standing gauge reading, newest first."""
    rows = Rainfall.objects.for_farm(farm).filter(withdrawn_at=None)
    return rows.select_related("block", "read_by").order_by("-until_at", "-id")


def one_rainfall(farm: Farm, rainfall_id: int) -> Rainfall:
    """One standing gauge reading, or ``Unknown``."""
    row: Rainfall = one(rainfall(farm).filter(pk=rainfall_id))
    return row


def rain_since(farm: Farm, since: datetime) -> list[Rainfall]:
    """What gauges caught that may have fallen after an instant, oldest first; one query."""
    return list(rainfall(farm).filter(until_at__gt=since, inches__gt=0).order_by("until_at", "id"))


def facts(row: Reading) -> ReadingFacts:
    """A reading row as facts."""
    return ReadingFacts(
        taken_at=row.taken_at,
        wind_mph=row.wind_mph,
        gust_mph=row.gust_mph,
        wind_from=row.wind_from,
        temperature_f=row.temperature_f,
        humidity_percent=row.humidity_percent,
        source=Source(row.source),
    )


def sun(farm: Farm, on_date: date) -> SunTimes:
    """Sunrise, sunset and dusk over the farm on its own calendar day. No query."""
    return sun_times(float(farm.latitude), float(farm.longitude), on_date, clock.zone(farm.time_zone))


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A reading beside what it says about droplets and inversions."""

    row: Reading
    delta_t_c: Decimal | None
    findings: tuple[Finding, ...]


def judge(farm: Farm, row: Reading) -> Judged:
    """Delta-T (when temperature and humidity were read) and inversion risk at the time of the reading. No query."""
    said = inversion_findings(at=row.taken_at, sun=sun(farm, today(farm, row.taken_at)), wind_mph=row.wind_mph)
    degrees = None
    if row.temperature_f is not None and row.humidity_percent is not None:
        degrees = delta_t(temperature_f=row.temperature_f, humidity_percent=row.humidity_percent)
        said += delta_t_findings(degrees)
    return Judged(row=row, delta_t_c=degrees, findings=tuple(said))
