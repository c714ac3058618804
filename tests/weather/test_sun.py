"""Sun times against pvlib's independent implementation (NREL solar position algorithm)."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from pvlib import solarposition

from apps.weather.rules.sun import DUSK_DEGREES, SET_DEGREES, SunKind, altitude, sun_times

PLACES = [
    ("Iowa", 42.0, -93.6, "America/Chicago"),
    ("Honolulu", 21.3, -157.9, "Pacific/Honolulu"),
    ("Auckland", -36.8, 174.8, "Pacific/Auckland"),
    ("Kiritimati, 14 hours ahead of UTC", 1.9, -157.4, "Pacific/Kiritimati"),
    ("Kashgar, zone far from its meridian", 39.5, 76.0, "Asia/Shanghai"),
    ("Quito, equator", -0.2, -78.5, "America/Guayaquil"),
    ("Fairbanks", 64.8, -147.7, "America/Anchorage"),
    ("Ushuaia", -54.8, -68.3, "America/Argentina/Ushuaia"),
]
DAYS = [
    date(2026, 3, 8),
    date(2026, 3, 20),
    date(2026, 6, 21),
    date(2026, 9, 10),
    date(2026, 11, 1),
    date(2026, 12, 21),
]


def spa_altitude(latitude: float, longitude: float, at: datetime) -> float:
    """True altitude of the sun's centre by pvlib, without refraction."""
    return float(solarposition.spa_python(pd.DatetimeIndex([at]), latitude, longitude)["elevation"].iloc[0])


@pytest.mark.parametrize("place", PLACES, ids=[p[0] for p in PLACES])
@pytest.mark.parametrize("day", DAYS, ids=str)
def test_the_sun_is_where_it_should_be_at_our_times(place: tuple[str, float, float, str], day: date) -> None:
    _, latitude, longitude, zone = place
    sun = sun_times(latitude, longitude, day, ZoneInfo(zone))
    assert sun.kind is SunKind.TIMES
    assert sun.sunrise_at is not None and sun.sunset_at is not None
    for at in (sun.sunrise_at, sun.sunset_at):
        assert spa_altitude(latitude, longitude, at) == pytest.approx(SET_DEGREES, abs=0.02)
    if sun.dusk_at is not None:
        assert spa_altitude(latitude, longitude, sun.dusk_at) == pytest.approx(DUSK_DEGREES, abs=0.02)
    assert spa_altitude(latitude, longitude, sun.sunset_at + timedelta(minutes=5)) < SET_DEGREES
    assert spa_altitude(latitude, longitude, sun.sunrise_at + timedelta(minutes=5)) > SET_DEGREES


@pytest.mark.parametrize("place", PLACES, ids=[p[0] for p in PLACES])
def test_times_belong_to_the_local_day(place: tuple[str, float, float, str]) -> None:
    """Never the neighbouring day's sunset: noon of the farm's own day lies between rise and set, all year."""
    _, latitude, longitude, zone = place
    for n in range(0, 365, 5):
        day = date(2026, 1, 1) + timedelta(days=n)
        sun = sun_times(latitude, longitude, day, ZoneInfo(zone))
        noon = datetime.combine(day, time(12), tzinfo=ZoneInfo(zone)).astimezone(UTC)
        assert sun.sunrise_at is not None and sun.sunset_at is not None
        middle = sun.sunrise_at + (sun.sunset_at - sun.sunrise_at) / 2
        assert middle.astimezone(ZoneInfo(zone)).date() == day
        assert abs(middle - noon) < timedelta(hours=4)


@pytest.mark.parametrize("day", DAYS, ids=str)
def test_altitude_all_day_long(day: date) -> None:
    start = datetime.combine(day, time(0), tzinfo=UTC)
    for hour in range(24):
        at = start + timedelta(hours=hour)
        assert altitude(42.0, -93.6, at) == pytest.approx(spa_altitude(42.0, -93.6, at), abs=0.02)


POLAR = [
    ("midsummer north", 69.6, 18.9, "Europe/Oslo", date(2026, 6, 21), SunKind.ALWAYS_UP),
    ("midwinter north", 69.6, 18.9, "Europe/Oslo", date(2026, 12, 21), SunKind.ALWAYS_DOWN),
    ("midsummer south", -77.8, 166.7, "Antarctica/McMurdo", date(2026, 12, 21), SunKind.ALWAYS_UP),
    ("midwinter south", -77.8, 166.7, "Antarctica/McMurdo", date(2026, 6, 21), SunKind.ALWAYS_DOWN),
    ("the pole itself", 90.0, 0.0, "UTC", date(2026, 6, 21), SunKind.ALWAYS_UP),
]


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "day", "kind"), [p[1:] for p in POLAR], ids=[p[0] for p in POLAR]
)
def test_polar_day_and_night(latitude: float, longitude: float, zone: str, day: date, kind: SunKind) -> None:
    sun = sun_times(latitude, longitude, day, ZoneInfo(zone))
    assert (sun.kind, sun.sunrise_at, sun.sunset_at, sun.dusk_at) == (kind, None, None, None)
    start = datetime.combine(day, time(0), tzinfo=ZoneInfo(zone)).astimezone(UTC)
    highest = max(spa_altitude(latitude, longitude, start + timedelta(minutes=20 * n)) for n in range(72))
    lowest = min(spa_altitude(latitude, longitude, start + timedelta(minutes=20 * n)) for n in range(72))
    assert (lowest > SET_DEGREES) if kind is SunKind.ALWAYS_UP else (highest < SET_DEGREES)
    assert sun.is_night(start) is (kind is SunKind.ALWAYS_DOWN)


def test_sunset_after_local_midnight_is_still_that_days() -> None:
    # Fairbanks: the sun of 21 June sets after local midnight.
    zone = ZoneInfo("America/Anchorage")
    sun = sun_times(64.8, -147.7, date(2026, 6, 21), zone)
    assert sun.sunrise_at is not None and sun.sunset_at is not None
    assert sun.sunset_at.astimezone(zone).date() == date(2026, 6, 22)
    assert sun.dusk_at is None  # it does not get dark enough


def test_night_is_from_sunset_to_sunrise() -> None:
    sun = sun_times(42.0, -93.6, date(2026, 8, 4), ZoneInfo("America/Chicago"))
    assert sun.sunrise_at is not None and sun.sunset_at is not None
    second = timedelta(seconds=1)
    times = (sun.sunrise_at - second, sun.sunrise_at, sun.sunset_at - second, sun.sunset_at)
    assert [sun.is_night(at) for at in times] == [True, False, False, True]
    assert sun.dusk_at is not None and sun.sunset_at < sun.dusk_at
