"""Acres and feet against published and independently computed values."""

from __future__ import annotations

from decimal import Decimal
from math import cos, pi, radians, sin

import pytest
from geographiclib.geodesic import Geodesic

from apps.land.rules import acres_of, area_m2, box_around, box_of, distance_ft, overlap_acres, ring_area_m2
from tests.land.shapes import HOLE, L_SHAPE, SQUARE_10, SQUARE_40, box, point, polygon

# (lat, lon) rings with the area their authors print. Source: C. Karney, GeographicLib test suite
# (python/geographiclib/test/test_geodesic.py, class PlanimeterTest); tolerances are the suite's own.
PUBLISHED = {
    "Planimeter0 north pole": ([(89, 0), (89, 90), (89, 180), (89, 270)], 24952305678.0, 1),
    "Planimeter0 south pole": ([(-89, 0), (-89, 90), (-89, 180), (-89, 270)], -24952305678.0, 1),
    "Planimeter0 equator": ([(0, -1), (-1, 0), (0, 1), (1, 0)], 24619419146.0, 1),
    "Planimeter0 octant": ([(90, 0), (0, 0), (0, 90)], 63758202715511.0, 1),
    "Planimeter5 pole crossing": ([(89, 0.1), (89, 90.1), (89, -179.9)], 12476152838.5, 1),
    "Planimeter6 sliver": ([(9, -0.00000000000001), (9, 180), (9, 0)], 0, 1),
    "Planimeter15 triangle": ([(2, 1), (1, 2), (3, 3)], 18454562325.45119, 0.5),
}


@pytest.mark.parametrize(("ring", "area", "within"), PUBLISHED.values(), ids=PUBLISHED.keys())
def test_published_polygon_areas(ring: list[tuple[float, float]], area: float, within: float) -> None:
    assert ring_area_m2([(lon, lat) for lat, lon in ring]) == pytest.approx(area, abs=within)


# Boxes of 0.01 by 0.01 degree. Closed form on the ellipsoid, area = (a^2/2) dlon (q(lat2) - q(lat1))
# (Snyder, Map Projections: A Working Manual, USGS PP 1395, eq. 3-12); computed, not published.
BOXES = {
    "equator": (-60, 0, "304.163794"),
    "25 north": (-80.5, 25, "276.315407"),
    "40 north": (-86, 40, "234.280417"),
    "45 north": (-93, 45, "216.504703"),
    "49 north": (-97, 49, "201.059974"),
}


@pytest.mark.parametrize(("lon", "lat", "acres"), BOXES.values(), ids=BOXES.keys())
def test_boxes_of_a_hundredth_of_a_degree(lon: float, lat: float, acres: str) -> None:
    assert acres_of(box(lon, lat, 0.01)) == pytest.approx(Decimal(acres), abs=Decimal("0.000002"))


# Computed with geographiclib and pyproj, which agree; rings are rounded to 7 decimals of a degree.
RINGS = {
    "160-acre quarter section": (
        polygon(
            [
                [-86.25, 40.25],
                [-86.2405424, 40.2499996],
                [-86.2405413, 40.2572463],
                [-86.25, 40.2572467],
                [-86.25, 40.25],
            ]
        ),
        "159.999576",
    ),
    "40-acre square": (polygon(SQUARE_40), "40.000443"),
    "10-acre square": (polygon(SQUARE_10), "10.000137"),
    "1-acre square": (
        polygon(
            [[-86.25, 40.25], [-86.2492523, 40.25], [-86.2492523, 40.2505729], [-86.25, 40.2505729], [-86.25, 40.25]]
        ),
        "0.999999",
    ),
    "L-shape": (polygon(L_SHAPE), "30.005264"),
    "L-shape with a hole": (polygon(L_SHAPE, HOLE), "29.444992"),
    "L-shape with a hole wound the wrong way": (polygon(L_SHAPE, HOLE[::-1]), "29.444992"),
}


@pytest.mark.parametrize(("shape", "acres"), RINGS.values(), ids=RINGS.keys())
def test_farm_shapes(shape: dict[str, object], acres: str) -> None:
    assert acres_of(shape) == Decimal(acres)


def test_the_parts_of_a_multipolygon_add_up() -> None:
    moved = [[x + 0.01, y] for x, y in SQUARE_10]
    both = {"type": "MultiPolygon", "coordinates": [[SQUARE_10], [moved]]}
    assert area_m2(both) == pytest.approx(area_m2(polygon(SQUARE_10)) + area_m2(polygon(moved)), abs=1e-6)
    assert round(acres_of(both), 3) == Decimal("20.000")


def test_an_independent_library_gives_the_same_area() -> None:
    """geographiclib is Karney's own code; pyproj binds PROJ's port of it."""
    ring = Geodesic.WGS84.Polygon()
    for lon, lat in L_SHAPE[:-1]:
        ring.AddPoint(lat, lon)
    assert area_m2(polygon(L_SHAPE)) == pytest.approx(ring.Compute()[2], abs=0.001)


def test_a_pivot_circle() -> None:
    """128-gon of 1,320 ft radius: 128/2 r^2 sin(2 pi/128) = 125.613 ac; the circle itself has 125.664."""
    lon0, lat0, radius_m = -86.25, 40.25, 1320 * 0.3048
    ring = []
    for n in range(129):
        hit = Geodesic.WGS84.Direct(lat0, lon0, 90 - (n % 128) * 360 / 128, radius_m)
        ring.append([hit["lon2"], hit["lat2"]])
    exact = 64 * (1320**2) * sin(2 * pi / 128) / 43560
    assert float(acres_of(polygon(ring))) == pytest.approx(exact, rel=1e-6)


def east_of(lon: float, lat: float, feet: float) -> tuple[float, float]:
    """The place ``feet`` due east on the geodesic, by an independent library."""
    hit = Geodesic.WGS84.Direct(lat, lon, 90, feet * 0.3048)
    return hit["lon2"], hit["lat2"]


@pytest.mark.parametrize("feet", [1, 25, 100, 300, 660, 5280, 3 * 5280])
@pytest.mark.parametrize("lat", [0, 40.25, 60])
def test_distance_between_points_is_the_geodesic(feet: int, lat: float) -> None:
    found = distance_ft(point(-86.25, lat), point(*east_of(-86.25, lat, feet)))
    assert found == pytest.approx(Decimal(feet), rel=Decimal("0.00001"), abs=Decimal("0.1"))
    assert found <= feet  # rounded down: a setback never looks wider than it is


def test_distance_from_a_block_to_a_well_beyond_its_east_side() -> None:
    middle_of_east_side = (-86.2476356, 40.2509)
    well = point(*east_of(*middle_of_east_side, 150))
    assert distance_ft(polygon(SQUARE_10), well) == pytest.approx(Decimal(150), abs=Decimal("0.2"))


@pytest.mark.parametrize(
    ("there", "feet"),
    [
        (point(-86.249, 40.251), "0.0"),
        (polygon(SQUARE_40), "0.0"),
        (point(-86.2476356, 40.25), "0.0"),
    ],
    ids=["inside", "overlapping", "on a corner"],
)
def test_touching_ground_is_no_distance_away(there: dict[str, object], feet: str) -> None:
    assert distance_ft(polygon(SQUARE_10), there) == Decimal(feet)


def test_distance_into_a_hole_is_to_its_edge() -> None:
    """A house in a yard cut out of the field is still outside the block: the yard fence counts."""
    in_the_yard = point(-86.2487, 40.2512)
    assert distance_ft(polygon(L_SHAPE), in_the_yard) == 0
    south_edge = 0.0002 * 111_035 / 0.3048  # one degree of latitude at 40.25 is about 111,035 m
    assert float(distance_ft(polygon(L_SHAPE, HOLE), in_the_yard)) == pytest.approx(south_edge, rel=0.002)


def test_overlap_is_measured_in_acres_of_ground() -> None:
    assert overlap_acres(polygon(SQUARE_10), polygon(SQUARE_40)) == pytest.approx(
        acres_of(polygon(SQUARE_10)), abs=Decimal("0.00001")
    )
    assert overlap_acres(box(-86.25, 40.25), box(-86.249, 40.25)) == 0  # a common side is no ground
    assert overlap_acres(box(-86.25, 40.25), box(-86.2, 40.25)) == 0


def test_ground_shared_in_two_places_adds_up() -> None:
    """A strip across both arms of a U: each crossing is 0.001 by 0.001 degree."""
    u = [[0, 0], [3, 0], [3, 3], [2, 3], [2, 1], [1, 1], [1, 3], [0, 3], [0, 0]]
    ring = [[-86.25 + x / 1000, 40.25 + y / 1000] for x, y in u]
    strip = [[-86.251, 40.252], [-86.246, 40.252], [-86.246, 40.253], [-86.251, 40.253], [-86.251, 40.252]]
    one = acres_of(box(-86.25, 40.252))
    assert overlap_acres(polygon(ring), polygon(strip)) == pytest.approx(2 * one, abs=Decimal("0.00001"))


@pytest.mark.parametrize("lat", [0, 40, 65, 84, -40])
def test_the_search_box_holds_everything_within_the_feet(lat: float) -> None:
    start = box_of(box(10, lat, 0.001))
    wide = box_around(start, 500)
    north = Geodesic.WGS84.Direct(start.max_lat, 10, 0, 500 * 0.3048)["lat2"]
    south = Geodesic.WGS84.Direct(start.min_lat, 10, 180, 500 * 0.3048)["lat2"]
    east = max(
        Geodesic.WGS84.Direct(at, start.max_lon, 90, 500 * 0.3048)["lon2"] for at in (start.min_lat, start.max_lat)
    )
    assert wide.min_lat < south and wide.max_lat > north and wide.max_lon > east
    assert wide.max_lon - start.max_lon < 1.05 * 500 * 0.3048 / (110_574 * cos(radians(abs(lat) + 0.003)))
