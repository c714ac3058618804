"""Outlines with published or hand-checkable acres, used by the land tests."""

from __future__ import annotations

from typing import Any

FARM = (-86.25, 40.25)  # (lon, lat): open ground, invented farm
SQUARE_40 = [
    [-86.25, 40.25],
    [-86.2452712, 40.2499999],
    [-86.2452709, 40.2536233],
    [-86.25, 40.2536234],
    [-86.25, 40.25],
]
SQUARE_10 = [[-86.25, 40.25], [-86.2476356, 40.25], [-86.2476355, 40.2518117], [-86.25, 40.2518117], [-86.25, 40.25]]
L_SHAPE = [
    [-86.25, 40.25],
    [-86.2452705, 40.25],
    [-86.2452705, 40.2518118],
    [-86.2476353, 40.2518118],
    [-86.2476353, 40.2536236],
    [-86.25, 40.2536236],
    [-86.25, 40.25],
]
HOLE = [[-86.2490, 40.2510], [-86.2490, 40.2514], [-86.2484, 40.2514], [-86.2484, 40.2510], [-86.2490, 40.2510]]


def polygon(*rings: list[list[float]]) -> dict[str, Any]:
    """A GeoJSON Polygon of these rings."""
    return {"type": "Polygon", "coordinates": [list(ring) for ring in rings]}


def point(lon: float, lat: float) -> dict[str, Any]:
    """A GeoJSON Point."""
    return {"type": "Point", "coordinates": [lon, lat]}


def box(lon: float, lat: float, side: float = 0.001) -> dict[str, Any]:
    """A counter-clockwise box of ``side`` degrees from its south-west corner."""
    return polygon(
        [[lon, lat], [lon + side, lat], [lon + side, lat + side], [lon, lat + side], [lon, lat]],
    )
