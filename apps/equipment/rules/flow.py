"""Nozzle flow, ground speed, width and gallons per acre, each from the other three.

An mph is 88 feet a minute, so one nozzle covering ``W`` inches sprays 88 x mph x W/12 square feet a
minute, and GPA = GPM x 43,560 x 12 / (88 x MPH x W) = 5940 x GPM / (MPH x W): University of Missouri
Extension G1270. ``W`` is the nozzle spacing for broadcast, the row spacing shared by the nozzles of a
row, or the band width for a rate per treated acre (same source).
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.exact import Number, positive, root, to_decimal

SQFT_PER_ACRE = 43560
FT_PER_MIN_AT_ONE_MPH = 88
INCH_FORM = Fraction(SQFT_PER_ACRE * 12, FT_PER_MIN_AT_ONE_MPH)  # 5940
FOOT_FORM = Fraction(SQFT_PER_ACRE, FT_PER_MIN_AT_ONE_MPH)  # 495
METRIC_FORM = 600  # 10,000 m2 / (1000 m / 60 min)


def gpa(*, nozzle_gpm: Number, speed_mph: Number, width_in: Number) -> Decimal:
    """Gallons per acre from the flow (gal/min) of one nozzle that covers ``width_in`` inches."""
    flow, speed = positive(nozzle_gpm, "nozzle_gpm"), positive(speed_mph, "speed_mph")
    return to_decimal(INCH_FORM * flow / (speed * positive(width_in, "width_in")))


def gpa_whole_boom(*, total_gpm: Number, speed_mph: Number, swath_ft: Number) -> Decimal:
    """Gallons per acre from the flow (gal/min) of all nozzles over the swath in feet.

    Mesa County (Colorado) Weed and Pest prints this form, 495, beside the inch form.
    """
    flow, speed = positive(total_gpm, "total_gpm"), positive(speed_mph, "speed_mph")
    return to_decimal(FOOT_FORM * flow / (speed * positive(swath_ft, "swath_ft")))


def litres_per_hectare(*, l_per_min: Number, speed_km_h: Number, width_m: Number) -> Decimal:
    """L/ha from L/min, km/h and metres: one nozzle and its spacing, or all nozzles and the swath."""
    flow, speed = positive(l_per_min, "l_per_min"), positive(speed_km_h, "speed_km_h")
    return to_decimal(METRIC_FORM * flow / (speed * positive(width_m, "width_m")))


def nozzle_gpm_for(*, gpa: Number, speed_mph: Number, width_in: Number) -> Decimal:
    """The flow in gal/min that one nozzle must give."""
    rate, speed = positive(gpa, "gpa"), positive(speed_mph, "speed_mph")
    return to_decimal(rate * speed * positive(width_in, "width_in") / INCH_FORM)


def boom_gpm_for(*, gpa: Number, speed_mph: Number, swath_ft: Number) -> Decimal:
    """The flow in gal/min that all nozzles together must give. With a swath of 1 ft: flow per foot."""
    rate, speed = positive(gpa, "gpa"), positive(speed_mph, "speed_mph")
    return to_decimal(rate * speed * positive(swath_ft, "swath_ft") / FOOT_FORM)


def speed_for(*, gpa: Number, nozzle_gpm: Number, width_in: Number) -> Decimal:
    """The ground speed in mph at which this nozzle puts on ``gpa``."""
    rate, flow = positive(gpa, "gpa"), positive(nozzle_gpm, "nozzle_gpm")
    return to_decimal(INCH_FORM * flow / (rate * positive(width_in, "width_in")))


def swath_ft(*, nozzles: int, spacing_in: Number) -> Decimal:
    """Swath of a broadcast boom: every nozzle covers one spacing."""
    return to_decimal(positive(nozzles, "nozzles") * positive(spacing_in, "spacing_in") / 12)


def flow_at_pressure(*, gpm: Number, pressure_psi: Number, new_pressure_psi: Number) -> Decimal:
    """Flow of the same nozzle at another pressure: it goes with the square root of the pressure.

    Square-root law from memory; that four times the pressure doubles the flow is in the National
    Pesticide Applicator Certification Core Manual, chapter 11.
    """
    ratio = positive(new_pressure_psi, "new_pressure_psi") / positive(pressure_psi, "pressure_psi")
    return to_decimal(positive(gpm, "gpm") * Fraction(root(ratio)))


def pressure_for_rate(
    *,
    pressure_psi: Number,
    gpa: Number,
    wanted_gpa: Number,
    speed_mph: Number = 1,
    wanted_speed_mph: Number | None = None,
) -> Decimal:
    """Pressure (psi) for a wanted rate, at the same speed unless ``wanted_speed_mph`` is given.

    P2 = P1 x ((GPA2 x MPH2) / (GPA1 x MPH1))^2, which follows from the square-root law.
    """
    old_speed = positive(speed_mph, "speed_mph")
    speed = old_speed if wanted_speed_mph is None else positive(wanted_speed_mph, "wanted_speed_mph")
    change = positive(wanted_gpa, "wanted_gpa") * speed / (positive(gpa, "gpa") * old_speed)
    return to_decimal(positive(pressure_psi, "pressure_psi") * change**2)


def solution_flow(*, water_gpm: Number, specific_gravity: Number) -> Decimal:
    """Flow of a liquid ``specific_gravity`` times as heavy as water through a nozzle measured with water."""
    gravity = positive(specific_gravity, "specific_gravity")
    return to_decimal(positive(water_gpm, "water_gpm") / Fraction(root(gravity)))


def water_flow_for(*, solution_gpm: Number, specific_gravity: Number) -> Decimal:
    """Flow to look for in a water chart so that the denser liquid comes out at ``solution_gpm``."""
    gravity = positive(specific_gravity, "specific_gravity")
    return to_decimal(positive(solution_gpm, "solution_gpm") * Fraction(root(gravity)))
