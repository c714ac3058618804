"""Water, growth stage, planting after use, from both ends. Limits of the invented library."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from apps.crops.rules import NextCrop
from apps.products.rules import read_label
from apps.spraying.rules import check, may_plant
from apps.spraying.rules.caps import add_months
from apps.spraying.rules.passed import passed_rules

from .mixes import LIBRARY, changed, facts, label_document, line, past, reasons, relabelled, said

CORN = {"crop": "sweet_corn", "harvest": "2026-08-20T08:00", "start": "2026-06-10T07:00", "end": "2026-06-10T08:00"}
COVER = {"crop": "fallow_cover", "harvest": None, "start": "2026-05-28T07:00", "end": "2026-05-28T08:00"}

WATER = [(66, [], []), ("65.9", ["buffer"], []), (0, ["buffer"], []), (None, [], ["buffer_unknown"])]


@pytest.mark.parametrize(("feet", "refusing", "asking"), WATER)
def test_distance_to_water(feet, refusing, asking):
    """H7: 66 ft."""
    assert reasons(facts([("H7", 2)], dist=feet, **CORN)) == (refusing, asking)


def test_water_not_mapped_is_no_matter_without_a_buffer():
    assert reasons(facts([("F1", 3)], dist=None)) == ([], [])


STAGE = [
    ("vegetative", [], []),
    ("first_male_flower", [], []),
    ("first_female_flower", ["stage"], []),
    ("fruit_set", ["stage"], []),
    (None, [], ["stage_unknown"]),
    ("silk", [], ["stage_unknown"]),  # a corn stage: cannot be put in order
]


@pytest.mark.parametrize(("stage", "refusing", "asking"), STAGE)
def test_growth_stage(stage, refusing, asking):
    """H3: before the first female flower."""
    given = facts([("H3", "0.75")], stage=stage, start="2026-07-10T07:00", end="2026-07-10T08:00")

    assert reasons(given) == (refusing, asking)


FROM = [("leaf_1", ["stage"], []), ("leaf_2", [], []), (None, [], ["stage_unknown"])]


@pytest.mark.parametrize(("stage", "refusing", "asking"), FROM)
def test_a_stage_may_also_be_the_beginning(stage, refusing, asking):
    two_leaves = relabelled("H3", "0.75", use={"stage_from": "leaf_2", "stage_before": None})
    given = changed(facts([], start="2026-07-10T07:00", end="2026-07-10T08:00"), lines=(two_leaves,), stage=stage)

    assert reasons(given) == (refusing, asking)


ZADOKS = [("z30", []), ("z31", ["stage"]), ("z37", ["stage"])]


@pytest.mark.parametrize(("stage", "refusing"), ZADOKS)
def test_cereal_stages_are_numbers(stage, refusing):
    before_node = relabelled("H1", "1.5", use={"stage_before": "z31"})

    assert reasons(changed(facts([], **COVER), lines=(before_node,), stage=stage)) == (refusing, [])


HEIGHT = [(12, [], []), ("12.5", ["stage"], []), (None, [], ["stage_unknown"])]


@pytest.mark.parametrize(("inches", "refusing", "asking"), HEIGHT)
def test_crop_height(inches, refusing, asking):
    low = relabelled("H7", 2, use={"crop_height_max_in": 12})
    height = None if inches is None else Decimal(str(inches))

    assert reasons(changed(facts([], **CORN), lines=(low,), crop_height_in=height)) == (refusing, asking)


SCALES = [
    # (named stage, other scale, limit before, refusing, asking); no source: the scales are not compared with each other
    ("b60", None, "b61", [], []),
    ("b61", None, "b61", ["stage"], []),
    ("b60", None, "z61", [], ["stage_unknown"]),
    ("first_flower", "z30", "z31", [], []),
    ("first_flower", "z31", "z31", ["stage"], []),
    ("fruit_set", "z10", "first_female_flower", ["stage"], []),
    ("b61", "z30", "first_female_flower", [], ["stage_unknown"]),
]


@pytest.mark.parametrize(("named", "other", "before", "refusing", "asking"), SCALES)
def test_a_label_may_name_any_scale(named, other, before, refusing, asking):
    limited = relabelled("H1", "1.5", use={"stage_before": before})
    given = changed(facts([], **COVER), lines=(limited,), stage=named, stage_also=other)

    assert reasons(given) == (refusing, asking)


TWO_SCALES = [
    # (stage on each scale, refusing, asking): one use stops at BBCH 61, the other at Zadoks 31; either may be meant
    ("b60", "z30", [], []),
    ("b60", "z31", ["stage"], []),
    ("b61", "z30", ["stage"], []),
    ("b60", None, [], ["stage_unknown"]),
    (None, "z30", [], ["stage_unknown"]),
    (None, "z31", ["stage"], []),
]


@pytest.mark.parametrize(("named", "other", "refusing", "asking"), TWO_SCALES)
def test_stages_that_cannot_be_put_in_order_both_hold(named, other, refusing, asking):
    """Project rule: with no target named each use may be meant."""
    body = {**label_document(LIBRARY["H1"])}
    row = next(use for use in body["uses"] if use["site_code"] == "fallow_cover")
    body["uses"] = [
        {**row, "targets": ["rye"], "stage_before": "b61"},
        {**row, "targets": ["vetch"], "stage_before": "z31"},
    ]
    both = line("H1", "1.5", label=read_label(body))
    given = changed(facts([], **COVER), lines=(both,), stage=named, stage_also=other)

    assert reasons(given) == (refusing, asking)
    passed = [row.rule for row in passed_rules(given) if row.rule == "stage"]
    assert passed == ([] if refusing or asking else ["stage"])


OLD = [
    (7, "vegetative", ([], [])),
    (8, "vegetative", ([], ["stage_unknown"])),  # it may have flowered since
    (8, "fruit_set", (["stage"], [])),  # it does not grow back
]


@pytest.mark.parametrize(("days", "stage", "expected"), OLD)
def test_an_old_look_cannot_tell_that_a_stage_is_not_reached(days, stage, expected):
    given = facts([("H3", "0.75")], stage=stage, start="2026-07-10T07:00", end="2026-07-10T08:00")

    assert reasons(changed(given, stage_days=days)) == expected


OLD_HEIGHT = [(7, 10, ([], [])), (8, 10, ([], ["stage_unknown"])), (8, 13, (["stage"], []))]


@pytest.mark.parametrize(("days", "inches", "expected"), OLD_HEIGHT)
def test_an_old_height_cannot_tell_that_it_is_low_enough(days, inches, expected):
    low = relabelled("H7", 2, use={"crop_height_max_in": 12})
    given = changed(facts([], **CORN), lines=(low,), crop_height_in=Decimal(inches), height_days=days)

    assert reasons(given) == expected


PREPLANT = [
    # H1: pumpkin 3 d, sweet corn 0 d
    ("three_days", "H1", "pumpkin", "2026-05-31", []),
    ("two_days", "H1", "pumpkin", "2026-05-30", ["preplant"]),
    ("same_day_corn", "H1", "sweet_corn", "2026-05-28", []),
    ("not_listed_takes_the_longest", "H1", "cucumber", "2026-05-30", ["preplant"]),
    ("not_listed_after_the_longest", "H1", "cucumber", "2026-05-31", []),
]


@pytest.mark.parametrize(("code", "crop", "on", "refusing"), [r[1:] for r in PREPLANT], ids=[r[0] for r in PREPLANT])
def test_days_before_planting(code, crop, on, refusing):
    assert reasons(facts([(code, "1.5")], plantdate=[crop, on], **COVER)) == (refusing, [])


def next_pumpkin(on, site="pumpkin", harvested=True):
    return (NextCrop(site_code=site, planted_on=date.fromisoformat(on), harvested=harvested),)


PLANTBACK = [
    # H5 on 10 June 2026: pumpkin 18 months, wheat for grain 4, sweet corn 0
    ("a_day_early", "H5", 3, next_pumpkin("2027-12-09"), ["plantback"], []),
    ("to_the_day", "H5", 3, next_pumpkin("2027-12-10"), [], []),
    ("same_crop", "H5", 3, next_pumpkin("2026-06-11", "sweet_corn"), [], []),
    ("wheat", "H5", 3, next_pumpkin("2026-10-09", "wheat_grain"), ["plantback"], []),
    ("not_listed_takes_the_longest", "H5", 3, next_pumpkin("2027-12-09", "spinach"), ["plantback"], []),
    ("no_limit_on_the_label", "F1", 3, next_pumpkin("2026-06-11"), [], []),
]


@pytest.mark.parametrize(
    ("code", "amount", "crops", "refusing", "asking"), [r[1:] for r in PLANTBACK], ids=[r[0] for r in PLANTBACK]
)
def test_planting_after_use(code, amount, crops, refusing, asking):
    given = changed(facts([(code, amount)], **{**CORN, "harvest": "2026-09-20T08:00"}), next_crops=crops)

    assert reasons(given) == (refusing, asking)


CLOMAZONE = [
    # H6 on 1 June 2026: any other crop 16 months; a cover any time, no harvest
    ("rye_cover", next_pumpkin("2026-10-05", "cereal_rye", False), [], ["plantback_cover"]),
    ("rye_for_grain", next_pumpkin("2026-10-05", "cereal_rye"), ["plantback"], []),
    ("rye_cover_after_16_months", next_pumpkin("2027-10-01", "cereal_rye", False), [], []),
    ("pumpkin_next_year", next_pumpkin("2027-06-01"), [], []),
]


@pytest.mark.parametrize(("crops", "refusing", "asking"), [r[1:] for r in CLOMAZONE], ids=[r[0] for r in CLOMAZONE])
def test_a_cover_that_is_never_harvested(crops, refusing, asking):
    """PNW Weed Management Handbook: all crops at 16 months; cover crop any time but not to be grazed or harvested."""
    given = facts([("H6", 21)], start="2026-06-01T07:00", end="2026-06-01T08:00")

    assert reasons(changed(given, next_crops=crops)) == (refusing, asking)


def test_several_next_crops_are_each_judged():
    crops = (*next_pumpkin("2026-10-05", "cereal_rye", False), *next_pumpkin("2027-06-01", "sweet_corn"))
    given = changed(facts([("H6", 21)], start="2026-06-01T07:00", end="2026-06-01T08:00"), next_crops=crops)

    assert reasons(given) == (["plantback"], ["plantback_cover"])


MONTHS = [
    (date(2026, 8, 31), 18, date(2028, 2, 29)),
    (date(2025, 8, 31), 18, date(2027, 2, 28)),
    (date(2026, 6, 10), 18, date(2027, 12, 10)),
    (date(2026, 12, 31), 2, date(2027, 2, 28)),
    (date(2026, 3, 31), -1, date(2026, 2, 28)),
    (date(2026, 1, 15), -12, date(2025, 1, 15)),
    (date(2026, 12, 1), 0, date(2026, 12, 1)),
]


@pytest.mark.parametrize(("day", "months", "expected"), MONTHS)
def test_calendar_months(day, months, expected):
    assert add_months(day, months) == expected


FROM_THE_OTHER_END = [
    ("pumpkin_too_early", "pumpkin", "2027-06-01", ["plantback"]),
    ("pumpkin_in_time", "pumpkin", "2027-12-10", []),
    ("corn", "sweet_corn", "2027-05-01", []),
]


@pytest.mark.parametrize(
    ("site", "on", "expected"), [r[1:] for r in FROM_THE_OTHER_END], ids=[r[0] for r in FROM_THE_OTHER_END]
)
def test_a_planting_is_judged_by_what_was_sprayed(site, on, expected):
    events = [past("2026-06-10", ("H5", 3), crop="sweet_corn")]

    assert [f.code for f in may_plant(events, next_pumpkin(on, site)[0])] == expected


def test_a_planting_soon_after_a_burndown():
    events = [past("2026-05-28", ("H1", "1.5"), crop="fallow_cover")]

    assert [[f.code for f in may_plant(events, next_pumpkin(on)[0])] for on in ("2026-05-30", "2026-05-31")] == [
        ["preplant"],
        [],
    ]


def test_the_sentence_says_until_when():
    given = changed(
        facts([("H5", 3)], **{**CORN, "harvest": "2026-09-20T08:00"}), next_crops=next_pumpkin("2027-06-01")
    )

    assert said(given, "plantback") == [
        "H5, sprayed Wed, Jun 10, 2026: 18 months before pumpkin, so not before Fri, Dec 10, 2027; "
        "planned for Tue, Jun 1, 2027."
    ]


def test_what_was_planted_before_the_spray_is_not_after_it():
    """A crop of the past neither waits nor is waited for, from either end."""
    burndown = changed(facts([("H1", "1.5")], **COVER), next_crops=next_pumpkin("2026-05-27"))
    carryover = changed(
        facts([("H5", 3)], **{**CORN, "harvest": "2026-09-20T08:00"}), next_crops=next_pumpkin("2026-06-09")
    )
    same_day = changed(carryover, next_crops=next_pumpkin("2026-06-10"))

    assert (reasons(burndown), reasons(carryover), reasons(same_day)) == (([], []), ([], []), (["plantback"], []))


def test_the_source_says_when_the_longest_interval_stands_in():
    base = facts([("H5", 3)], **{**CORN, "harvest": "2026-09-20T08:00"})
    burndown = facts([("H1", "1.5")], **COVER)

    def source(given, site, on):
        return [
            f.source
            for f in check(changed(given, next_crops=next_pumpkin(on, site)))
            if f.code in ("plantback", "preplant")
        ]

    listed, unlisted = source(base, "pumpkin", "2027-06-01"), source(base, "spinach", "2027-06-01")
    soon, soon_unlisted = source(burndown, "pumpkin", "2026-05-29"), source(burndown, "spinach", "2026-05-29")
    assert ["longest interval" in text for (text,) in (listed, unlisted, soon, soon_unlisted)] == [
        False,
        True,
        False,
        True,
    ]


def test_planting_on_the_day_of_the_burndown():
    assert reasons(changed(facts([("H1", "1.5")], **COVER), next_crops=next_pumpkin("2026-05-28"))) == (
        ["preplant"],
        [],
    )
