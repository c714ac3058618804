"""Quantities with units, exact in Decimal.

US customary and metric; the acre is the international acre (4046.8564224 m2) and the
gallon the US gallon. Fluid ounce (``floz``) and weight ounce (``oz``) are different units
of different dimensions, so they can never be mistaken for each other. Factors are exact by
definition (NIST SP 811, appendix B.8 and the 1959 yard-and-pound agreement).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_DOWN, ROUND_HALF_UP, Context, Decimal, InvalidOperation
from enum import StrEnum
from fractions import Fraction

from farmops.errors import BadInput, Said, gettext_noop

CONTEXT = Context(prec=28)
MAX_EXPONENT = 18


class Dimension(StrEnum):
    """What kind of thing a unit measures."""

    VOLUME = "volume"
    MASS = "mass"
    AREA = "area"
    LENGTH = "length"
    PRESSURE = "pressure"
    FLOW = "flow"
    SPEED = "speed"
    TIME = "time"
    COUNT = "count"
    SHARE = "share"
    VOLUME_PER_AREA = "volume per area"
    MASS_PER_AREA = "weight per area"
    DENSITY = "weight per volume"
    INGREDIENT = "active ingredient"
    INGREDIENT_PER_AREA = "active ingredient per area"


_IN = Fraction(254, 10000)  # metre
_FT = _IN * 12
_GAL = _IN**3 * 231 * 1000  # litre
_LB = Fraction(45359237, 100000000)  # kilogram
_SQFT = _FT**2
_ACRE = 43560 * _SQFT
_PSI = _LB * Fraction(980665, 100000) / _IN**2  # pascal
_MPH = 5280 * _FT / 3600

# unit code -> (dimension, exact size in the SI unit of that dimension, name, plural)
_TABLE: dict[str, tuple[Dimension, Fraction, str]] = {
    "ml": (Dimension.VOLUME, Fraction(1, 1000), "mL"),
    "l": (Dimension.VOLUME, Fraction(1), "L"),
    "tsp": (Dimension.VOLUME, _GAL / 768, "tsp"),
    "tbsp": (Dimension.VOLUME, _GAL / 256, "tbsp"),
    "floz": (Dimension.VOLUME, _GAL / 128, "fl oz"),
    "pt": (Dimension.VOLUME, _GAL / 8, "pt"),
    "qt": (Dimension.VOLUME, _GAL / 4, "qt"),
    "gal": (Dimension.VOLUME, _GAL, "gal"),
    "g": (Dimension.MASS, Fraction(1, 1000), "g"),
    "kg": (Dimension.MASS, Fraction(1), "kg"),
    "oz": (Dimension.MASS, _LB / 16, "oz (weight)"),
    "lb": (Dimension.MASS, _LB, "lb"),
    "sqft": (Dimension.AREA, _SQFT, "sq ft"),
    "m2": (Dimension.AREA, Fraction(1), "m²"),
    "ac": (Dimension.AREA, _ACRE, "acres"),
    "ha": (Dimension.AREA, Fraction(10000), "ha"),
    "in": (Dimension.LENGTH, _IN, "in"),
    "ft": (Dimension.LENGTH, _FT, "ft"),
    "mile": (Dimension.LENGTH, 5280 * _FT, "mi"),
    "cm": (Dimension.LENGTH, Fraction(1, 100), "cm"),
    "m": (Dimension.LENGTH, Fraction(1), "m"),
    "km": (Dimension.LENGTH, Fraction(1000), "km"),
    "psi": (Dimension.PRESSURE, _PSI, "psi"),
    "kpa": (Dimension.PRESSURE, Fraction(1000), "kPa"),
    "bar": (Dimension.PRESSURE, Fraction(100000), "bar"),
    "gpm": (Dimension.FLOW, _GAL, "gal/min"),
    "floz/min": (Dimension.FLOW, _GAL / 128, "fl oz/min"),
    "l/min": (Dimension.FLOW, Fraction(1), "L/min"),
    "mph": (Dimension.SPEED, _MPH, "mph"),
    "km/h": (Dimension.SPEED, Fraction(1000, 3600), "km/h"),
    "m/s": (Dimension.SPEED, Fraction(1), "m/s"),
    "s": (Dimension.TIME, Fraction(1), "s"),
    "min": (Dimension.TIME, Fraction(60), "min"),
    "h": (Dimension.TIME, Fraction(3600), "h"),
    "each": (Dimension.COUNT, Fraction(1), "each"),
    "%vv": (Dimension.SHARE, Fraction(1, 100), "% v/v"),
    "floz/100gal": (Dimension.SHARE, Fraction(1, 12800), "fl oz/100 gal"),
    "pt/100gal": (Dimension.SHARE, Fraction(1, 800), "pt/100 gal"),
    "qt/100gal": (Dimension.SHARE, Fraction(1, 400), "qt/100 gal"),
    "ml/100l": (Dimension.SHARE, Fraction(1, 100000), "mL/100 L"),
    "gal/ac": (Dimension.VOLUME_PER_AREA, _GAL / _ACRE, "gal/ac"),
    "qt/ac": (Dimension.VOLUME_PER_AREA, _GAL / 4 / _ACRE, "qt/ac"),
    "pt/ac": (Dimension.VOLUME_PER_AREA, _GAL / 8 / _ACRE, "pt/ac"),
    "floz/ac": (Dimension.VOLUME_PER_AREA, _GAL / 128 / _ACRE, "fl oz/ac"),
    "l/ha": (Dimension.VOLUME_PER_AREA, Fraction(1, 10000), "L/ha"),
    "ml/ha": (Dimension.VOLUME_PER_AREA, Fraction(1, 10**7), "mL/ha"),
    "lb/ac": (Dimension.MASS_PER_AREA, _LB / _ACRE, "lb/ac"),
    "oz/ac": (Dimension.MASS_PER_AREA, _LB / 16 / _ACRE, "oz (weight)/ac"),
    "kg/ha": (Dimension.MASS_PER_AREA, Fraction(1, 10000), "kg/ha"),
    "g/ha": (Dimension.MASS_PER_AREA, Fraction(1, 10**7), "g/ha"),
    "lb/gal": (Dimension.DENSITY, _LB / _GAL, "lb/gal"),
    "lb/100gal": (Dimension.DENSITY, _LB / _GAL / 100, "lb/100 gal"),
    "oz/100gal": (Dimension.DENSITY, _LB / _GAL / 1600, "oz (weight)/100 gal"),
    "g/l": (Dimension.DENSITY, Fraction(1, 1000), "g/L"),
    "kg/l": (Dimension.DENSITY, Fraction(1), "kg/L"),
    "lb ai": (Dimension.INGREDIENT, _LB, "lb ai"),
    "kg ai": (Dimension.INGREDIENT, Fraction(1), "kg ai"),
    "lb ai/ac": (Dimension.INGREDIENT_PER_AREA, _LB / _ACRE, "lb ai/ac"),
    "kg ai/ha": (Dimension.INGREDIENT_PER_AREA, Fraction(1, 10000), "kg ai/ha"),
}

VOLUME_UNITS = tuple(u for u, row in _TABLE.items() if row[0] is Dimension.VOLUME)
MASS_UNITS = tuple(u for u, row in _TABLE.items() if row[0] is Dimension.MASS)
PRODUCT_UNITS = VOLUME_UNITS + MASS_UNITS
AREA_UNITS = ("ac", "ha", "sqft", "m2")
CANONICAL = {Dimension.VOLUME: "gal", Dimension.MASS: "lb", Dimension.AREA: "ac", Dimension.COUNT: "each"}


def dimension_of(unit: str) -> Dimension:
    """The dimension of ``unit``; ``BadInput`` on field ``unit`` if it is not a known unit."""
    try:
        return _TABLE[unit][0]
    except KeyError:
        raise BadInput(
            {
                "unit": Said(
                    gettext_noop("“{unit}” is not a unit here. Use one of: {codes}."),
                    unit=unit,
                    codes=", ".join(_TABLE),
                )
            }
        ) from None


def unit_name(unit: str) -> str:
    """How the unit is printed, e.g. ``fl oz`` or ``oz (weight)``."""
    dimension_of(unit)
    return _TABLE[unit][2]


def _exact(value: Fraction) -> Decimal:
    return CONTEXT.divide(Decimal(value.numerator), Decimal(value.denominator))


def factor(unit: str, to: str) -> Fraction:
    """Exact number of ``to`` in one ``unit``; ``BadInput`` when they measure different things."""
    have, want = dimension_of(unit), dimension_of(to)
    if have is not want:
        raise BadInput(
            {
                "unit": Said(
                    gettext_noop(
                        "{unit} and {other} do not measure the same thing ({what}, {wanted}): one cannot be turned "
                        "into the other without a stated density."
                    ),
                    unit=unit_name(unit),
                    other=unit_name(to),
                    what=have.value,
                    wanted=want.value,
                )
            }
        )
    return _TABLE[unit][1] / _TABLE[to][1]


@dataclass(frozen=True)
class Quantity:
    """An amount with its unit, e.g. ``Quantity(Decimal("2"), "pt")``."""

    amount: Decimal
    unit: str

    def __post_init__(self) -> None:
        dimension_of(self.unit)
        plain = isinstance(self.amount, Decimal) and self.amount.is_finite()
        if not plain or (self.amount and abs(self.amount.adjusted()) > MAX_EXPONENT):
            raise BadInput({"amount": gettext_noop("Amount must be a plain number.")})

    @property
    def dimension(self) -> Dimension:
        return dimension_of(self.unit)

    def to(self, unit: str) -> Quantity:
        """The same quantity in ``unit`` (28 significant digits; exact where Decimal can be)."""
        if unit == self.unit:
            return self
        return Quantity(_exact(Fraction(self.amount) * factor(self.unit, unit)), unit)

    def canonical(self) -> Quantity:
        """In the unit stock and totals are kept in: gal, lb, acres or each."""
        return self.to(CANONICAL[self.dimension])

    def __add__(self, other: Quantity) -> Quantity:
        return Quantity(CONTEXT.add(self.amount, other.to(self.unit).amount), self.unit)

    def __sub__(self, other: Quantity) -> Quantity:
        return Quantity(CONTEXT.subtract(self.amount, other.to(self.unit).amount), self.unit)

    def __mul__(self, times: Decimal | int) -> Quantity:
        return Quantity(CONTEXT.multiply(self.amount, Decimal(times)), self.unit)

    def __lt__(self, other: Quantity) -> bool:
        return Fraction(self.amount) * factor(self.unit, other.unit) < Fraction(other.amount)

    def __le__(self, other: Quantity) -> bool:
        return Fraction(self.amount) * factor(self.unit, other.unit) <= Fraction(other.amount)

    def __str__(self) -> str:
        return f"{show(self.amount)} {unit_name(self.unit)}"


def quantity(amount: object, unit: str, *, field: str = "amount") -> Quantity:
    """A checked quantity from outside: decimal point only, not negative. ``BadInput`` names ``field``."""
    return Quantity(number(amount, field=field), unit)


def number(value: object, *, field: str, minimum: Decimal | int = 0, maximum: Decimal | int | None = None) -> Decimal:
    """``value`` as Decimal within the limits, or ``BadInput`` on ``field`` that says what would be right."""
    text = str(value).strip()
    if "," in text:
        raise BadInput({field: gettext_noop("Use a point for decimals, like 1.5, and no thousands mark.")})
    try:
        result = Decimal(text)
    except InvalidOperation:
        raise BadInput({field: Said(gettext_noop("“{typed}” must be a number, like 1.5."), typed=text)}) from None
    # A huge exponent is a number to Decimal and a hang to exact arithmetic.
    if not result.is_finite() or "_" in text or (result and abs(result.adjusted()) > MAX_EXPONENT):
        raise BadInput({field: gettext_noop("Must be a plain number, like 1.5.")})
    if result < minimum:
        raise BadInput({field: Said(gettext_noop("Must be {least} or more."), least=minimum)})
    if maximum is not None and result > maximum:
        raise BadInput({field: Said(gettext_noop("Must be {most} or less."), most=maximum)})
    return result


# What people write for a unit -> its code. A bare ounce is left out on purpose: it is two different things.
_WRITTEN = {
    **{unit: unit for unit in _TABLE},
    **{row[2].lower(): unit for unit, row in _TABLE.items()},
    "fl oz": "floz",
    "fl. oz": "floz",
    "fl. oz.": "floz",
    "fluid ounce": "floz",
    "fluid ounces": "floz",
    "oz wt": "oz",
    "oz weight": "oz",
    "pint": "pt",
    "pints": "pt",
    "quart": "qt",
    "quarts": "qt",
    "gallon": "gal",
    "gallons": "gal",
    "pound": "lb",
    "pounds": "lb",
    "lbs": "lb",
    "acre": "ac",
    "acres": "ac",
    "feet": "ft",
    "foot": "ft",
    "inch": "in",
    "inches": "in",
    "gal/acre": "gal/ac",
    "gpa": "gal/ac",
    "seconds": "s",
    "sec": "s",
    "minutes": "min",
    "hours": "h",
    "%": "%vv",
}
_OUNCES = {"oz", "oz.", "ounce", "ounces"}
_TYPED = re.compile(r"^(?P<amount>[^\s%a-zA-Z]+(?:[eE][+-]?\d+)?)\s*(?P<unit>[a-zA-Z%].*)?$")


def unit_written(text: str, allowed: tuple[str, ...], *, field: str) -> str:
    """The unit somebody wrote, as its code, if it is one of ``allowed``; ``BadInput`` on ``field`` says what would be.

    A bare ounce is taken only where just one of the two ounces can be meant.
    """
    written = " ".join(text.lower().split())
    if written in _OUNCES:
        meant = [unit for unit in ("floz", "oz", "floz/ac", "oz/ac", "floz/min") if unit in allowed]
        if len(meant) == 1:
            return meant[0]
        if meant:
            raise BadInput(
                {field: gettext_noop("An ounce can be a fluid ounce or a weight: write “fl oz” or “oz wt”.")}
            )
    code = _WRITTEN.get(written)
    if code is None or code not in allowed:
        raise BadInput({field: not_allowed(text.strip(), allowed)})
    return code


def not_allowed(unit: str, allowed: Iterable[str]) -> Said:
    """What would be right where a unit cannot be used."""
    names = ", ".join(map(unit_name, allowed))
    return Said(gettext_noop("“{unit}” cannot be used here. Use one of: {codes}."), unit=unit, codes=names)


def read_quantity(text: object, allowed: tuple[str, ...], *, unit: str = "", field: str) -> Quantity:
    """An amount typed with its unit (``16 fl oz``) or without (then in ``unit``); ``BadInput`` on ``field``."""
    found = _TYPED.match(str(text).strip())
    written = found["unit"] if found else None
    if found is None or not written:
        return Quantity(number(text, field=field), unit or allowed[0])
    return Quantity(number(found["amount"], field=field), unit_written(written, allowed, field=field))


def show(amount: Decimal, places: int = 4) -> str:
    """For reading: at most ``places`` decimals, rounded half up, no trailing zeros, no exponent."""
    rounded = amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    text = f"{rounded:f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text) or "0"


def round_down(amount: Decimal, places: int) -> Decimal:
    """Rounded towards zero: used for doses, which must never be rounded above a maximum."""
    return amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_DOWN)


def round_up(amount: Decimal, places: int) -> Decimal:
    """Rounded away from the shorter side: used for what must not come up short."""
    return amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_CEILING)


def volume_of(mass: Quantity, density_lb_per_gal: Decimal) -> Quantity:
    """Mass -> gallons through a stated density (lb per US gal, above 0)."""
    if density_lb_per_gal <= 0:
        raise BadInput({"density": gettext_noop("Density must be above 0 lb per gallon.")})
    return Quantity(CONTEXT.divide(mass.to("lb").amount, density_lb_per_gal), "gal")


def mass_of(volume: Quantity, density_lb_per_gal: Decimal) -> Quantity:
    """Volume -> pounds through a stated density (lb per US gal, above 0)."""
    if density_lb_per_gal <= 0:
        raise BadInput({"density": gettext_noop("Density must be above 0 lb per gallon.")})
    return Quantity(CONTEXT.multiply(volume.to("gal").amount, density_lb_per_gal), "lb")
