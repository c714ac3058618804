"""Rows to facts: the same answers as the rules, for many blocks in a constant number of queries."""

from __future__ import annotations

from datetime import date

import pytest

from apps.crops import queries
from apps.crops.rules import Bloom, CropFacts, NextCrop
from farmops.errors import Unknown
from tests.factories.crops import (
    RECORDED_AT,
    CropFactory,
    PlantingEventFactory,
    PlantingFactory,
    ScoutingNoteFactory,
)
from tests.factories.land import BlockFactory

pytestmark = pytest.mark.django_db
DAY = date(2026, 7, 20)


def clover(farm, **more):
    crop = CropFactory(
        farm=farm, code="crimson_clover", name="Crimson clover", family="fabaceae", days_to_first_flower=None
    )
    return PlantingFactory(farm=farm, crop=crop, purpose="cover", **more)


def test_the_crop_of_each_block(cast):
    cash, cover, bare = BlockFactory.create_batch(3, farm=cast.farm)
    squash = PlantingFactory(
        farm=cast.farm,
        block=cash,
        sown_on=date(2026, 6, 1),
        harvest_from=date(2026, 9, 10),
        harvest_to=date(2026, 10, 20),
    )
    clover(cast.farm, block=cash, sown_on=date(2025, 9, 12), terminated_on=date(2026, 5, 12))
    clover(cast.farm, block=cover, sown_on=date(2026, 7, 1), first_flower_on=date(2026, 9, 1))
    PlantingFactory(farm=cast.farm, block=cover, planned_on=date(2027, 6, 1))
    ScoutingNoteFactory(block=cash, looked_on=date(2026, 7, 18), crop_in_bloom="no", stage=65)
    found = queries.crop_facts([cash, cover, bare], DAY)
    assert found[cash.pk] == CropFacts(
        site_code="winter_squash",
        crop_name="Winter squash",
        planted_on=date(2026, 6, 1),
        harvest_from=date(2026, 9, 10),
        harvest_to=date(2026, 10, 20),
        bloom=Bloom.NO,
        bloom_because=found[cash.pk].bloom_because,
        stage=65,
        stage_days=2,
    )
    assert found[cover.pk] == CropFacts(
        site_code="fallow_cover",
        crop_name="Crimson clover",
        is_cover=True,
        planted_on=date(2026, 7, 1),
        bloom_because=found[cover.pk].bloom_because,
        next_crops=(NextCrop(site_code="winter_squash", planted_on=date(2027, 6, 1), harvested=True),),
    )
    assert found[bare.pk] == CropFacts(bloom_because=found[bare.pk].bloom_because)
    assert [step.planting_id for step in queries.sequences([cash])[cash.pk]][-1] == squash.pk


@pytest.mark.parametrize(
    ("day", "bloom"), [(date(2026, 7, 10), Bloom.NO), (date(2026, 7, 11), Bloom.UNKNOWN)], ids=["day 39", "day 40"]
)
def test_the_crops_days_to_first_flower_count_from_sowing(cast, day, bloom):
    row = PlantingFactory(farm=cast.farm, sown_on=date(2026, 6, 1))
    assert queries.crop_facts([row.block], day)[row.block_id].bloom is bloom


def test_a_transplant_is_not_counted_from_its_planting_day(cast):
    row = PlantingFactory(farm=cast.farm, sown_on=date(2026, 6, 1), started_as="transplant")
    assert queries.crop_facts([row.block], date(2026, 6, 2))[row.block_id].bloom is Bloom.UNKNOWN


def test_a_stated_flower_day_comes_forward_with_an_early_sowing(cast):
    row = PlantingFactory(
        farm=cast.farm, planned_on=date(2026, 6, 10), sown_on=date(2026, 6, 1), first_flower_on=date(2026, 7, 20)
    )
    assert queries.as_fact(queries.planting(cast.farm, row.pk)).first_flower_on == date(2026, 7, 11)


def test_what_was_withdrawn_or_called_off_tells_nothing(cast):
    row = PlantingFactory(farm=cast.farm, sown_on=date(2026, 6, 1))
    PlantingEventFactory(planting=row, kind="bloom_start", on=date(2026, 6, 20), withdrawn_at=RECORDED_AT)
    ScoutingNoteFactory(block=row.block, crop_in_bloom="yes", withdrawn_at=RECORDED_AT)
    PlantingFactory(farm=cast.farm, block=row.block, planned_on=date(2026, 6, 5), called_off_at=RECORDED_AT)
    found = queries.crop_facts([row.block], date(2026, 7, 1))[row.block_id]
    assert (found.bloom, found.planted_on) == (Bloom.NO, date(2026, 6, 1))


@pytest.mark.parametrize("count", [1, 8])
def test_many_blocks_cost_three_queries(cast, django_assert_num_queries, count):
    blocks = BlockFactory.create_batch(count, farm=cast.farm)
    for block in blocks:
        clover(cast.farm, block=block, sown_on=date(2025, 9, 12), terminated_on=date(2026, 5, 12))
        PlantingFactory(farm=cast.farm, block=block, sown_on=date(2026, 6, 1))
        ScoutingNoteFactory(block=block, crop_in_bloom="yes")
    with django_assert_num_queries(3):
        found = queries.crop_facts(blocks, DAY)
    assert {facts.bloom for facts in found.values()} == {Bloom.YES}
    with django_assert_num_queries(2):
        assert {len(steps) for steps in queries.sequences(blocks).values()} == {2}


def test_no_blocks_no_queries(django_assert_num_queries):
    with django_assert_num_queries(0):
        assert queries.crop_facts([], DAY) == {}


def test_another_farms_rows_are_unknown(cast):
    row = PlantingFactory(farm=cast.other_farm)
    note = ScoutingNoteFactory(block=row.block)
    for read in (
        lambda: queries.planting(cast.farm, row.pk),
        lambda: queries.crop(cast.farm, row.crop_id),
        lambda: queries.note(cast.farm, note.pk),
    ):
        with pytest.raises(Unknown):
            read()


def test_two_farms_blocks_do_not_mix(cast):
    mine, theirs = (
        PlantingFactory(farm=cast.farm, sown_on=date(2026, 6, 1)),
        clover(cast.other_farm, sown_on=date(2026, 6, 2)),
    )
    found = queries.crop_facts([mine.block, theirs.block], DAY)
    assert [found[row.block_id].site_code for row in (mine, theirs)] == ["winter_squash", "fallow_cover"]
