"""History follows the ground: blocks cut and joined, drawn parts, and what counts where."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from apps.land.reshape import merge_blocks, split_block
from apps.spraying import checking, queries
from apps.spraying.history import Labels, events_on
from apps.spraying.rules.pieces import MOST_SHAPES, pieces_of
from apps.spraying.rules.saying import grounds
from tests.factories.crops import PlantingFactory
from tests.factories.land import BlockFactory
from tests.factories.spraying import NOW, SIGNED, WINDOW

from .mixes import changed, facts, past, reasons, said

F1 = ("F1", 3)


def box(west: float, south: float, east: float, north: float) -> dict:
    """A box in thousandths of a degree from 86.2 W 40.2 N."""
    x1, x2 = (round(-86.2 + v / 1000, 6) for v in (west, east))
    y1, y2 = (round(40.2 + v / 1000, 6) for v in (south, north))
    return {"type": "Polygon", "coordinates": [[[x1, y1], [x2, y1], [x2, y2], [x1, y2], [x1, y1]]]}


WHOLE = box(0, 0, 4, 4)
WEST, EAST, NORTH = box(0, 0, 2, 4), box(2, 0, 4, 4), box(0, 2, 4, 4)


class TestCutting:
    def test_two_halves(self):
        cut = pieces_of(WHOLE, [("w", "west", WEST), ("e", "east", EAST)])
        assert cut.names == {"west", "east"}
        assert (cut.under("w"), cut.under("e")) == (frozenset({"west"}), frozenset({"east"}))

    def test_shapes_that_overlap_make_pieces_of_their_own(self):
        cut = pieces_of(WHOLE, [("w", "west", WEST), ("n", "north", NORTH)])
        assert cut.names == {"west", "north", "west + north", "the rest"}
        assert cut.under("w") == {"west", "west + north"}

    def test_a_shape_over_all_of_it_covers_the_block(self):
        assert pieces_of(WHOLE, [("all", "old block", box(-1, -1, 5, 5))]).under("all") == frozenset()

    def test_a_shape_elsewhere_covers_nothing(self):
        cut = pieces_of(WHOLE, [("far", "far", box(9, 0, 12, 4))])
        assert (cut.under("far"), cut.names) == (None, frozenset({"the rest"}))

    def test_a_sliver_is_not_a_piece(self):
        assert pieces_of(WHOLE, [("w", "west", box(-2, 0, 0.01, 4))]).under("w") is None

    def test_what_was_never_cut_counts_everywhere(self):
        many = [(n, f"p{n}", box(0, 0, 4, 0.1 * (n + 1))) for n in range(MOST_SHAPES + 1)]
        cut = pieces_of(WHOLE, many)
        assert cut.under(MOST_SHAPES) == frozenset()
        assert cut.under(0) == {" + ".join(f"p{n}" for n in range(MOST_SHAPES))}

    def test_a_shape_nobody_can_measure_counts_everywhere(self):
        assert pieces_of(WHOLE, [("odd", "odd", {"type": "Polygon"})]).under("odd") == frozenset()

    def test_a_shape_nobody_can_measure_does_not_take_the_next_one_away(self):
        cut = pieces_of(WHOLE, [("odd", "odd", {"type": "Polygon"}), ("w", "west", WEST)])
        assert (cut.under("odd"), cut.under("w"), cut.names) == (frozenset(), {"west"}, {"west", "the rest"})


class TestCounting:
    """F1: 15.75 lb chlorothalonil a year, 2.25 lb a pass; seven passes fill it (worked case V06)."""

    def seven(self, piece):
        return [past(f"2026-0{6 + n // 4}-0{1 + 2 * (n % 4)}", F1, pieces=frozenset({piece})) for n in range(7)]

    def test_each_piece_counts_its_own(self):
        plan = facts(
            [F1], [*self.seven("west")[:4], *self.seven("east")[4:]], start="2026-08-24T07:00", end="2026-08-24T08:00"
        )
        assert reasons(plan)[0] == []

    def test_the_fullest_piece_refuses_and_is_named(self):
        plan = facts([F1], self.seven("west"), start="2026-08-24T07:00", end="2026-08-24T08:00")
        assert reasons(plan)[0] == ["season_ai"]
        assert "Long Field 2 [west]" in said(plan, "season_ai")[0]

    def test_a_named_part_is_held_against_every_piece(self):
        """Where the part "A" lies among the measured pieces is not known, so the fullest counts."""
        plan = facts([F1], self.seven("west"), start="2026-08-24T07:00", end="2026-08-24T08:00", zone="A")
        assert reasons(plan)[0] == ["season_ai"]
        assert list(grounds(plan)) == ["A, west", "A"]

    def test_a_part_and_a_piece_count_where_both_may_lie(self):
        both = past("2026-06-01", F1, zone="A", pieces=frozenset({"west"}))
        plan = changed(facts([F1], [both]), history=(both, past("2026-06-02", F1, zone="B")))
        assert {name: len(events) for name, events in grounds(plan).items()} == {
            "A, west": 1, "A": 0, "B, west": 1, "B": 1, "west": 0, "rest": 0,
        }  # fmt: skip


def of(bench, *blocks):
    found = events_on(bench.farm, [b.pk for b in blocks], labels=Labels())
    return {b.pk: [(e.job_ref, sorted(e.parts), sorted(e.pieces)) for e in found.get(b.pk, ())] for b in blocks}


def piece_of(block, share: float, *, first: bool) -> dict:
    """The western or eastern part of a square block."""
    (west, south), _, (east, north), *_ = block.polygon["coordinates"][0]
    middle = round(west + (east - west) * share, 6)
    x1, x2 = (west, middle) if first else (middle, east)
    return {"type": "Polygon", "coordinates": [[[x1, south], [x2, south], [x2, north], [x1, north], [x1, south]]]}


@pytest.mark.django_db
class TestRealBlocks:
    def cut(self, bench, block, share=0.5):
        shapes = [piece_of(block, share, first=True), piece_of(block, share, first=False)]
        pieces = [{"name": f"Piece {n}", "code": f"P{n}", "polygon": shape} for n, shape in enumerate(shapes)]
        return split_block(member=bench.manager, block_id=block.pk, pieces=pieces, now=SIGNED + timedelta(hours=40))

    def test_both_pieces_of_a_split_block_keep_what_was_sprayed_on_it(self, bench):
        bench.signed()
        west, east = self.cut(bench, bench.blocks[0])
        assert of(bench, west, east) == {west.pk: [("job 1", [], [])], east.pk: [("job 1", [], [])]}

    def test_a_named_part_of_the_old_block_counts_on_all_of_the_piece(self, bench):
        bench.signed(blocks=[{"block_id": bench.blocks[0].pk, "zone": "south half"}])
        west, _ = self.cut(bench, bench.blocks[0])
        assert of(bench, west) == {west.pk: [("job 1", [], [])]}

    def test_a_signed_part_goes_only_with_the_piece_it_lies_in(self, bench):
        block = bench.blocks[0]
        part = piece_of(block, 0.3, first=True)
        job = bench.spraying()
        acres = (block.planted_acres * Decimal("0.3")).quantize(Decimal("0.01"))
        done = bench.done_values(job)
        done["blocks"] = [{"block_id": block.pk, "treated_acres": str(acres), "part": part}]
        done["products"][0]["amount"] = str((acres * 5).quantize(Decimal("0.01")))
        from apps.spraying import services

        job = services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=SIGNED)
        before = of(bench, block)
        assert before == {block.pk: [("job 1", [], [])]}  # not signed: nobody answers for the part yet
        bench.sign(job, now=SIGNED)
        assert of(bench, block) == {block.pk: [("job 1", [], ["part sprayed in job 1"])]}
        west, east = self.cut(bench, block)
        assert of(bench, west, east) == {
            west.pk: [("job 1", [], ["part sprayed in job 1"])],
            east.pk: [],
        }

    def test_a_merged_block_counts_each_past_on_its_own_ground(self, bench):
        first = bench.blocks[0]
        (west, south), _, (east, north), *_ = first.polygon["coordinates"][0]
        width = east - west
        beside = {
            "type": "Polygon",
            "coordinates": [
                [
                    [east, south],
                    [round(east + width, 6), south],
                    [round(east + width, 6), north],
                    [east, north],
                    [east, south],
                ]
            ],
        }
        second = BlockFactory(farm=bench.farm, field=first.field, code="N9", name="Next", polygon=beside)
        PlantingFactory(farm=bench.farm, block=second, crop=bench.crop, sown_on=bench.label.effective_on)
        bench.signed()
        merged = merge_blocks(
            member=bench.manager,
            block_ids=[first.pk, second.pk],
            name="Both",
            code="B1",
            now=SIGNED + timedelta(hours=40),
        )
        assert of(bench, merged) == {merged.pk: [("job 1", [], [f"ground of {first}"])]}

        later = {"window_starts_at": WINDOW[0] + timedelta(days=3), "window_ends_at": WINDOW[1] + timedelta(days=3)}
        PlantingFactory(farm=bench.farm, block=merged, crop=bench.crop, sown_on=bench.label.effective_on)
        job = bench.planned(blocks=[{"block_id": merged.pk}], now=SIGNED + timedelta(hours=41), **later)
        found = checking.flat(checking.check_job(queries.job(bench.farm, job.pk), checking.planned(job, NOW)))
        assert [f.numbers["ground"] for f in found if f.code == "interval"] == [f"{merged} [ground of {first}]"]

    def test_other_ground_has_no_part_in_it(self, bench):
        bench.signed()
        assert of(bench, bench.blocks[1]) == {bench.blocks[1].pk: []}
