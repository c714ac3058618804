"""GeoJSON from outside: what is repaired, what is refused, and with which words (RFC 7946)."""

from __future__ import annotations

from decimal import Decimal
from math import cos, inf, nan, pi, sin
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.land.rules import acres_of, parse_json, read_place, read_polygon, ring_area_m2
from farmops.errors import BadInput
from tests.land.shapes import FARM, HOLE, L_SHAPE, SQUARE_10, SQUARE_40, point, polygon


def codes(reading: Any) -> list[str]:
    return [note.code for note in reading.repairs]


def test_a_proper_outline_is_left_as_it_is() -> None:
    reading = read_polygon(polygon(L_SHAPE, HOLE), near=FARM)
    assert reading.geometry == polygon(L_SHAPE, HOLE)
    assert reading.repairs == ()


REPAIRED = {
    "outline clockwise": (polygon(SQUARE_10[::-1]), polygon(SQUARE_10), ["winding_rewritten"]),
    "hole counter-clockwise": (polygon(L_SHAPE, HOLE[::-1]), polygon(L_SHAPE, HOLE), ["winding_rewritten"]),
    "both wrong": (polygon(L_SHAPE[::-1], HOLE[::-1]), polygon(L_SHAPE, HOLE), ["winding_rewritten"]),
    "left open": (polygon(SQUARE_10[:-1]), polygon(SQUARE_10), ["ring_closed"]),
    "three positions, left open": (polygon(SQUARE_10[:3]), polygon([*SQUARE_10[:3], SQUARE_10[0]]), ["ring_closed"]),
    "points repeated": (
        polygon([SQUARE_10[0], SQUARE_10[0], SQUARE_10[1], SQUARE_10[1], SQUARE_10[1], *SQUARE_10[2:]]),
        polygon(SQUARE_10),
        ["repeats_dropped"],
    ),
    "heights": (polygon([[*p, 231.5] for p in SQUARE_10]), polygon(SQUARE_10), ["heights_dropped"]),
    "feature": ({"type": "Feature", "properties": {}, "geometry": polygon(SQUARE_10)}, polygon(SQUARE_10), []),
    "collection of one": (
        {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": polygon(SQUARE_10)}]},
        polygon(SQUARE_10),
        [],
    ),
    "multipolygon of one": (
        {"type": "MultiPolygon", "coordinates": [[SQUARE_10[::-1]]]},
        polygon(SQUARE_10),
        ["winding_rewritten"],
    ),
}


@pytest.mark.parametrize(("given", "stored", "repairs"), REPAIRED.values(), ids=REPAIRED.keys())
def test_repairs_are_made_and_listed(given: dict[str, Any], stored: dict[str, Any], repairs: list[str]) -> None:
    reading = read_polygon(given, near=FARM)
    assert reading.geometry == stored
    assert codes(reading) == repairs


def test_a_repair_says_how_often() -> None:
    both = read_polygon(polygon(L_SHAPE[::-1], HOLE[::-1]), near=FARM).repairs
    assert [note.sentence for note in both] == ["Ring direction rewritten by the right-hand rule (2)."]


def test_a_farm_without_a_position_is_told_that_the_place_was_not_checked() -> None:
    assert codes(read_polygon(polygon(SQUARE_10))) == ["place_unchecked"]


BOW_TIE = [[-86.25, 40.25], [-86.248, 40.252], [-86.248, 40.25], [-86.25, 40.252], [-86.25, 40.25]]
MANY = [[-86.25 + 0.001 * cos(2 * pi * n / 5001), 40.25 + 0.001 * sin(2 * pi * n / 5001)] for n in range(5001)]

REFUSED = {
    "bow-tie": (
        polygon(BOW_TIE),
        "The outline crosses itself near longitude -86.24900, latitude 40.25100. Draw it again without crossing lines.",
    ),
    "pinched": (
        polygon(
            [[-86.25, 40.25], [-86.248, 40.25], [-86.248, 40.252], [-86.249, 40.25], [-86.25, 40.252], [-86.25, 40.25]]
        ),
        "The outline touches itself near longitude -86.24900, latitude 40.25000. "
        "Draw it without pinching or doubling back.",
    ),
    "hole outside": (
        polygon(SQUARE_10, [[x + 0.02, y] for x, y in HOLE]),
        "A hole lies outside the outline near longitude -86.22900, latitude 40.25100. "
        "The first ring must be the outside.",
    ),
    "hole in a hole": (
        polygon(
            SQUARE_40,
            HOLE,
            [[-86.2489, 40.2511], [-86.2489, 40.2513], [-86.2485, 40.2513], [-86.2485, 40.2511], [-86.2489, 40.2511]],
        ),
        "One hole lies inside another near longitude -86.24890, latitude 40.25110.",
    ),
    "two parts on the same ground": (
        {"type": "MultiPolygon", "coordinates": [[SQUARE_10], [[[x + 0.001, y + 0.001] for x, y in SQUARE_10]]]},
        "The outline crosses itself near longitude -86.24900, latitude 40.25181. Draw it again without crossing lines.",
    ),
    "three positions": (
        polygon([SQUARE_10[0], SQUARE_10[1], SQUARE_10[0]]),
        "Ring 1: needs at least four positions, the last equal to the first; it has 3.",
    ),
    "one point over and over": (
        polygon([SQUARE_10[0]] * 6),
        "Ring 1: needs at least four positions, the last equal to the first; it has 1.",
    ),
    "second ring too short": (
        polygon(L_SHAPE, HOLE[:2]),
        "Ring 2: needs at least four positions, the last equal to the first; it has 3.",
    ),
    "on one line": (
        polygon([[-86.25, 40.25], [-86.249, 40.25], [-86.248, 40.25], [-86.25, 40.25]]),
        "The outline crosses itself near longitude -86.24900, latitude 40.25000. Draw it again without crossing lines.",
    ),
    "no area": (
        polygon([[-86.25, 40.25], [-86.24999, 40.25], [-86.24999, 40.25001], [-86.25, 40.25]]),
        "Has no area worth the name (0.000117 acres).",
    ),
    "absurd area": (
        polygon([[-86.3, 40.2], [-86.2, 40.2], [-86.2, 40.3], [-86.3, 40.3], [-86.3, 40.2]]),
        "Covers 23,345 acres; a block of more than 10,000 acres is taken for a mistake.",
    ),
    "latitude out of range": (
        polygon([[40.25, -186.25], *SQUARE_10[1:]]),
        "Ring 1, position 1: latitude -186.25 must be between -90 and 90.",
    ),
    "swapped far west": (
        polygon([[40.25, -122.1], [40.25, -122.0], [40.3, -122.0], [40.25, -122.1]]),
        "Ring 1, position 1: latitude -122.1 must be between -90 and 90. "
        "It looks as if latitude and longitude were swapped: GeoJSON has longitude first.",
    ),
    "longitude out of range": (
        polygon([[273.75, 40.25], *SQUARE_10[1:]]),
        "Ring 1, position 1: longitude 273.75 must be between -180 and 180.",
    ),
    "swapped": (
        polygon([[y, x] for x, y in SQUARE_40]),
        "Latitude and longitude look swapped: as given it lies 9,135 miles from the farm, swapped it lies near it. "
        "GeoJSON has longitude first.",
    ),
    "far away, and no swap would help": (
        polygon([[100 + x, y] for x, y in ((0, 0), (0.01, 0), (0.01, 0.01), (0, 0))]),
        "Lies 9,633 miles from the farm; more than 100 is taken for a mistake. Check the positions, "
        "or the farm's own latitude and longitude.",
    ),
    "another state": (
        polygon([[x, y + 5] for x, y in SQUARE_10]),
        "Lies 345 miles from the farm; more than 100 is taken for a mistake. Check the positions, "
        "or the farm's own latitude and longitude.",
    ),
    "antimeridian": (
        polygon([[179.995, 52], [-179.995, 52], [-179.995, 52.01], [179.995, 52.01], [179.995, 52]]),
        "Ring 1: crosses the antimeridian (180° longitude), which is not supported.",
    ),
    "crs": (
        {**polygon(SQUARE_10), "crs": {"type": "name", "properties": {"name": "EPSG:3857"}}},
        "GeoJSON has no “crs” any more: positions are longitude, latitude in WGS 84. "
        "Export it again that way, without “crs” (RFC 7946 section 4).",
    ),
    "not a number": (polygon([[nan, 40.25], *SQUARE_10[1:]]), "Ring 1, position 1: must be plain numbers of degrees."),
    "endless": (polygon([[inf, 40.25], *SQUARE_10[1:]]), "Ring 1, position 1: must be plain numbers of degrees."),
    "huge whole number": (
        polygon([[10**400, 40.25], *SQUARE_10[1:]]),  # type: ignore[list-item]
        "Ring 1, position 1: must be plain numbers of degrees.",
    ),
    "text for a number": (
        polygon([["-86.25", 40.25], *SQUARE_10[1:]]),  # type: ignore[list-item]
        "Ring 1, position 1: must be numbers of degrees.",
    ),
    "true for a number": (polygon([[True, 40.25], *SQUARE_10[1:]]), "Ring 1, position 1: must be numbers of degrees."),
    "one number": (polygon([[1.0], *SQUARE_10[1:]]), "Ring 1, position 1: a position is longitude, then latitude."),
    "ring is a number": (
        {"type": "Polygon", "coordinates": [7]},
        "The coordinates of ring 1 must be a list that is not empty.",
    ),
    "no rings": (
        {"type": "Polygon", "coordinates": []},
        "The coordinates of the polygon must be a list that is not empty.",
    ),
    "no coordinates": ({"type": "Polygon"}, "The coordinates of the polygon must be a list that is not empty."),
    "too many positions": (
        polygon(MANY),
        "Has more than 5,000 positions. Simplify the outline; a few feet are enough.",
    ),
    "point": (point(*FARM), "A block must be a Polygon or a MultiPolygon, not Point."),
    "line": (
        {"type": "LineString", "coordinates": SQUARE_10},
        "A block must be a Polygon or a MultiPolygon, not LineString.",
    ),
    "nothing": (None, "Must be a GeoJSON object with a type and coordinates."),
    "empty object": ({}, "A block must be a Polygon or a MultiPolygon, not nothing."),
    "two features": (
        {"type": "FeatureCollection", "features": [{}, {}]},
        "Holds 2 features; one outline is wanted here.",
    ),
    "second part broken": (
        {"type": "MultiPolygon", "coordinates": [[SQUARE_10], [SQUARE_10[:2]]]},
        "Polygon 2, ring 1: needs at least four positions, the last equal to the first; it has 3.",
    ),
}


@pytest.mark.parametrize(("given", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_refusals_name_the_field_and_the_reason(given: object, said: str) -> None:
    near = None if "antimeridian" in said else FARM
    with pytest.raises(BadInput) as refused:
        read_polygon(given, field="outline", near=near)
    assert refused.value.errors == {"outline": [said]}


def test_parts_on_both_sides_of_the_antimeridian_are_refused() -> None:
    """RFC 7946 section 3.1.9 would cut such ground in two; one block does not need it."""
    west = [[179.99, 52], [180, 52], [180, 52.01], [179.99, 52.01], [179.99, 52]]
    east = [[-180, 52], [-179.99, 52], [-179.99, 52.01], [-180, 52.01], [-180, 52]]
    with pytest.raises(BadInput) as refused:
        read_polygon({"type": "MultiPolygon", "coordinates": [[west], [east]]})
    said = "Lies on both sides of the antimeridian (180° longitude), which is not supported."
    assert refused.value.errors == {"polygon": [said]}


@st.composite
def stars(draw: st.DrawFn) -> list[list[float]]:
    """A simple ring round the farm: rising angles, any radius from 50 to 500 m or so."""
    count = draw(st.integers(4, 24))
    radii = draw(st.lists(st.floats(0.0005, 0.005), min_size=count, max_size=count))
    turn = draw(st.floats(0, 2 * pi))
    points = [
        [FARM[0] + r * cos(turn + 2 * pi * n / count), FARM[1] + r * sin(turn + 2 * pi * n / count)]
        for n, r in enumerate(radii)
    ]
    return [*points, points[0]]


@given(ring=stars(), start=st.integers(0, 23), backwards=st.booleans(), open_end=st.booleans(), stutter=st.booleans())
def test_neither_direction_nor_start_nor_stutter_changes_the_ground(
    ring: list[list[float]], start: int, backwards: bool, open_end: bool, stutter: bool
) -> None:
    points = ring[:-1]
    turned = points[start % len(points) :] + points[: start % len(points)]
    drawn = turned if open_end else [*turned, turned[0]]
    drawn = [p for p in drawn for _ in range(2)] if stutter else drawn
    reading = read_polygon(polygon(drawn[::-1] if backwards else drawn), near=FARM)
    stored = reading.geometry["coordinates"][0]
    assert ring_area_m2(stored) > 0  # right-hand rule, RFC 7946 section 3.1.6
    assert stored[0] == stored[-1]
    assert sorted(stored[:-1]) == sorted(points)
    assert acres_of(reading.geometry) == pytest.approx(acres_of(polygon(ring)), abs=Decimal("0.000002"))


@given(ring=stars())
def test_reading_what_was_stored_changes_nothing(ring: list[list[float]]) -> None:
    once = read_polygon(polygon(ring[::-1]), near=FARM).geometry
    again = read_polygon(once, near=FARM)
    assert again.geometry == once
    assert again.repairs == ()


@pytest.mark.parametrize("given", [point(*FARM), polygon(SQUARE_10)], ids=["point", "polygon"])
def test_a_place_may_be_a_point_or_a_polygon(given: dict[str, Any]) -> None:
    assert read_place(given, near=FARM).geometry == given


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            {"type": "LineString", "coordinates": SQUARE_10},
            "A place must be a Point, a Polygon or a MultiPolygon, not LineString.",
        ),
        ({"type": "Point", "coordinates": []}, "The point: a position is longitude, then latitude."),
        (
            point(40.25, -86.25),
            "Latitude and longitude look swapped: as given it lies 9,135 miles from the farm, swapped it lies near it. "
            "GeoJSON has longitude first.",
        ),
    ],
    ids=["line", "empty point", "swapped point"],
)
def test_a_place_is_refused(given: dict[str, Any], said: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_place(given, near=FARM)
    assert refused.value.errors == {"geometry": [said]}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"type": NaN}', "Must be GeoJSON text: NaN is not a number in JSON."),
        ("[-Infinity]", "Must be GeoJSON text: -Infinity is not a number in JSON."),
        ('{"type": "Polygon", "type": "Point"}', "Must be GeoJSON text: a name stands twice in one object."),
        ("", "Must be GeoJSON text: Expecting value: line 1 column 1 (char 0)."),
    ],
    ids=["nan", "infinity", "doubled name", "empty"],
)
def test_text_that_is_not_json(text: str, said: str) -> None:
    with pytest.raises(BadInput) as refused:
        parse_json(text, field="polygon")
    assert refused.value.errors == {"polygon": [said]}


def test_text_nested_without_end_is_refused_not_a_crash() -> None:
    with pytest.raises(BadInput):
        parse_json("[" * 200_000, field="polygon")
