"""What is said of bees, water, stage, height and planting: the whole finding, and the limits to the day and the foot.

Limits of the invented library. Sources are those that the rules name; "project rule" is the house's own.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from apps.crops.rules import Bloom, NextCrop
from apps.spraying.rules import PRESETS, BloomNearby, check, may_plant
from apps.spraying.rules.ground import records_short, unread_before

from .mixes import changed, facts, line, past, reasons, relabelled
from .whole import placed, told, whole

DAY = {"start": "2026-08-04T09:30", "end": "2026-08-04T10:30"}
NIGHT = {"start": "2026-08-04T20:10", "end": "2026-08-04T21:10"}
NEAR = (BloomNearby(name="Squash 3", distance_ft=Decimal("120.5")), BloomNearby(name="Far", distance_ft=Decimal(301)))


def tank(*lines, bloom=Bloom.YES, **ctx):
    return changed(facts([], **ctx), lines=lines, bloom=bloom)


def own(given, limit):
    """The same facts where the farm has moved a number (to the one it was)."""
    return changed(given, policy=replace(given.policy, own_limits=frozenset({limit})))


def corn(**changes):
    base = tank(line("I5", 2), crop="sweet_corn", harvest="2026-09-20T08:00", start="2026-08-04T11:00",
                end="2026-08-04T12:00")  # fmt: skip
    return changed(base, policy=PRESETS["extension"], **changes)


CALIFORNIA = "University of California, bee precaution rating I; distance: project rule"
HIVES = "common practice, no source; project rule"
DELAWARE = "University of Delaware, Weekly Crop Update, sweet corn 2022: late morning to mid-afternoon or after dusk"
BEES = [
    ("nobody_knows_about_bloom", tank(line("I5", 4), bloom=Bloom.UNKNOWN, **DAY), "bloom_unknown",
     ("justify", "Nobody knows whether anything on Long Field 2 is in bloom, so it counts as bloom.", "project rule",
      "", "")),
    ("statement_not_read_off", tank(placed("F1", 3, "bee_statement", bee_class=None)), "bee_unknown",
     ("note", "F1: the bee statement is not on record, so the strictest one counts.",
      "label of F1, label 1, bee statement: ?, page 7", "", "F1")),
    ("never_in_bloom", tank(placed("I8", "5.5", "bee_statement", bee_statement="Do not apply while bees forage"),
                            **NIGHT), "bee_bloom",
     ("refuse", "I8 may not be sprayed while anything on Long Field 2 is in bloom, at any hour.",
      "label of I8, label 1, bee statement: Do not apply while bees forage, page 7", "", "I8")),
    ("not_by_day", tank(placed("I5", 4, "bee_statement"), **DAY), "bee_bloom",
     ("refuse", "I5 may not be sprayed by day while Long Field 2 is in bloom: Tue, Aug 4, 9:30 AM EDT is not night.",
      "label of I5, label 1, bee statement: ?, page 7", "start_at", "I5")),
    ("residue_at_night", tank(placed("I1", 3, "bee_statement"), **NIGHT), "bee_residual",
     ("justify", "I1: allowed at night, but its residue reaches the bees of the next morning's bloom.",
      "label of I1, label 1, bee statement: ?, page 7", "", "I1")),
    ("hours_of_the_crop", corn(), "bee_window",
     ("justify", "I5: bees keep other hours on sweet corn. Say who looked and saw none at Tue, Aug 4, 11:00 AM EDT.",
      DELAWARE, "start_at", "I5")),
    ("hours_of_a_crop_known_by_its_code", corn(crop_name=""), "bee_window",
     ("justify", "I5: bees keep other hours on sweet_corn. Say who looked and saw none at Tue, Aug 4, 11:00 AM EDT.",
      DELAWARE, "start_at", "I5")),
    ("drift_of_two", changed(facts([("I2", 4), ("I5", 4), ("I1", 3)]), bloom_nearby=NEAR), "bee_drift",
     ("justify", "Squash 3, 120.5 ft away, may be in bloom: keep the drift of I1, I2 off it.", CALIFORNIA, "",
      "I1, I2")),
    ("drift_within_the_farms_own_feet", own(changed(facts([("I1", 3)]), bloom_nearby=NEAR), "bee_drift_ft"),
     "bee_drift",
     ("justify", "Squash 3, 120.5 ft away, may be in bloom: keep the drift of I1 off it.",
      f"{CALIFORNIA}; the farm's own number", "", "I1")),
    ("hives", changed(facts([("I5", 4), ("F1", 3), ("I1", 3)]), hive_ft=Decimal("940.5")), "hives_near",
     ("note", "Hives stand 940.5 ft from Long Field 2: tell the beekeeper before I1, I5 goes out.", HIVES, "", "")),
    ("hives_within_the_farms_own_feet", own(changed(facts([("I1", 3)]), hive_ft=Decimal(940)), "hive_notice_ft"),
     "hives_near",
     ("note", "Hives stand 940 ft from Long Field 2: tell the beekeeper before I1 goes out.",
      f"{HIVES}; the farm's own number", "", "")),
]  # fmt: skip

JULY = {"start": "2026-07-10T07:00", "end": "2026-07-10T08:00"}
CORN = {"crop": "sweet_corn", "harvest": "2026-09-20T08:00", "start": "2026-06-10T07:00", "end": "2026-06-10T08:00"}
COVER = {"crop": "fallow_cover", "harvest": None, "start": "2026-05-28T07:00", "end": "2026-05-28T08:00"}


def tall(inches, **changes):
    low = placed("H7", 2, "crop_height_max_in", use={"crop_height_max_in": 12})
    return changed(facts([], **CORN), lines=(low,), crop_height_in=inches and Decimal(inches), **changes)


def staged(use, **changes):
    return changed(facts([], **JULY), lines=(placed("H3", "0.75", "stage_before", use=use),), **changes)


def following(given, site, on, harvested=True):
    crop = NextCrop(site_code=site, planted_on=date.fromisoformat(on), harvested=harvested)
    return changed(given, next_crops=(crop,))


STAGE = "label of H3, label 1, growth stage, page 7"
HEIGHT = "label of H7, label 1, crop height, page 7"
BEFORE_Z31 = {"stage_before": "z31"}
LONGEST = "a crop that is not listed takes the longest interval: UW-Madison NPM, herbicide rotation restrictions, 2015"
GROUND = [
    ("too_near_water", changed(facts([], dist="65.9", **CORN), lines=(placed("H7", 2, "buffer_ft"),)), "buffer",
     ("refuse", "H7 must stay 66 ft from water; Long Field 2 lies 65.9 ft from it.",
      "label of H7, label 1, distance to water, page 7", "", "H7")),
    ("water_not_mapped", changed(facts([], dist=None, **CORN), lines=(placed("H7", 2, "buffer_ft"),)),
     "buffer_unknown",
     ("justify", "H7 must stay 66 ft from water, and no water is mapped near Long Field 2. Is there none?",
      "label of H7, label 1, distance to water, page 7", "", "H7")),
    ("past_the_stage", staged({}, stage="fruit_set"), "stage",
     ("refuse", "H3: the crop is at fruit_set; the label allows it from – to before first_female_flower.", STAGE,
      "stage", "H3")),
    ("not_yet_at_the_stage", staged({"stage_from": "leaf_2", "stage_before": None}, stage="leaf_1"), "stage",
     ("refuse", "H3: the crop is at leaf_1; the label allows it from leaf_2 to before –.", STAGE, "stage", "H3")),
    ("past_the_stage_on_the_other_scale", staged(BEFORE_Z31, stage=None, stage_also="z37"), "stage",
     ("refuse", "H3: the crop is at z37; the label allows it from – to before z31.", STAGE, "stage", "H3")),
    ("no_stage_on_record", staged({"stage_from": "z10", **BEFORE_Z31}, stage=None), "stage_unknown",
     ("justify", "H3: the label allows it from z10 to before z31, and it is not known whether ? fits.", STAGE,
      "stage", "H3")),
    ("old_look", staged({}, stage="vegetative", stage_days=8), "stage_unknown",
     ("justify", "H3: the label allows it from – to before first_female_flower, and it is not known whether "
      "vegetative fits.", STAGE, "stage", "H3")),
    ("too_high", tall("12.5"), "stage",
     ("refuse", "H7: the crop is 12.5 in high, the label allows up to 12 in.", HEIGHT, "stage", "H7")),
    ("height_not_known", tall(None), "stage_unknown",
     ("justify", "H7 may only be used up to 12 in of crop height, and the height is not known.", HEIGHT, "", "H7")),
    # a look older than 7 days cannot tell that the limit itself is kept (project rule): it may have grown an inch
    ("old_height_at_the_limit", tall(12, height_days=8), "stage_unknown",
     ("justify", "H7 may only be used up to 12 in of crop height, and the height is not known.", HEIGHT, "", "H7")),
    ("before_planting", following(changed(facts([], **COVER), lines=(placed("H1", "1.5", "preplant_days"),)),
                                  "cucumber", "2026-05-30"), "preplant",
     ("refuse", "H1: 2 days before cucumber is planted on Sat, May 30, 2026; 3 days must lie between.",
      f"label of H1, label 1, {LONGEST}, page 7", "start_at", "H1")),
    ("after_use", following(changed(facts([], **CORN), lines=(placed("H5", 3, "plantback"),)), "spinach",
                            "2027-12-09"), "plantback",
     ("refuse", "H5, sprayed Wed, Jun 10, 2026: 18 months before spinach, so not before Fri, Dec 10, 2027; "
      "planned for Thu, Dec 9, 2027.", f"label of H5, label 1, {LONGEST}, page 7", "start_at", "H5")),
]  # fmt: skip


@pytest.mark.parametrize(
    ("given", "code", "expected"), [r[1:] for r in (*BEES, *GROUND)], ids=[r[0] for r in (*BEES, *GROUND)]
)
def test_the_whole_finding(given, code, expected):
    assert whole(given, code) == [expected]


def test_every_product_of_a_tank_speaks_for_itself():
    """I1 and I2 both ask for 25 ft of distance to water."""
    near = facts([("I1", 3), ("I2", 4)], dist=20)

    assert [f.subject for f in check(near) if f.code == "buffer"] == ["I1", "I2"]


STAR = [("star_to_the_day", "cucumber", "2026-06-04", []), ("star_a_day_early", "cucumber", "2026-06-03", [("7", "6")]),
        ("listed_waits_longer", "pumpkin", "2026-06-10", [("14", "13")])]  # fmt: skip


@pytest.mark.parametrize(("site", "on", "expected"), [r[1:] for r in STAR], ids=[r[0] for r in STAR])
def test_the_star_speaks_for_the_crops_that_are_not_listed(site, on, expected):
    """Sprayed on 28 May: any crop 7 days, pumpkin 14."""
    burndown = relabelled("H1", "1.5", preplant_days={"*": 7, "pumpkin": 14})
    given = following(changed(facts([], **COVER), lines=(burndown,)), site, on)

    assert [(f.numbers["limit"], f.numbers["days"]) for f in check(given) if f.code == "preplant"] == expected


JUNE_2027 = NextCrop(site_code="pumpkin", planted_on=date(2027, 6, 1), harvested=True)


def test_what_is_said_where_the_records_are_too_short_for_a_planting():
    found = records_short(date(2024, 6, 2), JUNE_2027, block_name="East 1")

    assert [f.code for f in found] == ["history_unknown"]
    assert told(found) == [
        ("justify", "A planting looks back to Sat, Jun 1, 2024; sprays on East 1 are on record from Sun, Jun 2, 2024. "
         "What was used before is not known.", "project rule", "planted_on", ""),
    ]  # fmt: skip


def test_what_is_said_where_the_label_of_a_past_spray_is_not_on_record():
    """36 calendar months before 1 June 2027 is 1 June 2024: that day still counts, the day before does not."""
    rows = {"F4": "2024-06-01", "F3": "2026-07-20", "F5": "2024-05-31"}
    events = [past(on, lines=(line(code, 5, label=None), line("F1", 3))) for code, on in rows.items()]

    assert told(unread_before(events, JUNE_2027, block_name="East 1")) == [
        ("justify", "Of F3, F4, used on East 1, no label is on record: what may follow is not known.", "project rule",
         "planted_on", ""),
    ]  # fmt: skip


def test_a_planting_says_the_same_sentence_as_the_spray_and_names_its_own_field():
    event = past("2026-06-10", crop="sweet_corn", lines=(placed("H5", 3, "plantback"),))

    assert told(may_plant([event], JUNE_2027)) == [
        ("refuse", "H5, sprayed Wed, Jun 10, 2026: 18 months before pumpkin, so not before Fri, Dec 10, 2027; "
         "planned for Tue, Jun 1, 2027.", "label of H5, label 1, planting after use, page 7", "planted_on", "H5"),
    ]  # fmt: skip


def test_a_spray_without_bees_to_harm_says_nothing_of_hives_or_neighbours():
    given = changed(facts([("F1", 3)]), bloom=Bloom.UNKNOWN, bloom_nearby=NEAR, hive_ft=Decimal(10))

    assert reasons(given) == ([], [])
    assert {f.code for f in check(given)} & {"hives_near", "bee_drift", "bloom_unknown"} == set()
