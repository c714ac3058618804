"""How long a field takes: rate of work and a bottom-up count of passes, turns and refills."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.exact import Number, not_negative, percent, positive, to_decimal
from apps.equipment.rules.flow import FT_PER_MIN_AT_ONE_MPH, SQFT_PER_ACRE

FT_PER_ACRE_MILE = Fraction(SQFT_PER_ACRE, 5280)  # one acre is 8.25 ft by one mile


def acres_per_hour(*, speed_mph: Number, swath_ft: Number, efficiency_percent: Number = 100) -> Decimal:
    """Rate of work: MPH x swath / 8.25 x efficiency (Iowa State University Extension PM 696)."""
    ideal = positive(speed_mph, "speed_mph") * positive(swath_ft, "swath_ft") / FT_PER_ACRE_MILE
    return to_decimal(ideal * percent(efficiency_percent, "efficiency_percent"))


@dataclass(frozen=True, kw_only=True)
class FieldTime:
    """Minutes on one field. ``spraying_min`` is the acres at full swath; a last narrow pass is not driven twice."""

    passes: int
    spraying_min: Decimal
    turning_min: Decimal
    filling_min: Decimal
    travel_min: Decimal

    @property
    def total_min(self) -> Decimal:
        """All of it."""
        return self.spraying_min + self.turning_min + self.filling_min + self.travel_min

    @property
    def efficiency_percent(self) -> Decimal:
        """Share of the time in which spray reaches the crop."""
        return to_decimal(Fraction(self.spraying_min) / Fraction(self.total_min) * 100)


def field_time(
    *,
    acres: Number,
    speed_mph: Number,
    swath_ft: Number,
    row_ft: Number,
    turn_seconds: Number,
    refills: int,
    fill_minutes: Number,
    travel_minutes: Number = 0,
) -> FieldTime:
    """Passes, turns and refills of a rectangular field with rows ``row_ft`` long (plain geometry)."""
    sprayed = positive(acres, "acres") * SQFT_PER_ACRE / positive(swath_ft, "swath_ft")
    passes = max(1, math.ceil(sprayed / positive(row_ft, "row_ft") - Fraction(1, 10**9)))
    turns = not_negative(turn_seconds, "turn_seconds") * (passes - 1) / 60
    filling = not_negative(refills, "refills") * not_negative(fill_minutes, "fill_minutes")
    return FieldTime(
        passes=passes,
        spraying_min=to_decimal(sprayed / (positive(speed_mph, "speed_mph") * FT_PER_MIN_AT_ONE_MPH)),
        turning_min=to_decimal(turns),
        filling_min=to_decimal(filling),
        travel_min=to_decimal(not_negative(travel_minutes, "travel_minutes")),
    )
