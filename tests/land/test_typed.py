"""Corners as a phone shows them, or pasted GeoJSON."""

from __future__ import annotations

import json

import pytest

from apps.land.rules import read_outline_text, read_polygon
from farmops.errors import BadInput
from tests.land.shapes import FARM, SQUARE_10, polygon

CORNERS = "40.25, -86.25\n40.25 -86.2476356\n\n40.2518117°;-86.2476355°\n40.2518117,-86.25\n"


def test_corners_are_latitude_first_and_make_the_same_outline() -> None:
    read = read_polygon(read_outline_text(CORNERS), near=FARM)
    assert read.geometry == polygon(SQUARE_10)
    assert [note.code for note in read.repairs] == ["ring_closed"]


def test_one_line_is_a_point() -> None:
    assert read_outline_text(" 40.25, -86.25 ") == {"type": "Point", "coordinates": [-86.25, 40.25]}


def test_text_with_a_brace_is_geojson() -> None:
    assert read_outline_text(json.dumps(polygon(SQUARE_10))) == polygon(SQUARE_10)


def test_corners_with_longitude_first_are_found_out_by_the_place() -> None:
    swapped = "\n".join(f"{lon}, {lat}" for lon, lat in SQUARE_10)
    with pytest.raises(BadInput) as refused:
        read_polygon(read_outline_text(swapped), near=FARM)
    assert refused.value.errors["polygon"][0].startswith("Latitude and longitude look swapped")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "Enter one corner a line, at least three, or paste GeoJSON."),
        ("40.25, -86.25\n40.26, -86.25", "Enter one corner a line, at least three, or paste GeoJSON."),
        ("40.25, -86.25\nby the oak", "Line 2 must be latitude, then longitude, like 40.2501, -86.2498."),
        ("40,25, -86,25", "Line 1 must be latitude, then longitude, like 40.2501, -86.2498."),
        ('{"type": ', "Must be GeoJSON text: Expecting value: line 1 column 9 (char 8)."),
    ],
    ids=["empty", "two corners", "words", "decimal commas", "broken GeoJSON"],
)
def test_what_cannot_be_read_is_named_by_its_line(text: str, said: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_outline_text(text, field="outline")
    assert refused.value.errors == {"outline": [said]}
