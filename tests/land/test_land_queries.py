"""Reading the ground: only one's own, in a constant number of queries."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

from apps.land import queries
from apps.land.rules import SensitiveKind
from farmops.errors import Unknown
from tests.factories.land import BlockFactory, FieldFactory, SensitivePlaceFactory, square
from tests.land.shapes import point

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 3, 14, 30, tzinfo=UTC)


def east(lon: float, lat: float, feet: float) -> float:
    return float(Geodesic.WGS84.Direct(lat, lon, 90, feet * 0.3048)["lon2"])


def test_another_farms_ground_is_unknown(cast):
    theirs = BlockFactory(farm=cast.other_farm)
    place = SensitivePlaceFactory(farm=cast.other_farm)
    for read in (
        lambda: queries.block(cast.farm, theirs.pk),
        lambda: queries.field(cast.farm, theirs.field_id),
        lambda: queries.sensitive_place(cast.farm, place.pk),
        lambda: queries.blocks_by_id(cast.farm, [theirs.pk]),
    ):
        with pytest.raises(Unknown):
            read()
    assert (list(queries.blocks(cast.farm)), list(queries.fields(cast.farm))) == ([], [])


def test_several_blocks_are_all_found_or_none(cast):
    mine, theirs = BlockFactory(farm=cast.farm), BlockFactory(farm=cast.other_farm)
    assert queries.blocks_by_id(cast.farm, [mine.pk, mine.pk]) == {mine.pk: mine}
    with pytest.raises(Unknown):
        queries.blocks_by_id(cast.farm, [mine.pk, theirs.pk])


def test_blocks_come_by_code_and_archived_ones_only_by_number(cast):
    late, early = BlockFactory(farm=cast.farm, code="Z"), BlockFactory(farm=cast.farm, code="A")
    gone = BlockFactory(farm=cast.farm, code="M", archived_at=NOW)
    assert list(queries.blocks(cast.farm)) == [early, late]
    assert queries.block(cast.farm, gone.pk) == gone


def test_sensitive_places_come_with_their_feet_nearest_first(cast):
    block = BlockFactory(farm=cast.farm, polygon=square(-86.25, 40.25))
    side = (-86.248, 40.251)  # middle of the east side
    far = east(*side, 900)
    SensitivePlaceFactory(farm=cast.farm, kind="house", name="House", geometry=point(far, 40.251))
    SensitivePlaceFactory(farm=cast.farm, kind="water", name="Creek", geometry=square(east(*side, 120), 40.25))
    SensitivePlaceFactory(farm=cast.farm, kind="well", name="Well", geometry=point(-86.249, 40.251))
    SensitivePlaceFactory(farm=cast.farm, name="Gone", geometry=point(-86.249, 40.251), removed_at=NOW)
    SensitivePlaceFactory(farm=cast.other_farm, name="Theirs", geometry=point(-86.249, 40.251))
    found = queries.nearest_sensitive(queries.block(cast.farm, block.pk))
    assert [(kind, name) for kind, name, _ in found] == [
        (SensitiveKind.WELL, "Well"),
        (SensitiveKind.WATER, "Creek"),
        (SensitiveKind.HOUSE, "House"),
    ]
    assert [feet for _, _, feet in found] == [
        Decimal("0.0"),
        pytest.approx(Decimal(120), abs=Decimal("0.2")),
        pytest.approx(Decimal(900), abs=Decimal("0.2")),
    ]


def test_no_place_entered_is_an_empty_list(cast):
    assert queries.nearest_sensitive(BlockFactory(farm=cast.farm)) == []


@pytest.mark.parametrize(
    ("feet", "codes"),
    [
        (0, ["TOUCH"]),
        (24, ["TOUCH"]),
        (26, ["NEAR", "TOUCH"]),
        (100, ["NEAR", "TOUCH"]),
        (400, ["FAR", "NEAR", "TOUCH"]),
    ],
)
def test_neighbours_are_found_by_feet_between_outlines(cast, feet, codes):
    """The exclusion zone of 40 CFR 170.405 is 25 or 100 ft; what is touched counts at 0 ft."""
    block = BlockFactory(farm=cast.farm, code="ME", polygon=square(-86.25, 40.25))
    BlockFactory(farm=cast.farm, code="TOUCH", polygon=square(-86.25, 40.252))
    side = (-86.248, 40.251)
    BlockFactory(farm=cast.farm, code="NEAR", polygon=square(round(east(*side, 25), 9), 40.25))
    BlockFactory(farm=cast.farm, code="FAR", polygon=square(round(east(-86.25, 40.251, -350) - 0.002, 9), 40.25))
    BlockFactory(farm=cast.farm, code="GONE", polygon=square(-86.252, 40.25), archived_at=NOW)
    BlockFactory(farm=cast.other_farm, code="THEIRS", polygon=square(-86.252, 40.25))
    assert [b.code for b in queries.neighbours_within(block, feet)] == codes


def test_an_edge_longer_than_its_corners_counts(cast):
    """Distance is between outlines, not between corners or centres."""
    block = BlockFactory(farm=cast.farm, code="LONG", polygon=square(-86.25, 40.25, 0.02))
    small = square(-86.24, round(40.27 + 0.0001, 6), 0.0005)
    BlockFactory(farm=cast.farm, code="SMALL", polygon=small)
    assert [b.code for b in queries.neighbours_within(block, 50)] == ["SMALL"]


@pytest.mark.parametrize("count", [1, 12])
def test_reading_fields_and_neighbours_costs_the_same_for_any_number(cast, django_assert_num_queries, count):
    field = FieldFactory(farm=cast.farm)
    blocks = BlockFactory.create_batch(count, farm=cast.farm, field=field)
    SensitivePlaceFactory.create_batch(count, farm=cast.farm)
    with django_assert_num_queries(2):
        assert [len(f.blocks.all()) for f in queries.fields(cast.farm)] == [count]
    block = queries.block(cast.farm, blocks[0].pk)
    with django_assert_num_queries(2):
        near: list[Any] = [queries.neighbours_within(block, 1_000_000), queries.nearest_sensitive(block)]
    assert [len(found) for found in near] == [count - 1, count]
    with django_assert_num_queries(2):
        assert len(queries.farm_file(cast.farm)["features"]) == 2 * count
