"""What a sum for the yard asks for, in which units, and how its answer is told: number, formula, working, source."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any

from apps.equipment.rules.exact import positive
from farmops.errors import BadInput, Finding, gettext_noop, one_of
from farmops.units import Quantity, not_allowed, number, read_quantity, show, unit_name, unit_written

FLOWS = ("gpm", "floz/min", "l/min")
SPEEDS = ("mph", "km/h", "m/s")
WIDTHS = ("in", "ft", "cm", "m")
LENGTHS = ("ft", "in", "m", "cm")
DISTANCES = ("ft", "m", "mile", "km")
AREAS = ("ac", "ha", "sqft", "m2")
PRESSURES = ("psi", "kpa", "bar")
GALLONS = ("gal", "l", "qt", "pt", "floz")
CUPS = ("floz", "ml")
VOLUMES_PER_AREA = ("gal/ac", "l/ha")
WEIGHTS = ("lb", "oz", "kg", "g")
TIMES = ("s", "min", "h")
DENSITIES = ("lb/gal", "kg/l", "g/l")
MOST_VALUES = 200


class Group(StrEnum):
    """Where a sum stands on the page of sums."""

    CALIBRATE = "calibrate"
    NOZZLES = "nozzles"
    BOOM = "boom"
    LOADS = "loads"
    PRODUCT = "product"


class Kind(StrEnum):
    """What is typed into a box."""

    AMOUNT = "amount"  # a number with a unit
    NUMBER = "number"
    WHOLE = "whole"
    SEVERAL = "several"  # numbers, each in the same unit
    CHOICE = "choice"
    PRODUCT = "product"  # liquid or dry: kept with its unit
    ANY = "any"  # any amount with any unit: kept with it
    TEXT = "text"


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One box. The sum is done in the first of ``units``; ``choices`` are (code, words)."""

    name: str
    label: str
    kind: Kind = Kind.AMOUNT
    units: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    needed: bool = True
    zero: bool = False
    start: str = ""
    hint: str = ""


@dataclass(frozen=True, kw_only=True)
class Result:
    """One number of the answer; ``unit`` is a unit code or empty, ``places`` how many decimals are read."""

    code: str
    label: str
    amount: Decimal
    unit: str = ""
    places: int = 3

    def __str__(self) -> str:
        said = show(self.amount, self.places)
        return f"{said} {unit_name(self.unit)}" if self.unit else said


@dataclass(frozen=True, kw_only=True)
class Worked:
    """The answer: numbers, the sum with its numbers put in, and what is worth a look."""

    results: tuple[Result, ...]
    working: str
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Sum:
    """One method: what it asks, its formula in letters, and where it is published."""

    code: str
    group: Group
    title: str
    asked: tuple[Asked, ...]
    formula: str
    source: str
    work: Callable[[Mapping[str, Any]], Worked]


def read(made: Sum, typed: Mapping[str, Any]) -> dict[str, Any]:
    """Typed values in the units of the sum; ``BadInput`` on every box that cannot be used, all at once.

    ``typed`` holds texts or numbers by name; ``<name>_unit`` is the unit chosen beside an amount, unless the amount
    was typed with its own. What may be left out and is, comes as ``None``.
    """
    found, wrong = {}, {}
    for box in made.asked:
        try:
            found[box.name] = _value(box, typed)
        except BadInput as error:
            wrong |= error.errors
    if wrong:
        raise BadInput(wrong)
    return found


def work_out(made: Sum, typed: Mapping[str, Any]) -> Worked:
    """Read and reckon; what the arithmetic finds wrong is named by the box it was typed in."""
    values = read(made, typed)
    try:
        return made.work(values)
    except BadInput as error:
        raise BadInput({_box(made, name): said for name, said in error.errors.items()}) from None


def _box(made: Sum, name: str) -> str:
    """``swath_ft`` of the arithmetic is the box ``swath``; ``acres`` is the box ``area``."""
    boxes = {box.name for box in made.asked}
    for candidate in (name, name.rsplit("_", 1)[0], {"acres": "area", "catches": "catches"}.get(name, "")):
        if candidate in boxes:
            return candidate
    return made.asked[0].name


def _value(box: Asked, typed: Mapping[str, Any]) -> Any:
    raw = typed.get(box.name)
    if raw is None or raw == [] or (isinstance(raw, str) and not raw.strip()):
        if box.needed:
            raise BadInput({box.name: gettext_noop("Enter this; the sum cannot be done without it.")})
        return None
    if box.kind is Kind.CHOICE:
        return _chosen(box, str(raw))
    if box.kind is Kind.TEXT:
        return str(raw)
    if box.kind in (Kind.PRODUCT, Kind.ANY):
        return _with_unit(box, raw, typed)
    if box.kind is Kind.SEVERAL:
        return _several(box, raw, typed)
    if box.kind is Kind.WHOLE:
        return _whole(box, raw)
    value = _amount(box, raw, typed) if box.kind is Kind.AMOUNT else number(raw, field=box.name)
    return value if box.zero and value == 0 else _above_zero(box, value)


def _amount(box: Asked, raw: Any, typed: Mapping[str, Any]) -> Decimal:
    unit = str(typed.get(f"{box.name}_unit") or box.units[0])
    if unit not in box.units:
        raise BadInput({f"{box.name}_unit": not_allowed(unit, box.units)})
    return read_quantity(raw, box.units, unit=unit, field=box.name).to(box.units[0]).amount


def _with_unit(box: Asked, raw: Any, typed: Mapping[str, Any]) -> Quantity:
    """Kept in the unit it was given in; without any unit nobody knows what it is."""
    chosen = str(typed.get(f"{box.name}_unit") or "")
    unit = chosen if chosen in box.units else ""
    if chosen and not unit:
        unit = unit_written(chosen, box.units, field=f"{box.name}_unit")
    if not unit and str(raw).strip().replace(".", "", 1).isdigit():
        raise BadInput({box.name: gettext_noop("Write the unit too, like 2 pt or 8 fl oz.")})
    found = read_quantity(raw, box.units, unit=unit, field=box.name)
    _above_zero(box, found.amount)
    return found


def _several(box: Asked, raw: Any, typed: Mapping[str, Any]) -> list[Decimal]:
    texts: Sequence[Any] = raw.replace(";", " ").split() if isinstance(raw, str) else list(raw)
    if len(texts) > MOST_VALUES:
        raise BadInput({box.name: gettext_noop("That is too many numbers.")})
    one = Asked(name=box.name, label=box.label, units=box.units)
    return [_above_zero(box, _amount(one, text, typed)) for text in texts]


def _whole(box: Asked, raw: Any) -> int:
    value = number(raw, field=box.name, maximum=100_000)
    if value != value.to_integral_value():
        raise BadInput({box.name: gettext_noop("Must be a whole number.")})
    return int(value if box.zero and value == 0 else _above_zero(box, value))


def _chosen(box: Asked, raw: str) -> str:
    if raw not in dict(box.choices):
        raise BadInput({box.name: one_of(code for code, _ in box.choices)})
    return raw


def _above_zero(box: Asked, value: Decimal) -> Decimal:
    positive(value, box.name)
    return value


# ---- boxes that many sums share -------------------------------------------------------------


def amount(name: str, label: str, units: tuple[str, ...], **more: Any) -> Asked:
    """A box for a number with a unit."""
    return Asked(name=name, label=label, units=units, **more)


def plain(name: str, label: str, **more: Any) -> Asked:
    """A box for a bare number."""
    return Asked(name=name, label=label, kind=Kind.NUMBER, **more)


GPA = amount("gpa", gettext_noop("Rate"), VOLUMES_PER_AREA)
SPEED = amount("speed", gettext_noop("Ground speed"), SPEEDS)
SPACING = amount("spacing", gettext_noop("Width one nozzle covers"), WIDTHS)
SWATH = amount("swath", gettext_noop("Swath"), LENGTHS)
FLOW = amount("flow", gettext_noop("Flow of one nozzle"), FLOWS)
PRESSURE = amount("pressure", gettext_noop("Pressure"), PRESSURES)
USABLE = amount("usable", gettext_noop("Gallons the pump can use out of a full tank"), GALLONS)
ACRES = amount("area", gettext_noop("Area to spray"), AREAS)


def metric(code: str, label: str, value: Decimal, unit: str, other: str, places: int = 3) -> tuple[Result, Result]:
    """The same result in two units."""
    beside = Quantity(value, unit).to(other).amount
    return (
        Result(code=code, label=label, amount=value, unit=unit, places=places),
        Result(code=f"{code}_in_{other.replace('/', '_per_')}", label=label, amount=beside, unit=other, places=places),
    )
