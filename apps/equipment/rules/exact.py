"""Exact numbers in and out of the sprayer arithmetic: fractions inside, Decimal at the edge."""

from __future__ import annotations

from decimal import ROUND_DOWN, Context, Decimal
from fractions import Fraction

from farmops.errors import BadInput, gettext_noop
from farmops.units import CONTEXT

Number = Decimal | Fraction | int

_DOWN = Context(prec=CONTEXT.prec, rounding=ROUND_DOWN)
_MOST = 10**12  # nothing on a farm is measured by the million million


def _finite(value: Number, field: str) -> Fraction:
    if isinstance(value, Decimal) and (
        not value.is_finite() or value.adjusted() > 12 or (value and value.adjusted() < -12)
    ):
        raise BadInput({field: gettext_noop("Must be a plain number, like 1.5.")})
    exact = Fraction(value)
    if abs(exact) > _MOST:
        raise BadInput({field: gettext_noop("Must be a plain number, like 1.5.")})
    return exact


def positive(value: Number, field: str) -> Fraction:
    """``value`` exactly; ``BadInput`` on ``field`` unless it is above zero (an empty cup, a standing sprayer)."""
    exact = _finite(value, field)
    if exact <= 0:
        raise BadInput({field: gettext_noop("Must be more than 0.")})
    return exact


def not_negative(value: Number, field: str) -> Fraction:
    """``value`` exactly; ``BadInput`` on ``field`` if it is below zero."""
    exact = _finite(value, field)
    if exact < 0:
        raise BadInput({field: gettext_noop("Must be 0 or more.")})
    return exact


def percent(value: Number, field: str) -> Fraction:
    """A share typed in percent, above 0 and at most 100, as a fraction of one."""
    exact = positive(value, field)
    if exact > 100:
        raise BadInput({field: gettext_noop("Must be 100 % or less.")})
    return exact / 100


def to_decimal(value: Fraction) -> Decimal:
    """28 significant digits; exact wherever Decimal can be."""
    return CONTEXT.divide(Decimal(value.numerator), Decimal(value.denominator))


def to_decimal_down(value: Fraction) -> Decimal:
    """Like ``to_decimal`` but never above ``value``: a dose must not gain by rounding."""
    return _DOWN.divide(Decimal(value.numerator), Decimal(value.denominator))


def root(value: Fraction) -> Decimal:
    """Square root to 28 significant digits."""
    return CONTEXT.sqrt(to_decimal(value))
