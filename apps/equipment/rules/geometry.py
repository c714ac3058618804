"""Boom height, fan angle, spacing and the two meanings of overlap.

"100 % overlap" in nozzle talk means a pattern twice the spacing; measured as a share of the pattern
the same boom overlaps by 50 %. The two are kept in functions with different names and never mixed.
Heights are above the target (the crop top), not the soil. Plain trigonometry of a straight-edged fan;
a real pattern droops, so theory overstates its width at large heights (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.exact import Number, not_negative, positive, to_decimal
from farmops.errors import BadInput, gettext_noop


def _half_tangent(angle_degrees: Number) -> Fraction:
    angle = positive(angle_degrees, "angle_degrees")
    if angle >= 180:
        raise BadInput({"angle_degrees": gettext_noop("A fan is less than 180 degrees wide.")})
    return Fraction(math.tan(math.radians(float(angle) / 2)))


def pattern_width_in(*, height_in: Number, angle_degrees: Number) -> Decimal:
    """Width of the pattern at ``height_in`` below the nozzle: 2 h tan(angle / 2)."""
    return to_decimal(2 * positive(height_in, "height_in") * _half_tangent(angle_degrees))


def boom_height_in(*, spacing_in: Number, angle_degrees: Number, overlap_of_spacing_percent: Number) -> Decimal:
    """Height above the target for an overlap counted from the spacing: (width - spacing) / spacing."""
    over = not_negative(overlap_of_spacing_percent, "overlap_of_spacing_percent") / 100
    width = positive(spacing_in, "spacing_in") * (1 + over)
    return to_decimal(width / (2 * _half_tangent(angle_degrees)))


def overlap_of_spacing_percent(*, width_in: Number, spacing_in: Number) -> Decimal:
    """(width - spacing) / spacing: 100 % when the pattern is twice the spacing. Below 0 there are gaps."""
    spacing = positive(spacing_in, "spacing_in")
    return to_decimal((positive(width_in, "width_in") - spacing) / spacing * 100)


def overlap_of_pattern_percent(*, width_in: Number, spacing_in: Number) -> Decimal:
    """(width - spacing) / width: 50 % when the pattern is twice the spacing. Below 0 there are gaps."""
    width = positive(width_in, "width_in")
    return to_decimal((width - positive(spacing_in, "spacing_in")) / width * 100)


def clearance_in(*, boom_in: Number, crop_in: Number) -> Decimal:
    """Boom above the crop top; negative when the crop stands higher than the boom."""
    return to_decimal(positive(boom_in, "boom_in") - not_negative(crop_in, "crop_in"))


def of_spacing_from_of_pattern(of_pattern_percent: Number) -> Decimal:
    """An overlap counted from the pattern (below 100) as one counted from the spacing: p / (1 - p)."""
    share = not_negative(of_pattern_percent, "overlap") / 100
    if share >= 1:
        raise BadInput({"overlap": gettext_noop("Counted from the pattern, an overlap is less than 100 %.")})
    return to_decimal(share / (1 - share) * 100)


@dataclass(frozen=True, kw_only=True)
class Clearance:
    """Boom above the crop top now and on a later day; ``days_left`` None when nothing was wanted or nothing grows."""

    now_in: Decimal
    then_in: Decimal
    days_left: int | None


def clearance_as_it_grows(
    *, boom_in: Number, crop_in: Number, growth_in_per_day: Number, days: int, wanted_in: Number | None = None
) -> Clearance:
    """How far the boom stands above a crop that grows evenly, and for how many whole days at least ``wanted_in``."""
    growth, crop = not_negative(growth_in_per_day, "growth"), not_negative(crop_in, "crop_in")
    now = clearance_in(boom_in=boom_in, crop_in=crop)
    then = clearance_in(boom_in=boom_in, crop_in=crop + not_negative(days, "days") * growth)
    left = None
    if wanted_in is not None and growth > 0:
        left = max(0, math.floor((Fraction(now) - positive(wanted_in, "wanted_in")) / growth))
    return Clearance(now_in=now, then_in=then, days_left=left)
