"""A boom on one side of the machine, driving in lanes left uncropped (plain geometry).

S is the swath sprayed from one side, L the lane. Driving every lane both ways covers S on each side of
it, so lanes stand 2S + L apart. The rate is reckoned with S alone, never with S + L or 2S.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.exact import Number, not_negative, positive, to_decimal
from farmops.errors import BadInput, gettext_noop


@dataclass(frozen=True, kw_only=True)
class LanePlan:
    """Lanes ``spacing_ft`` apart, each driven both ways. Strips are feet of each cropped bed between two lanes."""

    cropped_ft: Decimal
    doubled_ft: Decimal
    missed_ft: Decimal
    treated_share: Decimal
    mean_dose: Decimal

    def treated_acres(self, gross_acres: Number) -> Decimal:
        """Of ``gross_acres`` (lanes and all) what is sprayed: rates are per treated acre."""
        return to_decimal(positive(gross_acres, "gross_acres") * Fraction(self.treated_share))


def lane_spacing_ft(*, swath_ft: Number, lane_ft: Number, both_ways: bool = True) -> Decimal:
    """Distance between lanes for no gap and no double cover: 2S + L driven both ways, S + L driven once."""
    sides = 2 if both_ways else 1
    return to_decimal(sides * positive(swath_ft, "swath_ft") + not_negative(lane_ft, "lane_ft"))


def lane_plan(*, swath_ft: Number, lane_ft: Number, spacing_ft: Number) -> LanePlan:
    """What lanes at this spacing do: cropped bed, double-dosed or missed strip, share of gross acres treated.

    ``mean_dose`` is the average dose over the cropped bed as a multiple of the wanted one, 2S / (D - L).
    """
    swath, lane = positive(swath_ft, "swath_ft"), not_negative(lane_ft, "lane_ft")
    spacing = positive(spacing_ft, "spacing_ft")
    bed = spacing - lane
    if bed <= 0:
        raise BadInput({"spacing_ft": gettext_noop("Lanes must stand further apart than they are wide.")})
    if swath > bed:
        raise BadInput({"swath_ft": gettext_noop("The swath reaches past the next lane.")})
    sprayed = min(bed, 2 * swath)
    return LanePlan(
        cropped_ft=to_decimal(bed),
        doubled_ft=to_decimal(max(Fraction(0), 2 * swath - bed)),
        missed_ft=to_decimal(max(Fraction(0), bed - 2 * swath)),
        treated_share=to_decimal(sprayed / spacing),
        mean_dose=to_decimal(2 * swath / bed),
    )


def passes(*, cropped_ft: Number, swath_ft: Number) -> int:
    """Single-sided passes over the cropped width."""
    return math.ceil(positive(cropped_ft, "cropped_ft") / positive(swath_ft, "swath_ft"))


def passes_both_ways(*, field_ft: Number, spacing_ft: Number) -> int:
    """Passes over a field of this width when each lane is driven both ways; a part of a lane is a lane."""
    return 2 * math.ceil(positive(field_ft, "field_ft") / positive(spacing_ft, "spacing_ft") - Fraction(1, 10**9))
