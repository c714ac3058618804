"""Cover crops at their stage or their planned end, and harvests that begin, told to the managers."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from apps.crops.due import due, next_due
from tests.factories.crops import PlantingEventFactory, PlantingFactory, ScoutingNoteFactory
from tests.factories.land import BlockFactory

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 5, 20, 17, 0, tzinfo=UTC)
TODAY = date(2026, 5, 20)


@pytest.fixture
def block(cast):
    return BlockFactory(farm=cast.farm, code="R1", name="Rye")


def cover(cast, block, **more):
    given = {"purpose": "cover", "sown_on": date(2025, 9, 20), "planned_on": date(2025, 9, 20), **more}
    return PlantingFactory(farm=cast.farm, block=block, **given)


def said(cast, now=NOON) -> list[tuple[str, str]]:
    return [(d.kind, d.occasion) for d in due(cast.farm, now)]


# Zadoks 61 to 69 is flowering, when a rolled cereal stays down (from memory).
@pytest.mark.parametrize(("stage", "expected"), [(55, []), (60, []), (61, ["flowering"]), (69, ["flowering"])])
def test_a_cover_crop_that_flowers_is_told(cast, block, stage, expected):
    cover(cast, block)
    ScoutingNoteFactory(farm=cast.farm, block=block, looked_on=TODAY - timedelta(days=2), stage=stage)
    assert said(cast) == [("cover_stage", occasion) for occasion in expected]


def test_it_goes_to_the_managers_with_stage_and_day(cast, block):
    cover(cast, block)
    ScoutingNoteFactory(farm=cast.farm, block=block, looked_on=TODAY, stage=65)
    (found,) = due(cast.farm, NOON)
    assert (found.person_ids, found.numbers["stage"], found.numbers["date"]) == ([cast.manager.person_id], "65", TODAY)


def test_the_newest_look_counts_and_an_ended_one_says_nothing(cast, block):
    planting = cover(cast, block)
    ScoutingNoteFactory(farm=cast.farm, block=block, looked_on=TODAY - timedelta(days=3), stage=65)
    ScoutingNoteFactory(farm=cast.farm, block=block, looked_on=TODAY - timedelta(days=1), stage=59)
    assert said(cast) == []
    ScoutingNoteFactory(farm=cast.farm, block=block, looked_on=TODAY, stage=66)
    assert said(cast) == [("cover_stage", "flowering")]
    PlantingEventFactory(farm=cast.farm, planting=planting, kind="terminated", on=TODAY)
    assert said(cast) == []


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        (8, []),
        (7, [("cover_stage", "7 days before 2026-05-28")]),
        (0, [("cover_stage", "0 days before 2026-05-28")]),
        (-14, [("cover_stage", "0 days before 2026-05-28")]),
        (-15, []),
    ],
)
def test_a_planned_end_is_told_a_week_ahead_and_on_the_day(cast, block, days, expected):
    cover(cast, block, terminate_planned_on=date(2026, 5, 28))
    assert said(cast, NOON + timedelta(days=8 - days)) == expected


@pytest.mark.parametrize(("ahead", "told"), [(4, 0), (3, 1), (0, 1), (-14, 1), (-15, 0)])
def test_a_harvest_that_is_expected_is_told_three_days_ahead(cast, block, ahead, told):
    begins = TODAY + timedelta(days=ahead)
    PlantingFactory(
        farm=cast.farm,
        block=block,
        sown_on=date(2026, 3, 1),
        harvest_from=begins,
        harvest_to=begins + timedelta(days=30),
    )
    assert said(cast) == [("harvest_begins", f"harvest {begins}")] * told


def test_a_harvest_that_has_begun_is_not(cast, block):
    planting = PlantingFactory(farm=cast.farm, block=block, sown_on=date(2026, 3, 1), harvest_from=TODAY)
    PlantingEventFactory(farm=cast.farm, planting=planting, kind="harvest_start", on=TODAY)
    assert said(cast) == []


def test_it_is_asked_again_when_the_farms_date_changes(cast):
    assert next_due(cast.farm, NOON) == datetime(2026, 5, 21, 5, 0, tzinfo=UTC)
