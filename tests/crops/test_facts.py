"""What labels, checks and the board are told about the crop on a block."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from apps.crops.rules import (
    Bloom,
    CropFacts,
    Look,
    NextCrop,
    PlantingFact,
    Seen,
    crop_facts_of,
    read_height,
    read_stage,
    read_stage_code,
)
from apps.crops.rules.stages import earlier, is_stage, later, reached, stages_in_order
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


def test_of_two_cash_crops_the_later_one_stands() -> None:
    """The corn was never written off: the block is the squash's all the same, and squash alone is its name."""
    corn = squash((SOWN, "04-20"), id=9, crop_code="sweet_corn", crop_name="Sweet corn", planned="04-20")
    found = crop_facts_of([CASH, corn], [], on("06-20"))
    assert (found.site_code, found.crop_name, found.planted_on) == ("winter_squash", "Winter squash", on("06-01"))


def test_the_reasons_come_with_the_answer() -> None:
    found = crop_facts_of([CASH, clover((SOWN, "2025-09-10"), flower="07-20")], [look("07-12", "no")], on("07-15"))
    assert (found.bloom, [note.code for note in found.bloom_because]) == (
        Bloom.NO,
        ["before_first_flower", "looked_no_bloom"],
    )


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


@pytest.mark.parametrize(
    ("typed", "code"),
    [("BBCH 61", "b61"), ("b07", "b7"), ("First flower", "first_flower"), ("v6", "v6"), ("", ""), (None, "")],
)
def test_named_and_bbch_stages_are_read(typed: object, code: str) -> None:
    assert read_stage_code(typed) == code


@pytest.mark.parametrize("typed", ["bbch", "b100", "boot", "61"])
def test_other_words_are_no_stage(typed: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_stage_code(typed)
    said = "Name a growth stage from the list, or a BBCH number from 0 to 99."
    assert refused.value.errors == {"stage_code": [said]}


@pytest.mark.parametrize(
    ("typed", "height"), [("12", "12"), ("0", "0"), ("0.5", "0.5"), ("12.5", "12.5"), ("", None), (None, None)]
)
def test_heights_are_read(typed: object, height: str | None) -> None:
    assert read_height(typed) == (None if height is None else Decimal(height))


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("tall", "“tall” must be a number, like 1.5."),
        ("-1", "Must be 0 or more."),
        ("241", "Must be 240 or less."),
        ("1.25", "Use 1 decimal at most."),
    ],
)
def test_heights_refused(typed: str, said: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_height(typed)
    assert refused.value.errors == {"height_in": [said]}


def test_what_was_read_last_counts_with_its_age() -> None:
    looks = [
        Look(on=on("06-20"), stage_code="leaf_3", height_in=Decimal(8), all_mature=Seen.NO),
        Look(on=on("06-25"), stage_code="first_flower"),
        Look(on=on("07-01"), height_in=Decimal("20.5"), stage=30, all_mature=Seen.YES),
        Look(on=on("07-20"), stage_code="mature"),
    ]
    found = crop_facts_of([squash()], looks, on("07-05"))
    assert (found.stage_code, found.stage_code_days, found.height_in, found.height_days) == (
        "first_flower",
        10,
        Decimal("20.5"),
        4,
    )
    assert (found.stage, found.stage_days, found.all_mature) == (30, 4, True)
    assert crop_facts_of([squash()], looks[:1], on("07-05")).all_mature is False
    assert crop_facts_of([squash()], [], on("07-05")).all_mature is None


def test_a_single_look_and_one_of_the_same_day_count() -> None:
    look = Look(on=on("07-05"), stage_code="leaf_3", height_in=Decimal(8))
    found = crop_facts_of([squash()], [look], on("07-05"))
    assert (found.stage_code, found.stage_code_days, found.height_in, found.height_days) == ("leaf_3", 0, Decimal(8), 0)
    three = [Look(on=on(f"07-0{n}"), stage_code=f"leaf_{n}", height_in=Decimal(n)) for n in (1, 2, 3)]
    found = crop_facts_of([squash()], three, on("07-05"))
    assert (found.stage_code, found.height_in, found.crop_name) == ("leaf_3", Decimal(3), squash().crop_name)
    assert found.bloom_because != ()


def test_the_order_of_two_limits() -> None:
    """Of two uses of a label: the earlier end, the later beginning; what cannot be ordered stays."""
    assert [earlier("mature", "first_flower"), earlier("first_flower", "mature"), earlier(None, "silk")] == [
        "first_flower",
        "first_flower",
        "silk",
    ]
    assert [later("mature", "first_flower"), later("first_flower", "mature"), later("silk", None)] == [
        "mature",
        "mature",
        "silk",
    ]
    assert (earlier("silk", "first_flower"), reached("z7", "z07")) == ("silk", True)


def test_stages_of_two_scales_are_not_compared() -> None:
    """From memory: BBCH 61 is the beginning of flowering; names and numbers are kept apart all the same."""
    assert [reached("b61", "b60"), reached("b59", "b60"), reached("b61", "z61"), reached("b61", "first_flower")] == [
        True,
        False,
        None,
        None,
    ]
    assert is_stage("b61") and not is_stage("b100") and "first_flower" in stages_in_order()


@pytest.mark.parametrize("typed", ["100", "-1", "6.1", "10.5.4", "boot", "²", "٣"])
def test_zadoks_stages_refused(typed: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_stage(typed)
    assert refused.value.errors == {"stage": ["Zadoks stage must be a whole number from 0 to 99."]}
