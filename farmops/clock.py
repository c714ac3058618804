"""The only place where the time is read, and the door between farm-local and UTC time."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from farmops.errors import BadInput, Said, gettext_noop


def now() -> datetime:
    """The present instant, aware, UTC."""
    return datetime.now(UTC)


def machine_now() -> datetime:
    """The same instant by the machine's own clock, for leases between processes: how long a claim
    has really been held has nothing to do with the day the book is at."""
    return datetime.now(UTC)


def zone(name: str) -> ZoneInfo:
    """The IANA zone called ``name``; ``BadInput`` on field ``time_zone`` if there is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise BadInput({"time_zone": gettext_noop("Time zone must be an IANA name such as America/Chicago.")}) from None


def to_utc(local: datetime, zone_name: str, *, field: str, fold: int | None = None) -> datetime:
    """Farm-local wall-clock time -> aware UTC.

    A time that the spring clock change skips is refused; one that the autumn change makes
    ambiguous is refused unless ``fold`` (0 = first, 1 = second) says which is meant.
    An aware ``local`` is only converted. Raises ``BadInput`` naming ``field``.
    """
    if local.tzinfo is not None:
        return local.astimezone(UTC)
    tz = zone(zone_name)
    first, second = local.replace(tzinfo=tz, fold=0), local.replace(tzinfo=tz, fold=1)
    if first.utcoffset() == second.utcoffset():
        return first.astimezone(UTC)
    if first.astimezone(UTC).astimezone(tz).replace(tzinfo=None) != local:
        raise BadInput(
            {
                field: Said(
                    gettext_noop(
                        "{at} does not exist in {zone}: the clocks go forward past it. Use a time before or after the "
                        "change."
                    ),
                    at=f"{local:%Y-%m-%d %H:%M}",
                    zone=zone_name,
                )
            }
        )
    if fold is None:
        raise BadInput(
            {
                field: Said(
                    gettext_noop(
                        "{at} happens twice in {zone}: the clocks go back. Give the offset, {first} for the first or "
                        "{second} for the second."
                    ),
                    at=f"{local:%Y-%m-%d %H:%M}",
                    zone=zone_name,
                    first=f"{first:%z}",
                    second=f"{second:%z}",
                )
            }
        )
    return (second if fold else first).astimezone(UTC)


def to_local(instant: datetime, zone_name: str) -> datetime:
    """Aware instant -> aware farm-local time, for display only (never for arithmetic)."""
    return instant.astimezone(zone(zone_name))
