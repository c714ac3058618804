"""Delta-T and temperature inversions: what the air does to droplets.

Both are told apart from anything about bees: the evening that suits bees is the evening in which inversions form.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from decimal import Decimal

from apps.weather.rules.sun import SunKind, SunTimes
from farmops.errors import BadInput, Finding, Severity, gettext_noop
from farmops.units import show

SEA_LEVEL_HPA = Decimal("1013.25")

# NDSU Crop & Pest Report, 23 May 2019; 2 to 8 with an upper end of 10: Bureau of Meteorology (Australia) guidance.
LOW_C, HIGH_C, LIMIT_C = Decimal(2), Decimal(8), Decimal(10)
# Two ways of reckoning the wet bulb differ by up to half a degree, so that near to a limit is shown as doubt.
DOUBT_C = Decimal("0.5")
AIR_SOURCE = "NDSU Crop & Pest Report, 23 May 2019; Bureau of Meteorology (Australia)"

# Under 3 mph the direction wanders and an inversion is likely: pesticidestewardship.org.
CALM_MPH = Decimal(3)
# Starts as the sun sets (Canola Council of Canada, citing NDSU); the hour before is project rule.
BEFORE_SUNSET = timedelta(hours=1)
# Likely until two hours after sunrise: DPIRD Western Australia, July 2023.
AFTER_SUNRISE = timedelta(hours=2)
CALM_SOURCE = 'pesticidestewardship.org, "Evaluate the weather conditions"'
HOURS_SOURCE = "Canola Council of Canada, citing NDSU; DPIRD Western Australia, July 2023"


def celsius(fahrenheit: Decimal) -> Decimal:
    """Degrees Fahrenheit to Celsius."""
    return (fahrenheit - 32) * 5 / 9


def delta_t(*, temperature_f: Decimal, humidity_percent: Decimal, pressure_hpa: Decimal = SEA_LEVEL_HPA) -> Decimal:
    """Dry bulb less wet bulb, in degrees Celsius to a hundredth.

    Psychrometric equation es(Tw) - 0.00066 (1 + 0.00115 Tw) P (T - Tw) = RH/100 es(T) with
    es(T) = 6.112 exp(17.67 T / (T + 243.5)) hPa (textbook form, from memory), solved by bisection.
    ``BadInput`` names the reading that cannot be.
    """
    if not -40 <= temperature_f <= 140:
        raise BadInput({"temperature_f": gettext_noop("Must be between -40 and 140 °F.")})
    if not 0 < humidity_percent <= 100:
        raise BadInput({"humidity_percent": gettext_noop("Must be more than 0 and at most 100 %.")})
    if not 500 <= pressure_hpa <= 1100:
        raise BadInput({"pressure_hpa": gettext_noop("Must be between 500 and 1100 hPa.")})
    dry = float(celsius(temperature_f))
    wet = _wet_bulb(dry, float(humidity_percent), float(pressure_hpa))
    return Decimal(repr(dry - wet)).quantize(Decimal("0.01"))


def _saturation(celsius_degrees: float) -> float:
    return 6.112 * math.exp(17.67 * celsius_degrees / (celsius_degrees + 243.5))


def _wet_bulb(dry: float, humidity: float, pressure: float) -> float:
    vapour = humidity / 100 * _saturation(dry)
    low, high = dry - 60, dry
    for _ in range(60):
        middle = (low + high) / 2
        holds = _saturation(middle) - 0.00066 * (1 + 0.00115 * middle) * pressure * (dry - middle)
        low, high = (middle, high) if holds < vapour else (low, middle)
    return (low + high) / 2


def delta_t_findings(degrees_c: Decimal) -> list[Finding]:
    """What a Delta-T says: droplets that live too long (below 2), dry too fast (above 8, above 10), or a near miss."""
    said = {"delta_t": f"{show(degrees_c, 1)} °C"}

    def finding(code: str, severity: Severity, template: str) -> list[Finding]:
        return [Finding(code=code, severity=severity, template=template, numbers=said, source=AIR_SOURCE)]

    if degrees_c > LIMIT_C:
        template = gettext_noop("Delta-T is {delta_t}, over 10 °C: droplets dry up before they land.")
        return finding("delta_t_high", Severity.JUSTIFY, template)
    if degrees_c > HIGH_C:
        return finding("delta_t_rising", Severity.NOTE, gettext_noop("Delta-T is {delta_t}: droplets dry fast."))
    if degrees_c < LOW_C:
        template = gettext_noop("Delta-T is {delta_t}, under 2 °C: droplets live long and drift far.")
        return finding("delta_t_low", Severity.NOTE, template)
    if degrees_c - LOW_C < DOUBT_C or HIGH_C - degrees_c < DOUBT_C:
        template = gettext_noop("Delta-T is {delta_t}, within half a degree of a limit: measure again soon.")
        return finding("delta_t_near", Severity.NOTE, template)
    return []


def inversion_hour(at: datetime, sun: SunTimes) -> bool:
    """True from an hour before sunset until two hours after sunrise, judged within the local day of ``sun``."""
    if sun.sunrise_at is None or sun.sunset_at is None:
        return sun.kind is SunKind.ALWAYS_DOWN
    return at < sun.sunrise_at + AFTER_SUNRISE or at >= sun.sunset_at - BEFORE_SUNSET


def inversion_findings(*, at: datetime, sun: SunTimes, wind_mph: Decimal | None) -> list[Finding]:
    """Risk of a temperature inversion from the hour and a low wind. ``wind_mph`` None: not measured.

    Calm in the evening, night or early morning asks for a reason; either alone is noted. A wind that was
    not measured counts as calm.
    """
    hour = inversion_hour(at, sun)
    calm = wind_mph is None or wind_mph < CALM_MPH
    wind = gettext_noop("not measured") if wind_mph is None else f"{show(wind_mph, 1)} mph"
    if hour and calm:
        template = gettext_noop("Wind {wind} between evening and morning: an inversion is likely. Look for it.")
        return [_inversion("inversion_likely", Severity.JUSTIFY, template, f"{CALM_SOURCE}; {HOURS_SOURCE}", wind)]
    if hour:
        template = gettext_noop("Between evening and morning an inversion can form. Wind {wind}.")
        return [_inversion("inversion_hour", Severity.NOTE, template, HOURS_SOURCE, wind)]
    if calm:
        template = gettext_noop("Wind {wind}: under 3 mph its direction wanders and an inversion can hold.")
        return [_inversion("wind_calm", Severity.NOTE, template, CALM_SOURCE, wind)]
    return []


def _inversion(code: str, severity: Severity, template: str, source: str, wind: str) -> Finding:
    return Finding(
        code=code, severity=severity, template=template, numbers={"wind": wind}, source=source, field="wind_mph"
    )
