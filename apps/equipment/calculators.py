"""Sums for the yard without a job: typed units in, the answer and its working out. Nothing is stored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from apps.equipment.rules import course, flow, loads, product_loads
from apps.equipment.rules.exact import positive
from apps.products.rules import RateBasis
from farmops.units import Quantity, show


def _typed(values: Mapping[str, Any], name: str, to: str) -> Decimal:
    """A typed amount in the unit the sum is done in; it must be above zero."""
    positive(values[name], name)
    return Quantity(values[name], values[f"{name}_unit"]).to(to).amount


def rate_sum(values: Mapping[str, Any]) -> dict[str, Any]:
    """Gallons per acre from flow, speed and the width that flow covers."""
    gpm, mph, inches = _typed(values, "flow", "gpm"), _typed(values, "speed", "mph"), _typed(values, "width", "in")
    found = flow.gpa(nozzle_gpm=gpm, speed_mph=mph, width_in=inches)
    metric = flow.litres_per_hectare(
        l_per_min=_typed(values, "flow", "l/min"),
        speed_km_h=_typed(values, "speed", "km/h"),
        width_m=_typed(values, "width", "m"),
    )
    return {
        "gpa": found,
        "litres_per_hectare": metric,
        "working": f"5940 × {show(gpm)} gal/min ÷ ({show(mph)} mph × {show(inches)} in) = {show(found)} gal/ac",
        "source": "University of Missouri Extension G1270",
    }


def speed_sum(values: Mapping[str, Any]) -> dict[str, Any]:
    """Ground speed from a course and one or more timed runs."""
    feet, seconds = _typed(values, "distance", "ft"), course.mean(values["seconds"], field="seconds")
    found = course.speed_mph(distance_ft=feet, seconds=seconds)
    return {
        "mph": found,
        "km_h": Quantity(found, "mph").to("km/h").amount,
        "working": f"{show(feet)} ft × 60 ÷ ({show(seconds)} s × 88) = {show(found)} mph",
        "source": "Oklahoma State University turf fact sheet “Sprayer Calibration”",
    }


def loads_sum(values: Mapping[str, Any]) -> dict[str, Any]:
    """Loads of a job, and each product in a full, the last and an even load."""
    plan = loads(acres=_typed(values, "area", "ac"), gpa=values["gpa"], usable_gal=values["usable_gal"])
    total = f"{show(plan.acres)} ac × {show(plan.gpa)} gal/ac = {show(plan.total_gal)} gal"
    names = ("acres", "total_gal", "loads", "refills", "full_loads", "last_gal", "even_gal", "acres_per_tank")
    return {
        **{name: getattr(plan, name) for name in (*names, "last_acres", "even_acres")},
        "products": [_product(p, plan) for p in _checked(values["products"])],
        "working": f"{total}; ÷ {show(plan.usable_gal)} gal a load = {plan.loads} loads",
    }


def _checked(products: Sequence[Mapping[str, Any]]) -> Sequence[Mapping[str, Any]]:
    for index, product in enumerate(products):
        positive(product["rate"], f"products.{index}.rate")
    return products


def _product(product: Mapping[str, Any], plan: Any) -> dict[str, Any]:
    rate = Quantity(product["rate"], product["rate_unit"])
    put = product_loads(rate, RateBasis(product["rate_basis"]), plan)
    amounts = {name: getattr(put, name).amount for name in ("full", "last", "even", "total")}
    return {"name": product["name"], "unit": put.total.unit, **amounts}
