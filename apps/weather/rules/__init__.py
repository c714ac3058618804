"""The sun and the air, as plain functions and facts."""

from apps.weather.rules.air import delta_t, delta_t_findings, inversion_findings, inversion_hour
from apps.weather.rules.sun import SunKind, SunTimes, sun_times

__all__ = [
    "SunKind",
    "SunTimes",
    "delta_t",
    "delta_t_findings",
    "inversion_findings",
    "inversion_hour",
    "sun_times",
]
