"""Acres, feet and overlap of shapes on the WGS 84 ellipsoid.

Shapes are GeoJSON geometries as ``reading`` hands them out: checked, rings closed, right-hand rule.
Areas are geodesic (Karney 2013, J. Geodesy 87:43-55, through pyproj). Distances are measured in an
azimuthal equidistant plane laid at the first shape, which is true to a few parts in a million over
the few miles in which neighbours matter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from math import cos, radians
from typing import Any

import numpy as np
import shapely
from pyproj import Geod, Transformer
from shapely.geometry import MultiPolygon, Polygon, shape
from shapely.geometry.base import BaseGeometry

from farmops.units import round_down

Geometry = Mapping[str, Any]
Ring = Sequence[Sequence[float]]

WGS84 = Geod(ellps="WGS84")
SQUARE_METRES_PER_ACRE = Decimal("4046.8564224")  # international acre, exact by definition
METRES_PER_FOOT = 0.3048
METRES_PER_MILE = 1609.344
# Shortest degree of latitude on WGS 84 (at the equator) and a margin: a search box may be too big, never too small.
METRES_PER_DEGREE = 110_574.0
SEARCH_MARGIN = 1.01


@dataclass(frozen=True, kw_only=True)
class Box:
    """Degrees, WGS 84; never across the antimeridian."""

    min_lon: float
    min_lat: float
    max_lon: float
    max_lat: float


def ring_area_m2(ring: Ring) -> float:
    """Signed geodesic area of one ring of (lon, lat): counter-clockwise is positive."""
    area, _ = WGS84.polygon_area_perimeter([p[0] for p in ring], [p[1] for p in ring])
    return float(area)


def parts_of(polygon: Geometry) -> list[list[Ring]]:
    """Every polygon of a Polygon or MultiPolygon as its list of rings, outline first."""
    if polygon["type"] == "Polygon":
        return [polygon["coordinates"]]
    return list(polygon["coordinates"])


def area_m2(polygon: Geometry) -> float:
    """Geodesic square metres; holes are taken off whatever way they are wound."""
    return sum(
        abs(ring_area_m2(outline)) - sum(abs(ring_area_m2(hole)) for hole in holes)
        for outline, *holes in parts_of(polygon)
    )


def acres_of(polygon: Geometry) -> Decimal:
    """International acres to six decimals (0.04 square feet) of a Polygon or MultiPolygon."""
    return _acres(area_m2(polygon))


def _acres(square_metres: float) -> Decimal:
    exact = Decimal(repr(square_metres)) / SQUARE_METRES_PER_ACRE
    return exact.quantize(Decimal("0.000001"), rounding=ROUND_HALF_UP)


def box_of(geometry: Geometry) -> Box:
    """The smallest box of degrees that holds the shape."""
    west, south, east, north = shape(geometry).bounds
    return Box(min_lon=west, min_lat=south, max_lon=east, max_lat=north)


def box_around(box: Box, feet: Decimal | int) -> Box:
    """A box that surely holds everything within ``feet`` of ``box``; a little too big by design."""
    metres = float(feet) * METRES_PER_FOOT * SEARCH_MARGIN
    up = metres / METRES_PER_DEGREE
    furthest = min(max(abs(box.min_lat), abs(box.max_lat)) + up, 89.9)
    side = up / cos(radians(furthest))
    return Box(
        min_lon=box.min_lon - side, min_lat=box.min_lat - up, max_lon=box.max_lon + side, max_lat=box.max_lat + up
    )


def centre_of(geometry: Geometry) -> tuple[float, float]:
    """(lon, lat) of the centroid in degrees: where the local plane is laid and a place is looked up."""
    centre = shape(geometry).centroid
    return (centre.x, centre.y)


@lru_cache(maxsize=256)
def _plane(lon: float, lat: float) -> Transformer:
    return Transformer.from_crs(
        "EPSG:4326", f"+proj=aeqd +lat_0={lat!r} +lon_0={lon!r} +datum=WGS84 +units=m", always_xy=True
    )


def in_plane(geometry: Geometry, centre: tuple[float, float]) -> BaseGeometry:
    """The shape in metres on the local plane at ``centre`` (lon, lat)."""
    transformer = _plane(*centre)

    def project(points: np.ndarray) -> np.ndarray:
        return np.column_stack(transformer.transform(points[:, 0], points[:, 1]))

    return shapely.transform(shape(geometry), project)


def distance_ft(here: Geometry, there: Geometry) -> Decimal:
    """Shortest feet between two shapes (points, polygons), 0 where they touch or overlap.

    Rounded down to a tenth of a foot, because a setback must never look wider than it is.
    """
    centre = centre_of(here)
    metres = in_plane(here, centre).distance(in_plane(there, centre))
    return round_down(Decimal(repr(metres / METRES_PER_FOOT)), 1)


def overlap_acres(one: Geometry, other: Geometry) -> Decimal:
    """Acres of ground that two polygons share."""
    shared = shape(one).intersection(shape(other))
    return _acres(sum(_planar_part_m2(part) for part in _polygons_in(shared)))


def _planar_part_m2(part: Polygon) -> float:
    outline = abs(ring_area_m2(list(part.exterior.coords)))
    return outline - sum(abs(ring_area_m2(list(hole.coords))) for hole in part.interiors)


def _polygons_in(found: BaseGeometry) -> list[Polygon]:
    if isinstance(found, Polygon):
        return [] if found.is_empty else [found]
    if isinstance(found, MultiPolygon) or found.geom_type == "GeometryCollection":
        return [p for piece in shapely.get_parts(found) for p in _polygons_in(piece)]
    return []


def furthest_miles(positions: Ring, place: tuple[float, float]) -> float:
    """Geodesic miles from ``place`` (lon, lat) to the furthest of the positions."""
    lons, lats = [p[0] for p in positions], [p[1] for p in positions]
    count = len(lons)
    _, _, metres = WGS84.inv([place[0]] * count, [place[1]] * count, lons, lats)
    return float(max(metres)) / METRES_PER_MILE
