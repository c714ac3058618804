"""What the pump must deliver: boom, agitation and a reserve."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.exact import Number, not_negative, percent, positive, to_decimal

AGITATION_PERCENT = 5  # of the tank a minute: common practice, no source; GRDC (Australia) says 2 to 3
RESERVE_PERCENT = 20  # for wear and losses: common practice, no source
HORSEPOWER_FORM = 1714  # gal/min x psi for one hydraulic horsepower, from memory


def agitation_flow(*, tank: Number, percent_per_minute: Number = AGITATION_PERCENT) -> Decimal:
    """Flow back into the tank, in tank units a minute, to keep a product in suspension."""
    return to_decimal(positive(tank, "tank") * percent(percent_per_minute, "percent_per_minute"))


def pump_gpm_needed(*, boom_gpm: Number, agitation_gpm: Number, reserve_percent: Number = RESERVE_PERCENT) -> Decimal:
    """Pump capacity in gal/min for boom and agitation with a reserve on top."""
    flow = positive(boom_gpm, "boom_gpm") + not_negative(agitation_gpm, "agitation_gpm")
    return to_decimal(flow * (1 + not_negative(reserve_percent, "reserve_percent") / 100))


def horsepower(*, gpm: Number, pressure_psi: Number, efficiency_percent: Number = 100) -> Decimal:
    """Shaft power the pump takes."""
    hydraulic = positive(gpm, "gpm") * positive(pressure_psi, "pressure_psi") / Fraction(HORSEPOWER_FORM)
    return to_decimal(hydraulic / percent(efficiency_percent, "efficiency_percent"))
