"""A block's outline moves: what was sprayed stays on the ground it was sprayed on, whoever holds it now."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.audit.models import AuditEvent
from apps.land.models import Block
from apps.land.rules import box_of, overlap_acres
from apps.land.services import edit_block
from apps.spraying.history import Labels, events_on
from apps.spraying.models import Job, JobBlock
from apps.spraying.outlines import Grounds, keep_outline
from apps.spraying.rules.pieces import SLIVER, pieces_of
from tests.factories.land import BlockFactory
from tests.factories.spraying import SIGNED

from .mixes import OFTEN
from .test_check_pieces import box, of, piece_of

LATER = SIGNED + timedelta(hours=40)


def shifted(block, share: float) -> dict:
    """The outline moved east by a share of its width."""
    (west, south), _, (east, north), *_ = block.polygon["coordinates"][0]
    by = (east - west) * share
    x1, x2 = round(west + by, 6), round(east + by, 6)
    return {"type": "Polygon", "coordinates": [[[x1, south], [x2, south], [x2, north], [x1, north], [x1, south]]]}


def put(block, polygon) -> Block:
    """The row as another outline would leave it, without asking the neighbours."""
    found = box_of(polygon)
    Block.rows.filter(pk=block.pk).update(
        polygon=polygon, min_lon=found.min_lon, min_lat=found.min_lat, max_lon=found.max_lon, max_lat=found.max_lat
    )
    return Block.rows.get(pk=block.pk)


def moved(bench, block, polygon) -> Block:
    """What moving an outline does to the sprays on it, without the guards that let closures run out first."""
    row = Block.rows.get(pk=block.pk)
    keep_outline(member=bench.manager, block=row, outline=row.polygon, now=LATER)
    return put(row, polygon)


@pytest.mark.django_db
class TestMoved:
    """Block 1 was sprayed (job 1), then its outline moves east; block 2 stands aside unless a test places it."""

    @pytest.fixture
    def first(self, bench):
        bench.signed()
        put(bench.blocks[1], shifted(bench.blocks[1], 40))
        return bench.blocks[0]

    def test_the_part_that_still_lies_on_it_keeps_it_and_new_ground_does_not_get_it(self, bench, first):
        old = first.polygon
        now = moved(bench, first, shifted(first, 0.5))
        assert of(bench, now) == {first.pk: [("job 1", [], [f"earlier ground of {now}"])]}
        assert JobBlock.rows.get(block=first).outline == old
        entry = AuditEvent.objects.get(verb="kept the old ground of")
        assert (entry.subject_id, entry.after["sprays"]) == (str(first.pk), 1)

    def test_an_outline_that_only_grew_keeps_it_on_the_old_ground(self, bench, first):
        (west, south), _, (east, north), *_ = first.polygon["coordinates"][0]
        x2 = round(east + (east - west), 6)
        wide = {
            "type": "Polygon",
            "coordinates": [[[west, south], [x2, south], [x2, north], [west, north], [west, south]]],
        }
        now = moved(bench, first, wide)
        assert of(bench, now) == {first.pk: [("job 1", [], [f"earlier ground of {now}"])]}

    def test_an_outline_that_only_shrank_keeps_it_everywhere(self, bench, first):
        moved(bench, first, piece_of(first, 0.5, first=True))
        assert of(bench, first) == {first.pk: [("job 1", [], [])]}

    def test_a_drawing_put_right_elsewhere_still_counts_on_all_of_it(self, bench, first):
        """Nobody can tell a wrong drawing from ground given up, so the spray stays with both."""
        moved(bench, first, shifted(first, 3))
        assert of(bench, first) == {first.pk: [("job 1", [], [])]}

    def test_the_block_that_takes_the_old_ground_over_inherits(self, bench, first):
        old = first.polygon
        moved(bench, first, shifted(first, 0.5))
        heir = moved(bench, bench.blocks[1], piece_of_outline(old, 0.5))
        assert of(bench, heir) == {heir.pk: [("job 1", [], [])]}

    def test_a_new_block_on_ground_that_another_was_moved_off(self, bench, first):
        old = first.polygon
        moved(bench, first, shifted(first, 0.75))
        new = BlockFactory(farm=bench.farm, code="X", name="New", polygon=old)
        name = f"earlier ground of {first}"
        assert [row[1:] for row in of(bench, new)[new.pk]] == [([], [])], name

    def test_ground_of_a_block_out_of_use(self, bench, first):
        Block.rows.filter(pk=first.pk).update(archived_at=LATER)
        half = BlockFactory(farm=bench.farm, code="X", name="New", polygon=shifted(first, 0.5))
        assert of(bench, half) == {half.pk: [("job 1", [], [f"ground of {first}"])]}
        beside = BlockFactory(farm=bench.farm, code="Y", name="Beside", polygon=shifted(first, 3))
        assert of(bench, beside) == {beside.pk: []}

    def test_two_moves_keep_each_spray_on_the_ground_of_its_day(self, bench, first):
        was = first.polygon
        once = moved(bench, first, shifted(first, 0.25))
        twice = moved(bench, once, shifted(first, 0.5))
        assert JobBlock.rows.get(block=first).outline == was
        assert of(bench, twice) == {first.pk: [("job 1", [], [f"earlier ground of {twice}"])]}

    def test_moving_an_outline_on_the_map_keeps_it(self, bench, first):
        """A year on, when every closure has run."""
        old, row = first.polygon, Block.rows.get(pk=first.pk)
        changes = {"polygon": shifted(first, 0.5), "planted_acres": None}
        year = SIGNED + timedelta(days=400)
        edit_block(member=bench.manager, block_id=row.pk, expected_version=row.version, changes=changes, now=year)
        assert JobBlock.rows.get(block=first).outline == old

    def test_old_rows_fall_back_to_the_number(self, bench, first):
        """A row without an outline, on a block whose outline was changed before outlines were kept."""
        put(first, shifted(first, 3))
        assert of(bench, first) == {first.pk: [("job 1", [], [])]}

    def test_the_number_of_queries_does_not_grow(self, bench, first):
        """With one move and with three, for one block and for two."""
        asked = []
        ground = first
        for moves, blocks in ((1, [first]), (2, bench.blocks)):
            for _ in range(moves):
                ground = moved(bench, ground, shifted(ground, 0.5))
            with CaptureQueriesContext(connection) as queries:
                events_on(bench.farm, [b.pk for b in blocks], labels=Labels())
            asked.append(len(queries))
        assert asked[0] == asked[1] <= 9


def piece_of_outline(polygon, share):
    (west, south), _, (east, north), *_ = polygon["coordinates"][0]
    x2 = round(west + (east - west) * share, 6)
    return {"type": "Polygon", "coordinates": [[[west, south], [x2, south], [x2, north], [west, north], [west, south]]]}


boxes = st.builds(
    lambda x, y, w, h: box(x, y, x + w, y + h),
    st.integers(0, 8), st.integers(0, 8), st.integers(1, 6), st.integers(1, 6),
)  # fmt: skip


def sprayed_on(block, outline):
    return JobBlock(pk=7, block=block, outline=outline, job=Job(number=1, state="signed"))


@settings(max_examples=60 * OFTEN, deadline=None)
@given(before=boxes, now=boxes)
def test_no_treated_ground_is_forgotten_and_what_shares_none_of_it_gets_none(before, now):
    """Of the block itself and of another one that holds the ground now; slivers of half a percent aside."""
    mine, other = Block(pk=1, polygon=now, name="A", code="A"), Block(pk=2, polygon=now, name="B", code="B")
    grounds = Grounds({1: [1], 2: [2]})
    row = sprayed_on(mine, before)
    shared, whole = overlap_acres(before, now), overlap_acres(now, now)

    shape = grounds.shape(row, mine)
    assert (shape is None) == (not grounds.reaches(row, other))  # a drawing put right counts on all of the block
    if shape is not None:
        under = pieces_of(now, [shape]).under(shape[0])
        share = float(shared / whole)
        assert (under is None) == (share <= SLIVER)
        assert (under == frozenset()) == (share >= 1 - SLIVER)
    assert grounds.reaches(row, other) == (shared > 0)
