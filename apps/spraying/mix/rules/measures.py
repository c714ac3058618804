"""An exact dose in measures that stand at the fill station: jugs and a cylinder, or scales. Always cut, never up."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from farmops.errors import BadInput, gettext_noop
from farmops.units import CONTEXT, Dimension, Quantity, factor, round_down, show, unit_name

JUGS = ("gal", "qt", "pt")
PLACES = 3
SMALL = 10  # below this many mL or g the cylinder or the scales are read to a tenth


@dataclass(frozen=True, kw_only=True)
class Measure:
    """``exact`` is the dose cut to three decimals in the unit of the rate. ``parts`` is what is measured out, which is
    never more than ``exact``; ``also`` is the last part read on the other scale of the same cup, cut as well.
    """

    exact: Quantity
    parts: tuple[Quantity, ...]
    also: Quantity | None

    @property
    def amount(self) -> Quantity:
        """All parts together, in the unit of the rate (28 digits)."""
        total = sum((Fraction(p.amount) * factor(p.unit, self.exact.unit) for p in self.parts), Fraction(0))
        return Quantity(CONTEXT.divide(Decimal(total.numerator), Decimal(total.denominator)), self.exact.unit)

    def __str__(self) -> str:
        said = " + ".join(f"{show(p.amount, 1)} {unit_name(p.unit)}" for p in self.parts)
        return said if self.also is None else f"{said} ({show(self.also.amount, 1)} {unit_name(self.also.unit)})"


def measure(dose: Quantity) -> Measure:
    """``dose`` as whole gallons, quarts and pints and the rest in mL, or as whole pounds and the rest in ounces.

    A dose below a pint or a pound is read in mL or g alone, with the US scale beside it. Raises ``BadInput`` for a dose
    that is neither a volume nor a weight, or too small for any cup.
    """
    exact = Quantity(round_down(dose.amount, PLACES), dose.unit)
    if dose.dimension is Dimension.VOLUME:
        parts, also = _poured(exact)
    elif dose.dimension is Dimension.MASS:
        parts, also = _weighed(exact)
    else:
        raise BadInput({"rate_unit": gettext_noop("A dose is a volume or a weight.")})
    if not parts:
        raise BadInput({"rate_amount": gettext_noop("This dose is too small to be measured. Check the rate.")})
    return Measure(exact=exact, parts=parts, also=also)


def _poured(dose: Quantity) -> tuple[tuple[Quantity, ...], Quantity | None]:
    rest, parts = Fraction(dose.amount) * factor(dose.unit, "ml"), []
    for unit in JUGS:
        size = factor(unit, "ml")
        if whole := rest // size:
            parts.append(Quantity(Decimal(int(whole)), unit))
            rest -= whole * size
    return _with_rest(parts, rest, "ml", "floz")


def _weighed(dose: Quantity) -> tuple[tuple[Quantity, ...], Quantity | None]:
    pounds = Fraction(dose.amount) * factor(dose.unit, "lb")
    if pounds < 1:
        return _with_rest([], pounds * factor("lb", "g"), "g", "oz")
    whole = pounds // 1
    ounces = _cut((pounds - whole) * 16, 1)
    parts = [Quantity(Decimal(int(whole)), "lb")]
    return tuple(parts + ([Quantity(ounces, "oz")] if ounces else [])), None


def _with_rest(
    parts: list[Quantity], rest: Fraction, unit: str, other: str
) -> tuple[tuple[Quantity, ...], Quantity | None]:
    amount = _cut(rest, 1 if rest < SMALL and not parts else 0)
    if not amount:
        return tuple(parts), None
    beside = _cut(Fraction(amount) * factor(unit, other), 1)
    return (*parts, Quantity(amount, unit)), Quantity(beside, other) if beside else None


def _cut(value: Fraction, places: int) -> Decimal:
    steps = value * 10**places // 1
    return Decimal(int(steps)).scaleb(-places)
