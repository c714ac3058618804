"""Delta-T against a table and a second formula; inversion risk by hour and wind."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from decimal import Decimal as D

import pytest

from apps.weather.rules.air import delta_t, delta_t_findings, inversion_findings
from apps.weather.rules.sun import SunKind, SunTimes
from farmops.errors import BadInput, Severity

# C, % humidity, Delta-T at 1013.25 hPa, Delta-T at 900 hPa, by the psychrometric equation (textbook, from memory)
TABLE = [
    (10, 50, "4.397", "4.668"),
    (15, 50, "5.248", "5.532"),
    (15, 90, "0.975", "1.021"),
    (20, 30, "9.008", "9.477"),
    (20, 50, "6.124", "6.411"),
    (20, 80, "2.287", "2.380"),
    (25, 30, "10.419", "10.898"),
    (25, 50, "7.005", "7.288"),
    (30, 20, "14.078", "14.698"),
    (30, 40, "9.787", "10.152"),
    (30, 50, "7.876", "8.148"),
    (35, 50, "8.725", "8.982"),
]


def fahrenheit(celsius: int) -> D:
    return D(celsius) * 9 / 5 + 32


@pytest.mark.parametrize(("celsius", "humidity", "sea", "high"), TABLE)
def test_delta_t_table(celsius: int, humidity: int, sea: str, high: str) -> None:
    at_sea = delta_t(temperature_f=fahrenheit(celsius), humidity_percent=D(humidity))
    aloft = delta_t(temperature_f=fahrenheit(celsius), humidity_percent=D(humidity), pressure_hpa=D(900))
    assert abs(at_sea - D(sea)) <= D("0.0051")
    assert abs(aloft - D(high)) <= D("0.0051")


def stull(t: float, rh: float) -> float:
    """Wet bulb by R. Stull, J. Appl. Meteorol. Climatol. 50(11):2267, 2011 (coefficients from memory)."""
    return (
        t * math.atan(0.151977 * math.sqrt(rh + 8.313659))
        + math.atan(t + rh)
        - math.atan(rh - 1.676331)
        + 0.00391838 * rh**1.5 * math.atan(0.023101 * rh)
        - 4.686035
    )


@pytest.mark.parametrize(("celsius", "humidity", "sea", "high"), TABLE)
def test_delta_t_agrees_with_another_formula_within_its_error(celsius: int, humidity: int, sea: str, high: str) -> None:
    # Stull states an error of -1 to +0.65 degrees.
    other = celsius - stull(celsius, humidity)
    assert float(delta_t(temperature_f=fahrenheit(celsius), humidity_percent=D(humidity))) == pytest.approx(
        other, abs=0.65
    )


def test_saturated_air_has_none() -> None:
    assert delta_t(temperature_f=D(70), humidity_percent=D(100)) == D("0.00")


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("temperature_f", D(200)),
        ("temperature_f", D(-60)),
        ("humidity_percent", D(0)),
        ("humidity_percent", D(101)),
        ("pressure_hpa", D(30)),
    ],
)
def test_impossible_air_names_the_field(field: str, value: D) -> None:
    given = {"temperature_f": D(70), "humidity_percent": D(50), "pressure_hpa": D(1013), field: value}
    with pytest.raises(BadInput) as caught:
        delta_t(**given)
    assert list(caught.value.errors) == [field]


@pytest.mark.parametrize(
    ("degrees", "said"),
    [
        ("1.99", [("delta_t_low", Severity.NOTE)]),
        ("2.0", [("delta_t_near", Severity.NOTE)]),
        ("2.5", []),
        ("7.5", []),
        ("7.6", [("delta_t_near", Severity.NOTE)]),
        ("8.0", [("delta_t_near", Severity.NOTE)]),
        ("8.01", [("delta_t_rising", Severity.NOTE)]),
        ("10.0", [("delta_t_rising", Severity.NOTE)]),
        ("10.01", [("delta_t_high", Severity.JUSTIFY)]),
    ],
)
def test_delta_t_bands(degrees: str, said: list[tuple[str, Severity]]) -> None:
    # 2 to 8 wanted, over 10 avoided: NDSU Crop & Pest Report, 23 May 2019, and Bureau of Meteorology (Australia)
    assert [(f.code, f.severity) for f in delta_t_findings(D(degrees))] == said


RISE, SET = datetime(2026, 8, 4, 11, 5, tzinfo=UTC), datetime(2026, 8, 5, 1, 25, tzinfo=UTC)
DAY = SunTimes(kind=SunKind.TIMES, sunrise_at=RISE, sunset_at=SET, dusk_at=SET + timedelta(minutes=30))
NOON, EVENING = datetime(2026, 8, 4, 18, tzinfo=UTC), SET - timedelta(hours=1)


@pytest.mark.parametrize(
    ("at", "wind", "said"),
    [
        (NOON, "6", []),
        (NOON, "3", []),
        (NOON, "2.9", [("wind_calm", Severity.NOTE)]),
        (NOON, None, [("wind_calm", Severity.NOTE)]),
        (EVENING, "6", [("inversion_hour", Severity.NOTE)]),
        (EVENING, "2", [("inversion_likely", Severity.JUSTIFY)]),
        (EVENING, None, [("inversion_likely", Severity.JUSTIFY)]),
        (EVENING - timedelta(seconds=1), "6", []),
        (RISE + timedelta(hours=2), "6", []),
        (RISE + timedelta(hours=2, seconds=-1), "6", [("inversion_hour", Severity.NOTE)]),
        (RISE - timedelta(hours=3), "1", [("inversion_likely", Severity.JUSTIFY)]),
    ],
)
def test_inversion_risk(at: datetime, wind: str | None, said: list[tuple[str, Severity]]) -> None:
    # calm under 3 mph: pesticidestewardship.org; until two hours after sunrise: DPIRD Western Australia, July 2023
    found = inversion_findings(at=at, sun=DAY, wind_mph=None if wind is None else D(wind))
    assert [(f.code, f.severity) for f in found] == said


@pytest.mark.parametrize(
    ("kind", "code"), [(SunKind.ALWAYS_UP, "wind_calm"), (SunKind.ALWAYS_DOWN, "inversion_likely")]
)
def test_polar_day_is_no_evening_and_polar_night_is_all_night(kind: SunKind, code: str) -> None:
    sun = SunTimes(kind=kind, sunrise_at=None, sunset_at=None, dusk_at=None)
    assert [f.code for f in inversion_findings(at=NOON, sun=sun, wind_mph=D(1))] == [code]
