"""Sunrise, sunset and civil dusk of a place on a farm-local day.

Position of the sun after J. Meeus, Astronomical Algorithms, chapter 25 (low accuracy), in the form used by
the NOAA solar calculator; the day's times are found by bisection on the sun's altitude between lower and
upper transit, so a set after midnight, or a local day that is not the UTC day, cannot be mixed up.
Good to a few seconds of time outside the polar regions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

SET_DEGREES = -0.833  # upper limb on the horizon with mean refraction, from memory
DUSK_DEGREES = -6.0  # end of civil twilight
_J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)
_HALF_DAY = timedelta(hours=12)


class SunKind(StrEnum):
    """Whether the sun rises and sets that day."""

    TIMES = "times"
    ALWAYS_UP = "always_up"
    ALWAYS_DOWN = "always_down"


@dataclass(frozen=True, kw_only=True)
class SunTimes:
    """Aware UTC instants of one farm-local day; ``None`` where there is no such moment.

    The sunset is the one that follows the day's noon, even when it falls after midnight.
    """

    kind: SunKind
    sunrise_at: datetime | None
    sunset_at: datetime | None
    dusk_at: datetime | None

    def is_night(self, at: datetime) -> bool:
        """From sunset to sunrise, judged within this local day."""
        if self.sunrise_at is None or self.sunset_at is None:
            return self.kind is SunKind.ALWAYS_DOWN
        return not self.sunrise_at <= at < self.sunset_at


def sun_times(latitude: float, longitude: float, on_date: date, zone: ZoneInfo) -> SunTimes:
    """Sun times of the local day ``on_date``; degrees, north and east positive.

    Where the sun does not both rise and set around that day's noon the kind says so and there are no times.
    """
    place = (float(latitude), float(longitude))
    noon = _transit(place[1], datetime.combine(on_date, time(12), tzinfo=zone).astimezone(UTC))
    if altitude(*place, noon) <= SET_DEGREES:
        return _no_times(SunKind.ALWAYS_DOWN)
    if min(altitude(*place, noon - _HALF_DAY), altitude(*place, noon + _HALF_DAY)) > SET_DEGREES:
        return _no_times(SunKind.ALWAYS_UP)
    sunrise = _crossing(place, noon, noon - _HALF_DAY, SET_DEGREES)
    sunset = _crossing(place, noon, noon + _HALF_DAY, SET_DEGREES)
    if sunrise is None or sunset is None:
        return _no_times(SunKind.ALWAYS_UP)
    dusk = _crossing(place, noon, noon + _HALF_DAY, DUSK_DEGREES)
    return SunTimes(kind=SunKind.TIMES, sunrise_at=sunrise, sunset_at=sunset, dusk_at=dusk)


def altitude(latitude: float, longitude: float, at: datetime) -> float:
    """True altitude of the sun's centre in degrees at the aware instant ``at``, without refraction."""
    declination, equation = _sun(at)
    hour_angle = math.radians(_hour_angle(longitude, equation, at))
    lat = math.radians(latitude)
    sine = math.sin(lat) * math.sin(declination) + math.cos(lat) * math.cos(declination) * math.cos(hour_angle)
    return math.degrees(math.asin(max(-1.0, min(1.0, sine))))


def _no_times(kind: SunKind) -> SunTimes:
    return SunTimes(kind=kind, sunrise_at=None, sunset_at=None, dusk_at=None)


def _sun(at: datetime) -> tuple[float, float]:
    """Declination (radians) and equation of time (minutes)."""
    century = (at.astimezone(UTC) - _J2000) / timedelta(days=36525)
    mean_longitude = math.radians((280.46646 + century * (36000.76983 + 0.0003032 * century)) % 360)
    anomaly = math.radians(357.52911 + century * (35999.05029 - 0.0001537 * century))
    eccentricity = 0.016708634 - century * (0.000042037 + 0.0000001267 * century)
    centre = (
        math.sin(anomaly) * (1.914602 - century * (0.004817 + 0.000014 * century))
        + math.sin(2 * anomaly) * (0.019993 - 0.000101 * century)
        + math.sin(3 * anomaly) * 0.000289
    )
    node = math.radians(125.04 - 1934.136 * century)
    longitude = mean_longitude + math.radians(centre - 0.00569 - 0.00478 * math.sin(node))
    arc_seconds = 21.448 - century * (46.815 + century * (0.00059 - century * 0.001813))
    obliquity = math.radians(23 + (26 + arc_seconds / 60) / 60 + 0.00256 * math.cos(node))
    declination = math.asin(math.sin(obliquity) * math.sin(longitude))
    y = math.tan(obliquity / 2) ** 2
    equation = (
        y * math.sin(2 * mean_longitude)
        - 2 * eccentricity * math.sin(anomaly)
        + 4 * eccentricity * y * math.sin(anomaly) * math.cos(2 * mean_longitude)
        - 0.5 * y * y * math.sin(4 * mean_longitude)
        - 1.25 * eccentricity * eccentricity * math.sin(2 * anomaly)
    )
    return declination, math.degrees(equation) * 4


def _hour_angle(longitude: float, equation: float, at: datetime) -> float:
    """Degrees west of the meridian, -180 to 180."""
    utc = at.astimezone(UTC)
    minutes = utc.hour * 60 + utc.minute + (utc.second + utc.microsecond / 1e6) / 60
    return ((minutes + equation + 4 * longitude) / 4 - 180 + 180) % 360 - 180


def _transit(longitude: float, near: datetime) -> datetime:
    """The upper transit nearest to ``near``."""
    at = near
    for _ in range(3):
        at -= timedelta(minutes=4 * _hour_angle(longitude, _sun(at)[1], at))
    return at


def _crossing(place: tuple[float, float], noon: datetime, midnight: datetime, degrees: float) -> datetime | None:
    """When the sun passes ``degrees`` between noon and that midnight; None when it stays above."""
    if altitude(*place, midnight) > degrees:
        return None
    above, below = noon, midnight
    while abs(above - below) > timedelta(milliseconds=100):
        middle = above + (below - above) / 2
        above, below = (middle, below) if altitude(*place, middle) > degrees else (above, middle)
    return below.replace(microsecond=0)
