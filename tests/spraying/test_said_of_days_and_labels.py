"""What is said of days, labels, sprayer and houses: the whole finding. Limits of the invented library."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from apps.products.rules import read_label
from apps.spraying.rules import SprayerFact, check
from apps.spraying.rules.enclosed import LAW, Inside, in_buildings

from .mixes import LIBRARY, changed, facts, label_document, line, notes, past, reasons, relabelled
from .test_check_means import two_uses
from .whole import placed, told, whole


def tank(*lines, history=(), **ctx):
    return changed(facts([], history, **ctx), lines=lines)


COUNTING = "project rule: full days of 24 hours after the end, never earlier than the calendar"
HARVEST = [
    ("wait_not_on_record", tank(placed("F1", 3, "phi_days", use={"phi_days": None})), "phi_unknown",
     ("justify", "F1: the days before harvest are not on record for this crop. Unknown is not zero.",
      "label of F1, label 1, days before harvest, page 7", "", "F1")),
    ("no_harvest_planned", facts([("F3", 6)], harvest=None), "harvest_unknown",
     ("note", "No harvest is planned on Long Field 2, so the days before harvest were not compared.", "project rule",
      "", "")),
    ("picked_too_early", tank(placed("F3", 6, "phi_days"), harvest="2026-08-07T07:59"), "phi",
     ("refuse", "F3: 3 days before harvest, so not before Fri, Aug 7, 8:00 AM EDT; harvest is planned for Fri, Aug 7, "
      "7:59 AM EDT.", f"label of F3, label 1, days before harvest; {COUNTING}, page 7", "start_at", "F3")),
    ("entry_not_on_record", tank(placed("F1", 3, "rei_hours", rei_hours=None)), "rei_unknown",
     ("justify", "F1: no restricted-entry interval on record. The board will say unknown until there is one.",
      "label of F1, label 1, 40 CFR 170.407, page 7", "", "F1")),
    ("all_mature", facts([("F1", 3)], all_mature=True), "value_late",
     ("justify", "All fruit on Long Field 2 is noted as mature: this spray may not pay for itself.",
      "Purdue, Vegetable Crops Hotline, late season disease management in pumpkins", "", "")),
]  # fmt: skip

SOON = past("2026-07-29", ("F1", 3))
BURNT = past("2026-08-04", ("H1", 1), crop="fallow_cover")
DAYS = [
    ("same_product_too_soon", tank(placed("F1", 3, "min_interval_days"), history=[SOON]), "interval",
     ("refuse", "F1: 6 days from the spray of Wed, Jul 29, 2026 on Long Field 2, at least 7 days needed.",
      "label of F1, label 1, shortest interval, page 7", "start_at", "F1")),
    ("interval_not_on_record",
     tank(placed("F1", 3, "min_interval_days", use={"min_interval_days": None}), history=[SOON]), "interval_unknown",
     ("justify", "F1: 6 days from the spray of Wed, Jul 29, 2026 on Long Field 2; the label's shortest interval is "
      "not on record.", "label of F1, label 1, shortest interval, page 7", "start_at", "F1")),
    ("shared_ingredient", tank(placed("F2", "3.2", "min_interval_days"), history=[SOON]), "interval_ai",
     ("refuse", "F2: 6 days from F1 of Wed, Jul 29, 2026 on Long Field 2, which shares chlorothalonil; at least 7 "
      "days needed.", "label of F2, label 1, shortest interval, by ingredient, page 7", "start_at", "F2")),
    ("twice_on_a_day", facts([("H1", "1.5")], [BURNT], crop="fallow_cover", harvest=None), "duplicate",
     ("justify", "The same mix is already on record for Tue, Aug 4, 2026 on Long Field 2: is this the same spray "
      "twice?", "project rule", "start_at", "")),
    ("sulfur_then_oil", tank(placed("F11", "0.8", "separations"), history=[past("2026-07-25", lines=(
        relabelled("F10", 4, separations=[]),))]), "separation",
     ("refuse", "F11: 10 days from F10 of Sat, Jul 25, 2026 on Long Field 2; 14 days must lie between (sulfur).",
      "label of F11, label 1, keep apart from sulfur, page 7", "start_at", "F11")),
    ("sulfur_then_perhaps_oil", tank(line("F1", 3), relabelled("F4", 8, contains_oil=None), history=[
        past("2026-07-25", lines=(placed("F10", 4, "separations"),))]), "oil_unknown",
     ("justify", "F4: 10 days from F10 of Sat, Jul 25, 2026 on Long Field 2; 14 days must lie between if one "
      "contains oil, and nobody noted whether it does.", "label of F10, label 1, keep apart from mineral oil, page 7",
      "start_at", "F4")),
    ("sulfur_with_oil", tank(placed("F11", "0.8", "separations"), relabelled("F10", 4, separations=[])), "separation",
     ("refuse", "F11 may not be mixed with F10 (sulfur).", "label of F11, label 1, keep apart from sulfur, page 7",
      "products", "F11")),
    ("sulfur_with_perhaps_oil", tank(placed("F10", 4, "separations"), relabelled("F4", 8, contains_oil=None)),
     "oil_unknown",
     ("justify", "F10 may not be mixed with oil; nobody noted whether F4 contains any.",
      "label of F10, label 1, keep apart from mineral oil, page 7", "products", "F10")),
]  # fmt: skip

MISUSE = "using a product inconsistent with its labeling: 7 USC 136j(a)(2)(G)"
LISTED_SITE = "lawful on a listed site unless the label forbids it: 7 USC 136(ee)"
TWO_DOC = {**label_document(LIBRARY["F1"]), "uses": two_uses(), "sections": {"uses": "page 7"}}
TWO_USES = line("F1", 2, label=read_label(TWO_DOC))
LABELS = [
    ("nothing_planned", facts([]), "nothing_planned",
     ("refuse", "No product is planned.", "project rule", "products", "")),
    ("no_label", tank(line("F1", 3, label=None)), "label_missing",
     ("refuse", "F1 has no label in the library that is in force on the day.", "project rule", "products", "F1")),
    ("nobody_checked_it", tank(line("F1", 3, label_checked=False)), "label_unchecked",
     ("refuse", "The label of F1 is not marked as checked against the paper by a named person.",
      "project rule, label of F1, label 1", "products", "F1")),
    ("empty_ground", changed(facts([("F1", 3)]), site_code=None), "site_unknown",
     ("refuse", "Nothing is recorded as growing on Long Field 2, so no use of F1 can be picked.", "project rule", "",
      "F1")),
    ("other_crop", tank(placed("F3", 6, "uses"), crop="summer_squash"), "crop_not_on_label",
     ("refuse", "F3 is not labelled for summer squash.", f"label of F3, label 1, {MISUSE}, page 7", "", "F3")),
    ("other_crop_known_by_its_code", changed(tank(placed("F3", 6, "uses"), crop="summer_squash"), crop_name=""),
     "crop_not_on_label",
     ("refuse", "F3 is not labelled for summer_squash.", f"label of F3, label 1, {MISUSE}, page 7", "", "F3")),
    ("other_target", tank(changed(TWO_USES, targets=("rust", "anthracnose"))), "target_not_on_label",
     ("justify", "The label of F1 does not name rust, anthracnose on this crop.",
      f"label of F1, label 1, {LISTED_SITE}, page 7", "", "F1")),
    ("target_left_open", tank(TWO_USES), "target_open",
     ("note", "The label of F1 has 2 uses on this crop. No target is named, so the strictest limits count.",
      "label of F1, label 1, page 7", "", "F1")),
    ("condition_of_use", tank(placed("F1", 3, "conditions", use={"conditions": "Not in greenhouses."})),
     "label_condition",
     ("note", "F1, from the label: Not in greenhouses.", "label of F1, label 1, conditions of use, page 7", "", "F1")),
    ("entry_condition", tank(placed("F1", 3, "condition_release", condition_release="Until dry.")),
     "condition_release",
     ("note", "F1, from the label: Until dry.", "label of F1, label 1, entry, page 7", "", "F1")),
    ("spoken_and_posted", tank(placed("F1", 3, "double_notification", double_notification=True)),
     "double_notification",
     ("note", "F1: the label asks for a spoken warning and a posted sign.",
      "label of F1, label 1, 40 CFR 156.210, page 7", "", "F1")),
    ("twice_in_the_tank", tank(line("F1", 1), line("F4", 4), line("F1", 1), line("F1", 1)), "stated_twice",
     ("note", "F1 stands in the mix more than once: each line is counted.", "project rule", "", "F1")),
]  # fmt: skip

DAY = date(2026, 8, 4)
BOOM = SprayerFact(name="Boom", measured_gpa=Decimal("38.5"), measured_on=date(2026, 6, 1), good_until=DAY)


def sprayed_with(sprayer, **changes):
    return changed(facts([("F1", 3)]), sprayer=sprayer, **changes)


PLANNED_42 = sprayed_with(BOOM, spray_gpa=Decimal(42))
MEANS = [
    ("no_sprayer_yet", sprayed_with(None), "sprayer_missing",
     ("note", "No sprayer is named.", "project rule", "sprayer", "")),
    ("no_sprayer_at_the_start", sprayed_with(None, at_start=True), "sprayer_missing",
     ("refuse", "No sprayer is named.", "project rule", "sprayer", "")),
    ("never_calibrated", sprayed_with(SprayerFact(name="Boom", measured_on=DAY)), "calibration_missing",
     ("justify", "Boom has no calibration on record: its gallons per acre are a guess.", "project rule", "sprayer",
      "")),
    ("nobody_knows_when", sprayed_with(SprayerFact(name="Boom", measured_gpa=Decimal(40))), "calibration_missing",
     ("justify", "Boom has no calibration on record: its gallons per acre are a guess.", "project rule", "sprayer",
      "")),
    ("measured_nothing", sprayed_with(replace(BOOM, measured_gpa=Decimal(0))), "calibration_missing",
     ("justify", "Boom has no calibration on record: its gallons per acre are a guess.", "project rule", "sprayer",
      "")),
    ("ran_out", sprayed_with(replace(BOOM, good_until=date(2026, 8, 3))), "calibration_old",
     ("justify", "Boom was calibrated on Mon, Jun 1, 2026, good until Mon, Aug 3, 2026.", "project rule", "sprayer",
      "")),
    ("no_end_on_record", sprayed_with(replace(BOOM, good_until=None)), "calibration_old",
     ("justify", "Boom was calibrated on Mon, Jun 1, 2026, good until ?.", "project rule", "sprayer", "")),
    ("volume_differs", PLANNED_42, "calibration_differs",  # 3.5 of 38.5 is 9.1 %
     ("justify", "42 gal/acre is planned; Boom was measured at 38.5 gal/acre.", "project rule", "spray_gpa", "")),
    ("by_the_farms_own_number",
     changed(PLANNED_42, policy=replace(PLANNED_42.policy, own_limits=frozenset({"gpa_tolerance"}))),
     "calibration_differs",
     ("justify", "42 gal/acre is planned; Boom was measured at 38.5 gal/acre.",
      "project rule; the farm's own number", "spray_gpa", "")),
]  # fmt: skip

ROWS = (*HARVEST, *DAYS, *LABELS, *MEANS)


@pytest.mark.parametrize(("given", "code", "expected"), [r[1:] for r in ROWS], ids=[r[0] for r in ROWS])
def test_the_whole_finding(given, code, expected):
    assert whole(given, code) == [expected]


WAITS = [("nothing_to_wait_for", 2, []), ("the_higher_rate_waits", 4, ["harvest_unknown"])]


@pytest.mark.parametrize(("ounces", "noted"), [r[1:] for r in WAITS], ids=[r[0] for r in WAITS])
def test_the_rate_decides_whether_a_missing_harvest_matters(ounces, noted):
    """Up to 2.1 oz no days before harvest, above it 7."""
    tiers = [{"up_to_rate": "2.1", "days": 0}, {"up_to_rate": "5.3", "days": 7}]
    tiered = relabelled("I5", ounces, use={"phi_days": None, "phi_tiers": tiers})

    assert [code for code in notes(tank(tiered, harvest=None)) if code.startswith("harvest")] == noted


def test_a_product_sprayed_beside_itself_does_not_hide_its_neighbour():
    """Six days ago F1 and F2 in one tank: F1 now is too soon after both (7 days each, F2 by ingredient)."""
    given = facts([("F1", 3)], [past("2026-07-29", ("F1", 3), ("F2", "3.2"))])

    assert reasons(given)[0] == ["interval", "interval_ai"]


def test_a_label_that_asks_for_no_days_does_not_hide_one_that_does():
    """The sulfur's label says nothing of days, the oil's asks for 14: not in one tank."""
    sulfur = relabelled("F10", 4, separations=[{"ingredient": "mineral oil", "days": 0}])

    assert whole(tank(sulfur, line("F11", "0.8")), "separation") == [
        ("refuse", "F11 may not be mixed with F10 (sulfur).", "label of F11, label 1, keep apart from sulfur",
         "products", "F11"),
    ]  # fmt: skip


def test_every_pair_of_a_big_tank_is_looked_at():
    """By name: F10 (sulfur), F12, F4 (with oil among its inert parts), F5."""
    oily = relabelled("F4", 8, contains_oil=True)
    given = tank(line("F5", 5), line("F12", 1), oily, line("F10", 4))

    assert [f.numbers["other"] for f in check(given) if f.code == "separation"] == ["F4"]


NEIGHBOURS = [
    ("the_nearer_one_before_a_farther_one", "2026-08-02", "2026-08-10", "2026-08-02"),
    ("the_nearer_one_after_a_farther_one", "2026-07-29", "2026-08-06", "2026-08-06"),
    ("of_two_as_near_the_one_before", "2026-08-02", "2026-08-06", "2026-08-02"),
]


@pytest.mark.parametrize(("done", "booked", "named"), [r[1:] for r in NEIGHBOURS], ids=[r[0] for r in NEIGHBOURS])
def test_of_the_sprays_with_a_shared_ingredient_the_nearest_is_named(done, booked, named):
    history = [past(done, ("F1", 3)), past(booked, ("F1", 3), done=False)]
    found = [f for f in check(facts([("F2", "3.2")], history)) if f.code == "interval_ai"]

    assert [f.numbers["on"] for f in found] == [named]


OFF = [("five_percent_off", "42", []), ("a_hair_more", "42.01", ["calibration_differs"])]


@pytest.mark.parametrize(("planned", "asking"), [r[1:] for r in OFF], ids=[r[0] for r in OFF])
def test_within_five_percent_of_the_measured_volume(planned, asking):
    """Ohio State, reported 17 Apr 2012: within 5 % of the rate that is meant. Measured 40: 2 gal/acre is 5 %."""
    given = sprayed_with(replace(BOOM, measured_gpa=Decimal(40)), spray_gpa=Decimal(planned))

    assert reasons(given) == ([], asking)


def test_each_pair_that_may_not_mix_is_named_once():
    """The sulfur's and the oil's label both ask; the second oil is another pair."""
    oily = relabelled("F4", 8, contains_oil=True)
    found = [f for f in check(tank(line("F11", "0.8"), oily, line("F10", 4))) if f.code == "separation"]

    assert [(f.numbers["product"], f.numbers["other"]) for f in found] == [("F10", "F11"), ("F10", "F4")]


def test_the_conditions_of_other_crops_are_not_shown():
    dry = relabelled("F3", 6, use={"conditions": "Only on dry leaves."})

    assert whole(tank(dry, crop="summer_squash"), "label_condition") == []


HOUSE = ["Farm house", "Packing shed"]
INSIDE = [
    ("others", HOUSE, Inside.OTHERS,
     [("refuse", "Somebody who is not of the owner's family is in a closed building in the exclusion zone. They must "
       "leave first.", LAW, "", "")]),
    ("not_said", HOUSE, None,
     [("refuse", "In the exclusion zone lies Farm house, Packing shed. Say who is in closed buildings there.", LAW,
       "", "")]),
]  # fmt: skip


@pytest.mark.parametrize(("buildings", "said", "expected"), [r[1:] for r in INSIDE], ids=[r[0] for r in INSIDE])
def test_what_is_said_of_people_in_buildings(buildings, said, expected):
    assert told(in_buildings(buildings, said)) == expected
