"""Splitting and merging blocks: the outline rules, the lineage, and who may do it."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from apps.land import queries, reshape, rules
from apps.land.models import Block, Lineage
from farmops.errors import BadInput, NotYourRole, Refused, Stale
from tests.factories.land import BlockFactory, FieldFactory, square
from tests.factories.work import TaskFactory

NOW = datetime(2026, 6, 1, 15, 0, tzinfo=UTC)
WEST, SOUTH = -86.25, 40.25


def box(west: float, south: float, east: float, north: float) -> dict:
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


HALVES = [box(WEST, SOUTH, WEST + 0.001, SOUTH + 0.002), box(WEST + 0.001, SOUTH, WEST + 0.002, SOUTH + 0.002)]


def pieces(outlines=HALVES, codes=("W", "E")) -> list[dict]:
    return [{"name": f"Piece {code}", "code": code, "polygon": o} for code, o in zip(codes, outlines, strict=True)]


@pytest.fixture
def block(cast):
    return BlockFactory(farm=cast.farm, code="S1", polygon=square(WEST, SOUTH))


def split(cast, block, outlines=HALVES, codes=("W", "E"), **more):
    return reshape.split_block(member=cast.manager, block_id=block.pk, pieces=pieces(outlines, codes), now=NOW, **more)


# ---- outlines, without a database ---------------------------------------------------------


def test_a_line_cuts_a_block_from_west_to_east():
    whole = square(WEST, SOUTH)
    west, east = rules.cut(whole, [[WEST + 0.001, SOUTH - 1], [WEST + 0.001, SOUTH + 1]])
    assert rules.acres_of(west) + rules.acres_of(east) == pytest.approx(rules.acres_of(whole), abs=Decimal("0.000002"))
    assert rules.box_of(west).max_lon == rules.box_of(east).min_lon == pytest.approx(WEST + 0.001)


@pytest.mark.parametrize(
    "line",
    [[], [[WEST, SOUTH]], [[0, 0], [1, 1]], [[WEST + 0.0005, SOUTH + 0.0005], [WEST + 0.0015, SOUTH + 0.0005]]],
    ids=["nothing", "one point", "elsewhere", "inside only"],
)
def test_a_line_that_does_not_cross_is_named(line):
    with pytest.raises(BadInput) as error:
        rules.cut(square(WEST, SOUTH), line)
    assert list(error.value.errors) == ["line"]


@pytest.mark.parametrize(
    ("outlines", "codes"),
    [
        (HALVES, []),
        (HALVES[:1], ["too_few_pieces", "ground_left_over"]),
        ([HALVES[0], square(WEST + 0.01, SOUTH)], ["piece_outside", "ground_left_over"]),
        ([HALVES[0], box(WEST + 0.001, SOUTH, WEST + 0.0015, SOUTH + 0.002)], ["ground_left_over"]),
    ],
    ids=["halves", "one", "one elsewhere", "a gap"],
)
def test_pieces_must_hold_the_block_and_nothing_else(outlines, codes):
    """Project rule: ground that lies in no block would be on nobody's board."""
    assert [f.code for f in rules.check_split(square(WEST, SOUTH), outlines)] == codes


def test_outlines_that_cannot_be_compared_share_all_their_ground():
    """Project rule: fail closed when a shape is missing."""
    assert rules.shares_ground({}, HALVES[0]) is True
    assert rules.share_of({}, HALVES[0]) == 1


def test_a_common_border_is_no_common_ground():
    assert rules.shares_ground(*HALVES) is False


def test_the_union_of_halves_is_the_whole():
    whole = rules.union(HALVES)
    assert whole["type"] == "Polygon"
    assert rules.acres_of(whole) == pytest.approx(rules.acres_of(square(WEST, SOUTH)), abs=Decimal("0.000002"))


# ---- services -----------------------------------------------------------------------------


@pytest.mark.django_db
class TestSplit:
    def test_it_archives_the_old_block_and_keeps_the_lineage(self, cast, block):
        west, east = split(cast, block)
        block.refresh_from_db()
        assert block.archived_at == NOW
        rows = Lineage.rows.order_by("child_id").values_list("parent_id", "child_id", "how", "at", "by_id")
        by = cast.manager.person_id
        assert list(rows) == [(block.pk, west.pk, "split", NOW, by), (block.pk, east.pk, "split", NOW, by)]
        assert [(b.code, b.field_id) for b in queries.blocks(cast.farm)] == [
            ("E", block.field_id),
            ("W", block.field_id),
        ]

    def test_a_piece_may_keep_the_code(self, cast, block):
        assert [b.code for b in split(cast, block, codes=("S1", "S2"))] == ["S1", "S2"]

    def test_pieces_on_each_other_are_refused(self, cast, block):
        with pytest.raises(Refused):
            split(cast, block, [square(WEST, SOUTH), HALVES[1]])
        assert [b.code for b in Block.rows.filter(archived_at=None)] == ["S1"]

    def test_an_open_task_holds_the_block(self, cast, block):
        TaskFactory(farm=cast.farm, block=block)
        with pytest.raises(Refused) as error:
            split(cast, block)
        assert [f.code for f in error.value.findings] == ["task_open"]
        assert not Lineage.rows.exists()

    def test_each_bad_piece_is_named(self, cast, block):
        bad = [{"name": "", "code": "W", "polygon": HALVES[0]}, {"name": "E", "code": "E", "polygon": HALVES[1]}]
        with pytest.raises(BadInput) as error:
            reshape.split_block(member=cast.manager, block_id=block.pk, pieces=bad, now=NOW)
        assert list(error.value.errors) == ["pieces.0.name"]

    def test_somebody_was_quicker(self, cast, block):
        with pytest.raises(Stale):
            split(cast, block, expected_version=block.version + 1)

    def test_only_a_manager(self, cast, block):
        with pytest.raises(NotYourRole):
            reshape.split_block(member=cast.applicator, block_id=block.pk, pieces=pieces(), now=NOW)

    def test_the_old_block_cannot_come_back_on_the_same_ground(self, cast, block):
        from apps.land.services import restore_block

        split(cast, block)
        with pytest.raises(Refused) as error:
            restore_block(member=cast.manager, block_id=block.pk, now=NOW)
        assert {f.code for f in error.value.findings} == {"ground_shared"}


@pytest.mark.django_db
class TestMerge:
    @pytest.fixture
    def halves(self, cast):
        field = FieldFactory(farm=cast.farm)
        return [BlockFactory(farm=cast.farm, field=field, code=c, polygon=o) for c, o in zip("AB", HALVES, strict=True)]

    def merge(self, cast, rows, code="AB"):
        return reshape.merge_blocks(
            member=cast.manager, block_ids=[r.pk for r in rows], name="Both", code=code, now=NOW
        )

    def test_it_makes_one_of_two(self, cast, halves):
        made = self.merge(cast, halves, code="A")
        assert made.mapped_acres == pytest.approx(sum(b.mapped_acres for b in halves), abs=Decimal("0.000002"))
        assert [b.pk for b in queries.blocks(cast.farm)] == [made.pk]
        assert set(Lineage.rows.values_list("parent_id", "how")) == {(b.pk, "merge") for b in halves}

    def test_blocks_of_two_fields_stay_apart(self, cast, halves):
        other = BlockFactory(farm=cast.farm)
        with pytest.raises(BadInput) as error:
            self.merge(cast, [*halves, other])
        assert list(error.value.errors) == ["block_ids"]

    def test_one_block_is_no_merger(self, cast, halves):
        with pytest.raises(BadInput):
            self.merge(cast, halves[:1])

    def test_another_farms_block_is_unknown(self, cast, halves):
        from farmops.errors import Unknown

        with pytest.raises(Unknown):
            self.merge(cast, [halves[0], BlockFactory(farm=cast.other_farm)])


@pytest.mark.django_db
class TestLineage:
    def test_history_follows_the_ground_through_split_and_merge(self, cast, block):
        west, east = split(cast, block)
        again = reshape.merge_blocks(
            member=cast.manager, block_ids=[west.pk, east.pk], name="Whole again", code="S9", now=NOW
        )
        shares = queries.shared_history(cast.farm, [west, again])
        assert set(shares[west.pk]) == {west.pk, block.pk}
        assert {pk: round(share, 3) for pk, share in shares[again.pk].items()} == {
            again.pk: 1, block.pk: 1, west.pk: Decimal("0.5"), east.pk: Decimal("0.5"),
        }  # fmt: skip
        assert [b.pk for b in queries.heirs(cast.farm, [block])[block.pk]] == [again.pk]
        assert queries.heirs(cast.farm, [again]) == {again.pk: []}

    def test_an_ancestor_elsewhere_is_left_out(self, cast, block):
        """West was split again: its eastern half came from the same grandparent, not from the same ground."""
        west, east = split(cast, block)
        thirds = [
            box(WEST, SOUTH, WEST + 0.0005, SOUTH + 0.002),
            box(WEST + 0.0005, SOUTH, WEST + 0.001, SOUTH + 0.002),
        ]
        one, two = reshape.split_block(
            member=cast.manager, block_id=west.pk, pieces=pieces(thirds, ("W1", "W2")), now=NOW
        )
        assert set(queries.shared_history(cast.farm, [one])[one.pk]) == {one.pk, west.pk, block.pk}
        assert [b.pk for b in queries.heirs(cast.farm, [block])[block.pk]] == [east.pk, one.pk, two.pk]

    def test_ground_that_never_changed_costs_no_query(self, cast, block, django_assert_num_queries):
        with django_assert_num_queries(0):
            assert queries.shared_history(cast.farm, [block]) == {block.pk: {block.pk: 1}}


@pytest.mark.django_db
class TestDoors:
    def test_split_over_the_api(self, cast, api, block):
        body = {"pieces": pieces(), "version": block.version}
        said = api(cast.manager).post(f"/api/v1/farms/{cast.farm.slug}/blocks/{block.pk}/split/", body, format="json")
        assert said.status_code == 201, said.content
        assert [b["code"] for b in said.json()["blocks"]] == ["W", "E"]

    def test_merge_and_history_over_the_api(self, cast, api, block):
        west, east = split(cast, block)
        client, root = api(cast.manager), f"/api/v1/farms/{cast.farm.slug}/blocks/"
        body = {"block_ids": [west.pk, east.pk], "name": "Whole", "code": "S1"}
        made = client.post(root + "merge/", body, format="json").json()
        told = client.get(f"{root}{made['id']}/ground-history/").json()["blocks"]
        assert {(b["code"], b["share"]) for b in told if b["block_id"] in {made["id"], block.pk}} == {
            ("S1", "1.000000")
        }
        assert {b["block_id"] for b in told} == {made["id"], block.pk, west.pk, east.pk}

    def test_split_on_the_page_along_a_line(self, cast, browser_client, block):
        typed = {
            "line": f"{SOUTH - 0.001}, {WEST + 0.001}\n{SOUTH + 0.003}, {WEST + 0.001}",
            "west_name": "West", "west_code": "W", "east_name": "East", "east_code": "E", "version": block.version,
        }  # fmt: skip
        said = browser_client(cast.manager).post(f"/f/{cast.farm.slug}/blocks/{block.pk}/split/", typed)
        assert (said.status_code, said["Location"]) == (302, f"/f/{cast.farm.slug}/fields/")
        assert [b.code for b in queries.blocks(cast.farm)] == ["E", "W"]

    def test_merge_on_the_page(self, cast, browser_client, block):
        west, east = split(cast, block)
        typed = {"block_ids": [west.pk, east.pk], "name": "Whole", "code": "S1"}
        said = browser_client(cast.manager).post(f"/f/{cast.farm.slug}/fields/{block.field_id}/merge/", typed)
        assert said.status_code == 302, said.content.decode()
        assert [b.code for b in queries.blocks(cast.farm)] == ["S1"]
