"""Measured ground: ground speed, the ounces-equal-gallons course, the refill and test-plot methods.

One gallon is 128 fl oz, so what a nozzle puts on 1/128 acre (340.3125 sq ft) in fluid ounces is its
rate in gallons per acre: LSU AgCenter, "Ounces Equal Gallons: Sprayer Calibration".
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.exact import Number, percent, positive, to_decimal
from apps.equipment.rules.flow import FT_PER_MIN_AT_ONE_MPH, SQFT_PER_ACRE
from farmops.errors import BadInput, gettext_noop

OUNCE_PLOT_SQFT = Fraction(SQFT_PER_ACRE, 128)
BOOMLESS_SHARE_PERCENT = 80  # usable part of the wetted width, LSU AgCenter and Kentucky ENTFACT-805


def speed_mph(*, distance_ft: Number, seconds: Number) -> Decimal:
    """Ground speed over a timed course: ft/s x 60/88 (exactly 15/22; often printed 0.682)."""
    return to_decimal(
        positive(distance_ft, "distance_ft") * 60 / (positive(seconds, "seconds") * FT_PER_MIN_AT_ONE_MPH)
    )


def speed_km_h(*, distance_m: Number, seconds: Number) -> Decimal:
    """Ground speed over a timed metric course."""
    return to_decimal(positive(distance_m, "distance_m") * Fraction(36, 10) / positive(seconds, "seconds"))


def mean(values: Sequence[Number], *, field: str = "values") -> Decimal:
    """Plain average of several runs or cups; ``BadInput`` when there are none."""
    if not values:
        raise BadInput({field: gettext_noop("Give at least one measurement.")})
    return to_decimal(sum((positive(v, field) for v in values), Fraction(0)) / len(values))


def course_ft(*, width_in: Number, plot_sqft: Number = OUNCE_PLOT_SQFT) -> Decimal:
    """Length of the course to drive while one nozzle, covering ``width_in``, sprays ``plot_sqft``."""
    return to_decimal(positive(plot_sqft, "plot_sqft") * 12 / positive(width_in, "width_in"))


def course_ft_for_swath(*, swath_ft: Number, plot_sqft: Number = OUNCE_PLOT_SQFT) -> Decimal:
    """The same for a whole swath in feet."""
    return to_decimal(positive(plot_sqft, "plot_sqft") / positive(swath_ft, "swath_ft"))


def gpa_on_course(*, caught_floz: Number, course_ft: Number, width_in: Number) -> Decimal:
    """Gallons per acre from ounces caught from one nozzle while driving ``course_ft``."""
    treated = positive(course_ft, "course_ft") * positive(width_in, "width_in") / 12
    return to_decimal(positive(caught_floz, "caught_floz") / 128 * SQFT_PER_ACRE / treated)


def amount_per_acre(*, amount: Number, distance_ft: Number, swath_ft: Number) -> Decimal:
    """What went out over a measured run, per acre, in the unit of ``amount`` (gallons, or pounds of dry product)."""
    treated = positive(distance_ft, "distance_ft") * positive(swath_ft, "swath_ft")
    return to_decimal(positive(amount, "amount") * SQFT_PER_ACRE / treated)


def gpa_by_refill(*, refill_gal: Number, distance_ft: Number, swath_ft: Number) -> Decimal:
    """Gallons per acre from the water that refills the tank after a run over measured ground."""
    used = to_decimal(positive(refill_gal, "refill_gal"))
    return amount_per_acre(amount=used, distance_ft=distance_ft, swath_ft=swath_ft)


def gpa_on_plot(*, used_gal: Number, plot_acres: Number) -> Decimal:
    """Gallons per acre from what a test plot took."""
    return to_decimal(positive(used_gal, "used_gal") / positive(plot_acres, "plot_acres"))


def effective_swath_ft(*, wetted_ft: Number, share_percent: Number = BOOMLESS_SHARE_PERCENT) -> Decimal:
    """Swath to reckon with for a boomless head: the outer edge of the wetted width gets too little."""
    return to_decimal(positive(wetted_ft, "wetted_ft") * percent(share_percent, "share_percent"))
