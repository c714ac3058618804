"""When ground opens: elapsed hours for entry, the later of two counts for harvest, and corrections.

Everything is computed on UTC instants. Adding hours to a farm-local time would open a field an
hour early in the spring night when the clocks go forward.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from decimal import ROUND_CEILING, Decimal
from zoneinfo import ZoneInfo

from .facts import must_be_aware

MINUTE = timedelta(minutes=1)
DAY = timedelta(hours=24)


def up_to_minute(instant: datetime) -> datetime:
    """``instant`` in UTC, any seconds rounded up to the next whole minute (project rule)."""
    if instant.tzinfo is UTC and not instant.second and not instant.microsecond:
        return instant  # nearly always: the board writes whole minutes
    must_be_aware(instant=instant)
    whole = instant.astimezone(UTC).replace(second=0, microsecond=0)
    return whole if whole == instant else whole + MINUTE


def entry_end(end_at: datetime, rei_hours: Decimal | int | None) -> datetime | None:
    """First instant at which a restricted-entry interval has run.

    Counts elapsed hours from the *end* of the application (40 CFR 170.407; that the clock starts at
    the end: 170.305, from memory), in UTC, rounded up to the minute. ``None`` hours give ``None``: an
    interval that is not known is never replaced by a default. Raises ``ValueError`` for a negative
    or endless interval.
    """
    must_be_aware(end_at=end_at)
    if rei_hours is None:
        return None
    return up_to_minute(end_at.astimezone(UTC) + _hours(Decimal(rei_hours)))


def _hours(hours: Decimal) -> timedelta:
    if not hours.is_finite() or hours < 0:
        raise ValueError("an interval must be a number of hours, zero or more")
    return timedelta(seconds=int((hours * 3600).to_integral_value(ROUND_CEILING)))


def hours_for_rainfall(
    hours: Decimal | None, dry_area_hours: Decimal | None, under_25_in_a_year: bool | None
) -> Decimal | None:
    """The interval of a label that asks for more hours where little rain falls.

    Rainfall not stated takes the longer one; a missing ordinary interval stays unknown.
    """
    if hours is None or dry_area_hours is None:
        return hours
    return hours if under_25_in_a_year is False else max(hours, dry_area_hours)


def _instants(local: datetime, zone: ZoneInfo) -> list[datetime]:
    """Both readings of a wall-clock time; equal except when the clocks change."""
    return [local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)]


def _as_zone(zone: ZoneInfo | str) -> ZoneInfo:
    return ZoneInfo(zone) if isinstance(zone, str) else zone


def later_reading(local: datetime, zone: ZoneInfo | str) -> datetime:
    """The later of the two instants that an ambiguous wall-clock time may mean (project rule).

    For a time that happens once this is that instant. Doors refuse a time that does not exist.
    """
    return max(_instants(local, _as_zone(zone)))


def end_of_day(on: date, zone: ZoneInfo | str) -> datetime:
    """The instant the farm-local day ``on`` is over: 23:59 and its whole last minute."""
    return later_reading(datetime.combine(on + timedelta(days=1), time()), zone)


def harvest_opens(end_at: datetime | date, phi_days: int | None, zone: ZoneInfo | str) -> datetime | None:
    """First instant at which harvest may begin after a pre-harvest interval of whole days.

    Labels do not say how to count, so both readings must hold (project rule): ``phi_days`` full
    24-hour days after the end, and the same wall-clock time that many calendar days later; where
    the clocks change in between, the later one. A bare date counts from the end of that day.
    ``None`` days give ``None``: blank is unknown, not zero. Raises ``ValueError`` for negative days.
    """
    if phi_days is None:
        return None
    if phi_days < 0:
        raise ValueError("a pre-harvest interval cannot be negative")
    farm_zone = _as_zone(zone)
    if not isinstance(end_at, datetime):
        end_at = end_of_day(end_at, farm_zone)
    end = up_to_minute(end_at)
    wall_clock = end.astimezone(farm_zone).replace(tzinfo=None, fold=0) + timedelta(days=phi_days)
    return max(end + phi_days * DAY, *_instants(wall_clock, farm_zone))


def end_of_claims(claimed_ends_at: Iterable[datetime]) -> datetime:
    """The end to count from when people claim different ends: the latest (project rule)."""
    return max(up_to_minute(claimed) for claimed in claimed_ends_at)


def end_after_correction(*, standing_at: datetime, corrected_at: datetime, signed_again: bool) -> datetime:
    """Which end of application counts after a correction.

    A later end counts at once; an earlier one only when the applicator has signed again
    (project rule). Both in UTC, rounded up to the minute.
    """
    standing, corrected = up_to_minute(standing_at), up_to_minute(corrected_at)
    return corrected if signed_again else max(standing, corrected)


def hours_after_correction(
    *, standing_hours: Decimal | None, corrected_hours: Decimal | None, signed_again: bool
) -> Decimal | None:
    """Which interval counts after a product or label row was corrected; unknown outweighs any number."""
    if signed_again:
        return corrected_hours
    if standing_hours is None or corrected_hours is None:
        return None
    return max(standing_hours, corrected_hours)
