"""What labels, checks and the board are told about the crop on a block."""

from __future__ import annotations

from typing import Any

import pytest

from apps.crops.rules import Bloom, CropFacts, Look, NextCrop, PlantingFact, crop_facts_of, read_stage
from farmops.errors import BadInput
from tests.crops.stories import HARVEST_END, HARVEST_START, SOWN, TERMINATED, clover, look, maybe, on, squash

COVER = clover((SOWN, "2025-09-10"), (TERMINATED, "05-12"))
RYE = clover((SOWN, "2025-09-10"), id=4, crop_code="cereal_rye", crop_name="Cereal rye")
CASH = squash((SOWN, "06-01"), harvest_from=on("09-10"), harvest_to=on("10-20"))
SQUASH_NEXT = NextCrop(site_code="winter_squash", planted_on=on("06-01"), harvested=True)

ON_A_DAY: dict[str, tuple[list[PlantingFact], str, dict[str, Any]]] = {
    "empty ground": ([], "07-01", {}),
    "only a cover crop lives": (
        [COVER, CASH],
        "04-01",
        {
            "site_code": "fallow_cover",
            "crop_name": "Crimson clover",
            "is_cover": True,
            "planted_on": on("2025-09-10"),
            "next_crops": (SQUASH_NEXT,),
        },
    ),
    "two covers together": (
        [RYE, COVER],
        "04-01",
        {
            "site_code": "fallow_cover",
            "crop_name": "Crimson clover + Cereal rye",
            "is_cover": True,
            "planted_on": on("2025-09-10"),
        },
    ),
    "between cover and crop": ([COVER, CASH], "05-28", {"next_crops": (SQUASH_NEXT,)}),
    "cash crop": (
        [COVER, CASH],
        "06-20",
        {
            "site_code": "winter_squash",
            "crop_name": "Winter squash",
            "planted_on": on("06-01"),
            "harvest_from": on("09-10"),
            "harvest_to": on("10-20"),
        },
    ),
    "cash crop sown into a living cover": (
        [clover((SOWN, "2025-09-10"), flower="07-01"), CASH],
        "06-01",
        {
            "site_code": "winter_squash",
            "crop_name": "Winter squash",
            "planted_on": on("06-01"),
            "harvest_from": on("09-10"),
            "harvest_to": on("10-20"),
        },
    ),
    "only planned": (
        [squash()],
        "06-20",
        {
            "site_code": "winter_squash",
            "crop_name": "Winter squash",
            "planted_on": on("06-01"),
            "planted_is_plan": True,
        },
    ),
    "harvest begun early": (
        [squash((SOWN, "06-01"), (HARVEST_START, "07-01"), harvest_from=on("09-10"), harvest_to=on("10-20"))],
        "06-20",
        {
            "site_code": "winter_squash",
            "crop_name": "Winter squash",
            "planted_on": on("06-01"),
            "harvest_from": on("07-01"),
            "harvest_to": on("10-20"),
        },
    ),
    "harvested to the end": ([squash((SOWN, "04-01"), (HARVEST_END, "06-10"), flower="07-10")], "06-11", {}),
    "what follows, cover and cash": (
        [CASH, RYE, clover(planned="10-25", flower=None, id=7), squash(planned="2027-06-01", flower=None, id=8)],
        "06-20",
        {
            "site_code": "winter_squash",
            "crop_name": "Winter squash",
            "planted_on": on("06-01"),
            "harvest_from": on("09-10"),
            "harvest_to": on("10-20"),
            "bloom": Bloom.UNKNOWN,
            "next_crops": (
                NextCrop(site_code="crimson_clover", planted_on=on("10-25"), harvested=False),
                NextCrop(site_code="winter_squash", planted_on=on("2027-06-01"), harvested=True),
            ),
        },
    ),
}


@pytest.mark.parametrize(("plantings", "day", "told"), ON_A_DAY.values(), ids=ON_A_DAY.keys())
def test_the_crop_on_a_day(plantings: list[PlantingFact], day: str, told: dict[str, Any]) -> None:
    found = crop_facts_of(plantings, [], on(day))
    assert found == CropFacts(**told, bloom_because=found.bloom_because)


def test_order_of_rows_does_not_matter() -> None:
    rows = [COVER, CASH, RYE]
    assert crop_facts_of(rows, [], on("06-20")) == crop_facts_of(rows[::-1], [], on("06-20"))


@pytest.mark.parametrize(
    ("looks", "stage"),
    [
        ([], None),
        ([look("04-20", stage=31)], 31),
        ([look("04-20", stage=31), look("05-01", stage=61)], 61),
        ([look("04-20", stage=31), look("05-01")], 31),
        ([look("04-20", stage=31), look("05-20", stage=75)], 31),
        ([look("2025-09-01", stage=75)], None),
        ([look("04-20", stage=31, planting_id=99)], None),
    ],
    ids=[
        "never read",
        "read",
        "latest wins",
        "a note without stage",
        "a later day",
        "before it was sown",
        "another planting",
    ],
)
def test_the_latest_stage_of_what_stands(looks: list[Look], stage: int | None) -> None:
    assert crop_facts_of([RYE], looks, on("05-10")).stage == stage


@pytest.mark.parametrize(
    ("today", "site", "bloom"),
    [
        (None, "winter_squash", Bloom.UNKNOWN),
        ("04-01", "winter_squash", Bloom.NO),
        ("05-20", "winter_squash", Bloom.UNKNOWN),
    ],
    ids=["nobody knows today", "planned ahead", "termination overdue"],
)
def test_plans_ahead_are_believed_only_with_today(today: str | None, site: str, bloom: Bloom) -> None:
    """A cover due to be killed in May does not put a June job in bloom, unless it should be dead by now and is not."""
    cover = clover((SOWN, "2025-09-10"), terminate_planned_on=on("05-10"))
    found = crop_facts_of([cover, squash()], [], on("06-15"), today=maybe(today))
    assert (found.site_code, found.bloom) == (site, bloom)


@pytest.mark.parametrize(("typed", "stage"), [("61", 61), (0, 0), ("", None), (None, None), (" 99 ", 99)])
def test_zadoks_stages_are_read(typed: object, stage: int | None) -> None:
    assert read_stage(typed) == stage


@pytest.mark.parametrize("typed", ["100", "-1", "6.1", "10.5.4", "boot", "²", "٣"])
def test_zadoks_stages_refused(typed: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_stage(typed)
    assert refused.value.errors == {"stage": ["Zadoks stage must be a whole number from 0 to 99."]}
