"""A farm's map in and out as one GeoJSON FeatureCollection."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest

from apps.land.rules import BlockFact, PlaceFact, SensitiveKind, read_farm_file, write_farm_file
from farmops.errors import BadInput
from tests.land.shapes import FARM, SQUARE_10, box, point, polygon

BLOCK = {"field": "River field", "name": "North half", "code": "R1", "planted_acres": "9.5"}


def feature(geometry: dict[str, Any], **properties: object) -> dict[str, Any]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def collection(*features: object) -> dict[str, Any]:
    return {"type": "FeatureCollection", "features": list(features)}


def test_blocks_and_places_are_read() -> None:
    found = read_farm_file(
        collection(
            feature(polygon(SQUARE_10), **BLOCK),
            feature(point(-86.249, 40.26), kind="hives", name="Lindholm's hives", note="call ahead"),
        ),
        near=FARM,
    )
    assert found.blocks == (
        BlockFact(
            field_name="River field",
            name="North half",
            code="R1",
            polygon=polygon(SQUARE_10),
            planted_acres=Decimal("9.5"),
            where="features[0]",
        ),
    )
    assert found.places == (
        PlaceFact(
            kind=SensitiveKind.HIVES,
            name="Lindholm's hives",
            note="call ahead",
            geometry=point(-86.249, 40.26),
            where="features[1]",
        ),
    )
    assert found.repairs == ()


def test_what_goes_out_comes_in_again() -> None:
    blocks = [
        BlockFact(field_name="A", name="one", code="A1", polygon=polygon(SQUARE_10), planted_acres=Decimal("9.5000")),
        BlockFact(field_name="A", name="two", code="A2", polygon=box(-86.24, 40.25)),
    ]
    places = [PlaceFact(kind=SensitiveKind.WATER, name="Creek", geometry=box(-86.26, 40.25), note="")]
    sent = json.loads(json.dumps(write_farm_file(blocks, places)))
    back = read_farm_file(sent, near=FARM)
    assert [(b.field_name, b.name, b.code, b.polygon, b.planted_acres) for b in back.blocks] == [
        (b.field_name, b.name, b.code, b.polygon, b.planted_acres) for b in blocks
    ]
    assert [(p.kind, p.name, p.geometry) for p in back.places] == [(p.kind, p.name, p.geometry) for p in places]
    assert back.repairs == ()


def test_repairs_name_the_feature() -> None:
    found = read_farm_file(
        collection(feature(box(-86.24, 40.25), **BLOCK), feature(polygon(SQUARE_10[::-1]), **(BLOCK | {"code": "R2"}))),
        near=FARM,
    )
    assert [(note.field, note.code) for note in found.repairs] == [("features[1].polygon", "winding_rewritten")]


def test_a_mistyped_property_is_not_lost_in_silence() -> None:
    found = read_farm_file(collection(feature(polygon(SQUARE_10), **BLOCK, plantd_acres=3, Id="x")), near=FARM)
    assert [note.sentence for note in found.repairs] == ["Not used: Id, plantd_acres."]


def test_every_fault_of_every_feature_is_said_at_once() -> None:
    with pytest.raises(BadInput) as refused:
        read_farm_file(
            collection(
                feature(polygon(SQUARE_10[:2]), field="", name="x" * 81, code="R1", planted_acres="-1"),
                feature(polygon(SQUARE_10), **BLOCK),
                "text",
                {"type": "Feature", "geometry": polygon(SQUARE_10), "properties": None},
                feature(point(*FARM), kind="pond", name=""),
                feature(box(-86.24, 40.25), **(BLOCK | {"code": "r1"})),
            ),
            near=FARM,
        )
    assert refused.value.errors == {
        "features[0].polygon": ["Ring 1: needs at least four positions, the last equal to the first; it has 3."],
        "features[0].field": ["Enter the name of the field the block lies in."],
        "features[0].name": ["Must be 80 characters or fewer."],
        "features[0].planted_acres": ["Must be 0 or more."],
        "features[1].code": ["Code R1 stands twice in the file; first in features[0]."],
        "features[2]": ["Must be a GeoJSON Feature."],
        "features[3].properties": ["Must hold at least field, name and code."],
        "features[4].kind": ["Kind must be one of: water, well, hives, house, school, crop, habitat, other."],
        "features[4].name": ["Enter the name of the place."],
        "features[5].code": ["Code r1 stands twice in the file; first in features[0]."],
    }


@pytest.mark.parametrize(
    ("document", "errors"),
    [
        (None, {"features": ["The file must be a GeoJSON FeatureCollection."]}),
        ([], {"features": ["The file must be a GeoJSON FeatureCollection."]}),
        (polygon(SQUARE_10), {"features": ["The file must be a GeoJSON FeatureCollection."]}),
        (collection(), {"features": ["The file holds no features."]}),
        ({"type": "FeatureCollection"}, {"features": ["The file holds no features."]}),
        (collection(*[{}] * 501), {"features": ["The file holds 501 features; at most 500 at once."]}),
        (
            {**collection({}), "crs": None},
            {"crs": ["GeoJSON has no “crs” any more: export longitude, latitude in WGS 84 without it."]},
        ),
    ],
    ids=["nothing", "list", "bare polygon", "empty", "no features", "too many", "crs"],
)
def test_files_refused_whole(document: object, errors: dict[str, list[str]]) -> None:
    with pytest.raises(BadInput) as refused:
        read_farm_file(document, near=FARM)
    assert refused.value.errors == errors
