"""The shipped thresholds held fast: number, what it is counted on, whose word, and that each has its Spanish.

A second writing-down of ``thresholds.py``, whose rows name the published sources: it notices a number that is changed
by accident, not one that was read wrongly at the source.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from apps.crops.rules import SHIPPED, Measure, Surety, Unit
from apps.crops.rules.thresholds import LEAF_WALK, MARYLAND_WALK, TRAP_WALK
from tests.catalogue import SPANISH

LARGE = {"pumpkin", "winter_squash", "summer_squash", "zucchini", "gourd"}
ALL = LARGE | {"watermelon", "muskmelon", "cucumber"}

# code: (pest, measured as, on, act from, crops, whose word)
PUBLISHED = {
    "powdery_mildew_leaves": ("powdery_mildew", Measure.FOUND, Unit.LEAF, "1", ALL, "McGrath"),
    "beetles_cotyledon": ("cucumber_beetle", Measure.PER_UNIT, Unit.PLANT, "0.5", ALL, "Ohio State"),
    "beetles_1_4_leaves": ("cucumber_beetle", Measure.PER_UNIT, Unit.PLANT, "1", ALL, "Ohio State"),
    "beetles_wilt_host": (
        "cucumber_beetle", Measure.PER_UNIT, Unit.PLANT, "1", {"muskmelon", "cucumber"}, "Purdue"),
    "beetles_established": (
        "cucumber_beetle", Measure.PER_UNIT, Unit.PLANT, "5", LARGE | {"watermelon"}, "Purdue"),
    "squash_bug_eggs": ("squash_bug", Measure.PER_UNIT, Unit.PLANT, "1", LARGE, "Delaware"),
    "vine_borer_bush": ("squash_vine_borer", Measure.PER_TRAP_WEEK, Unit.TRAP, "5", LARGE, "New Hampshire"),
    "vine_borer_vining": ("squash_vine_borer", Measure.PER_TRAP_WEEK, Unit.TRAP, "12", LARGE, "New Hampshire"),
    "mites_crowns": ("spider_mites", Measure.SHARE, Unit.CROWN, "20", ALL, "Delaware"),
    "melon_aphid_plants": ("melon_aphid", Measure.SHARE, Unit.PLANT, "20", ALL, "from memory"),
    "earworm_silk": ("corn_earworm", Measure.PER_TRAP_NIGHT, Unit.TRAP, "1", {"sweet_corn"}, "Purdue"),
    "earworm_green_silk_near": ("corn_earworm", Measure.PER_TRAP_NIGHT, Unit.TRAP, "10", {"sweet_corn"}, "Purdue"),
    "armyworm_mid_whorl": ("fall_armyworm", Measure.SHARE, Unit.PLANT, "30", {"sweet_corn"}, "Delaware"),
    "armyworm_tassel_push": ("fall_armyworm", Measure.SHARE, Unit.PLANT, "15", {"sweet_corn"}, "Delaware"),
    "tassel_worms": ("european_corn_borer", Measure.SHARE, Unit.TASSEL, "15", {"sweet_corn"}, "Delaware"),
}  # fmt: skip


def test_nothing_is_shipped_that_is_not_written_down_here():
    assert set(SHIPPED) == set(PUBLISHED)
    assert all(rule.code == code for code, rule in SHIPPED.items())


@pytest.mark.parametrize("code", PUBLISHED)
def test_a_threshold_is_as_published(code):
    rule = SHIPPED[code]
    pest, measure, unit, treat_at, crops, whose = PUBLISHED[code]

    assert (rule.pest, rule.measure, rule.unit, rule.treat_at) == (pest, measure, unit, Decimal(treat_at))
    assert (set(rule.crops), len(rule.crops)) == (crops, len(crops))
    assert whose in rule.source
    assert (rule.surety is Surety.FROM_MEMORY) is (whose == "from memory")
    assert rule.hold_days is None


@pytest.mark.parametrize("code", PUBLISHED)
def test_the_walk_goes_with_what_is_looked_at(code):
    """Plants: ten at five places (Maryland 2009). Leaves: 45 to 50 (McGrath), five at ten places. Traps: each."""
    rule = SHIPPED[code]
    walks = {
        Unit.LEAF: (45, 1, 10, 5, LEAF_WALK),
        Unit.TRAP: (1, 1, 2, 1, TRAP_WALK),
        **dict.fromkeys((Unit.PLANT, Unit.CROWN, Unit.TASSEL), (50, 5, 5, 10, MARYLAND_WALK)),
    }

    assert (rule.sample_min, rule.places_min, rule.places, rule.per_place, rule.walk) == walks[rule.unit]


@pytest.mark.parametrize("code", PUBLISHED)
def test_name_time_and_walk_have_their_spanish(code):
    rule = SHIPPED[code]

    assert [words for words in (rule.name, rule.when, rule.walk) if not SPANISH.get(words)] == []


def test_thresholds_of_one_pest_are_told_apart():
    """Two rows of one pest differ in when they hold, or nobody could choose between them."""
    seen = [(rule.pest, rule.when, rule.crops) for rule in SHIPPED.values()]

    assert len(set(seen)) == len(seen)
