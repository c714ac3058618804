"""Acres of simple test plots and spot treatments (mapped blocks are measured geodesically elsewhere)."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules.exact import Number, positive, to_decimal

_PI = Fraction(math.pi)


def rectangle_sqft(*, length_ft: Number, width_ft: Number) -> Decimal:
    """Square feet of a rectangle."""
    return to_decimal(positive(length_ft, "length_ft") * positive(width_ft, "width_ft"))


def triangle_sqft(*, base_ft: Number, height_ft: Number) -> Decimal:
    """Square feet of a triangle, height measured square to the base."""
    return to_decimal(positive(base_ft, "base_ft") * positive(height_ft, "height_ft") / 2)


def circle_sqft(*, diameter_ft: Number) -> Decimal:
    """Square feet of a circle."""
    return to_decimal(_PI * positive(diameter_ft, "diameter_ft") ** 2 / 4)


def plants_per_acre(*, row_ft: Number, plant_ft: Number) -> Decimal:
    """Plants that stand on an acre at this spacing."""
    return to_decimal(Fraction(43560) / (positive(row_ft, "row_ft") * positive(plant_ft, "plant_ft")))


def plants_along(*, course_ft: Number, plant_ft: Number) -> int:
    """Whole plants along a course: a part of one counts for nothing."""
    return int(positive(course_ft, "course_ft") // positive(plant_ft, "plant_ft"))
