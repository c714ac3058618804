"""Variations on the worked cases with other numbers, worked out by hand: both sides of each limit.

The library is the invented one of the worked cases. Each row: what it is about, the plan with its context, the
history, what refuses, what asks for a reason. Day counts, conversions and sums stand beside the rows.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from apps.crops.rules import Bloom
from apps.spraying.rules import PRESETS

from .mixes import changed, facts, past, reasons, relabelled

QUIET = PRESETS["labels_only"]
NO_HARVEST = {"harvest": None}
CORN = {"crop": "sweet_corn", "harvest": "2026-09-20T08:00"}


def on(day: str, since: str = "07:00", until: str = "08:00", **more):
    return {"start": f"{day}T{since}", "end": f"{day}T{until}", **more}


def after(day: str, planted: str, **more):
    """Mesotrione on corn, pumpkins planted on a day afterwards: 18 calendar months must lie between."""
    return on(day, crop="sweet_corn", next=["pumpkin", planted, "harvest"], **more)


F1, F3, F8 = ("F1", 3), ("F3", 6), ("F8", "3.4")
JAN = on("2027-01-04", **NO_HARVEST)
SEVEN_IN_A = [past(f"2026-{d}", F1, zone="A") for d in ("06-01", "06-08", "06-15", "06-22", "06-29", "07-06", "07-13")]
SEVEN_ON_ALL = [replace(e, parts=frozenset()) for e in SEVEN_IN_A]
F9S = [past("2026-06-24", ("F9", "15.4")), past("2026-07-08", ("F9", "15.4")), past("2026-07-20", F1)]
F3S = [past("2026-06-01", F3), past("2026-06-15", F3), past("2026-06-22", F1), past("2026-07-10", F3)]
CORN_28 = [past("2026-07-01", ("I4", "7.5"), crop="sweet_corn"), past("2026-07-10", ("I3", 10), crop="sweet_corn")]
BURN = {"crop": "fallow_cover", "harvest": None}


def cert(trained: str):
    return {"holder": True, "expires": "2027-12-31", "paraquat_trained": trained}


ROWS = [
    # days between two sprays: 28 Dec to 4 Jan is 7, 29 Dec to 4 Jan is 6; February 2028 has 29 days
    ("interval_over_new_year_7", [F1], JAN, [past("2026-12-28", F1)], [], []),
    ("interval_over_new_year_6", [F1], JAN, [past("2026-12-29", F1)], ["interval"], []),
    ("interval_over_leap_day_7", [F1], on("2028-03-01", **NO_HARVEST), [past("2028-02-23", F1)], [], []),
    ("interval_over_leap_day_6", [F1], on("2028-03-01", **NO_HARVEST), [past("2028-02-24", F1)], ["interval"], []),
    ("interval_by_ingredient_6", [("F2", "3.2")], {}, [past("2026-07-29", F1)], ["interval_ai"], []),
    ("interval_by_ingredient_7", [("F2", "3.2")], {}, [past("2026-07-28", F1)], [], []),
    ("interval_of_another_ingredient", [("F5", 5)], {}, [past("2026-08-03", ("F4", 8))], [], []),
    # uses in the calendar year: 1 of 2 after New Year; 3 of 3 and 4 of 3
    ("uses_start_again_at_new_year", [F8], JAN, [past("2026-12-01", F8), past("2026-12-20", F8)], [], []),
    ("uses_3_of_3", [("F9", "15.4")], {}, F9S, [], []),
    ("uses_4_of_3", [("F9", "15.4")], {}, [past("2026-05-01", ("F9", "15.4")), *F9S], ["max_apps"], []),
    # units: 3 pt = 0.375 gal = 1.5 qt = 1,419.53 mL; 0.376 gal x 6 lb = 2.256 lb in one pass of 2.25
    ("gallons_at_the_top", [("F1", "0.375", "gal")], {}, [], [], []),
    ("gallons_above", [("F1", "0.376", "gal")], {}, [], ["rate_ai_single", "rate_high"], []),
    ("quarts_at_the_top", [("F1", "1.5", "qt")], {}, [], [], []),
    ("millilitres_at_the_top", [("F1", "1419", "ml")], {}, [], [], []),
    ("millilitres_above", [("F1", "1420", "ml")], {}, [], ["rate_ai_single", "rate_high"], []),
    # F3, 24 fl oz a year: 18 + 0.375 pt (6 fl oz) = 24; 0.38 pt = 6.08 fl oz is above the rate and makes 24.08
    ("season_of_the_product_in_pints", [("F3", "0.375", "pt")], {}, F3S, [], []),
    ("season_of_the_product_above", [("F3", "0.38", "pt")], {}, F3S, ["rate_high", "season_product"], []),
    # premixes: F2 at 2.4 pt carries 5 x 0.3 = 1.5 lb; with 1 pt of F1 (0.75 lb) 2.25 lb, with 1.5 pt 2.625 lb
    ("one_pass_with_the_premix", [("F2", "2.4"), ("F1", 1)], {}, [], [], ["rate_low"]),
    ("one_pass_above_with_the_premix", [("F2", "2.4"), ("F1", "1.5")], {}, [], ["rate_ai_single"], []),
    # chlorantraniliprole: 7.5 x 1.67/128 + 10 x 0.835/128 = 0.16309; 3.5 fl oz more 0.20875 of 0.2 lb
    ("season_with_the_premix", [("I4", "3.5")], CORN, CORN_28, ["season_ai"], []),
    ("season_without_the_premix", [("I4", "3.5")], CORN, CORN_28[:1], [], []),
    # parts: seven full passes (15.75 lb) on A bind A and the whole block, never B
    ("part_then_all_of_the_block", [F1], {}, SEVEN_IN_A, ["season_ai"], []),
    ("all_of_the_block_then_a_part", [F1], {"zone": "A"}, SEVEN_ON_ALL, ["season_ai"], []),
    ("the_other_part", [F1], {"zone": "B"}, SEVEN_IN_A, [], []),
    # harvest: full days from the end, later of wall clock and elapsed hours (31 Oct 2026 is in EDT, 2 Nov in EST)
    ("harvest_at_the_hour", [F3], {"harvest": "2026-08-07T08:00"}, [], [], []),
    ("harvest_a_minute_early", [F3], {"harvest": "2026-08-07T07:59"}, [], ["phi"], []),
    ("harvest_over_the_autumn_change", [F3], on("2026-10-30", harvest="2026-11-02T08:00"), [], [], []),
    ("harvest_before_the_wall_clock", [F3], on("2026-10-30", harvest="2026-11-02T07:30"), [], ["phi"], []),
    ("harvest_over_the_spring_change", [("I4", 4)], on("2027-03-13", harvest="2027-03-14T09:00"), [], [], []),
    ("harvest_before_24_hours", [("I4", 4)], on("2027-03-13", harvest="2027-03-14T08:30"), [], ["phi"], []),
    ("tier_at_its_edge", [("I5", "2.1")], CORN | {"harvest": "2026-08-05T08:00"}, [], [], []),
    ("tier_above_its_edge", [("I5", "2.11")], CORN | {"harvest": "2026-08-10T08:00"}, [], ["phi"], []),
    ("entry_when_it_has_run", [("F6", 15)], {"entry": "2026-08-04T20:00"}, [], [], []),
    ("entry_a_minute_early", [("F6", 15)], {"entry": "2026-08-04T19:59"}, [], [], ["rei_entry"]),
    # plant-back: 31 Aug 2026 + 18 months = 29 Feb 2028; 31 Aug 2025 + 18 months = 28 Feb 2027
    ("plantback_leap_day", [("H5", 3)], after("2026-08-31", "2028-02-29", harvest="2026-11-01T08:00"), [], [], []),
    ("plantback_the_day_before", [("H5", 3)], after("2026-08-31", "2028-02-28", harvest="2026-11-01T08:00"), [],
     ["plantback"], []),
    ("plantback_short_february", [("H5", 3)], after("2025-08-31", "2027-02-28", harvest="2025-11-01T08:00"), [],
     [], []),
    ("plantback_short_february_early", [("H5", 3)], after("2025-08-31", "2027-02-27", harvest="2025-11-01T08:00"), [],
     ["plantback"], []),
    ("preplant_3_days", [("H1", "1.5")], on("2026-05-28", plantdate=["pumpkin", "2026-05-31"], **BURN), [], [], []),
    ("preplant_over_the_month", [("H1", "1.5")], on("2026-05-30", plantdate=["pumpkin", "2026-06-01"], **BURN), [],
     ["preplant"], []),
    ("oil_then_sulfur_14", [("F10", 4)], {}, [past("2026-07-21", ("F11", "0.8"))], [], []),
    ("oil_then_sulfur_13", [("F10", 4)], {}, [past("2026-07-22", ("F11", "0.8"))], ["separation"], []),
    ("heat_at_the_limit", [("F10", 4)], {"temp": 90}, [], [], []),
    ("heat_above", [("F10", 4)], {"temp": "90.1"}, [], ["temp_high"], []),
    ("ph_at_the_limit", [("F12", 1)], {"ph": "6.5"}, [], [], []),
    ("ph_below", [("F12", 1)], {"ph": "6.49"}, [], ["solution_ph"], []),
    ("calm_limit", [F1], {"wind": 3}, [], [], []),
    ("calmer", [F1], {"wind": "2.9"}, [], [], ["wind_low_inversion"]),
    ("wind_at_a_lower_limit", [("H3", "0.6")], on("2026-06-20", wind=15), [], [], []),
    ("volume_just_below", [F1], {"gpa": "19.9"}, [], ["gpa_low"], []),
    ("volume_at_the_limit", [F1], {"gpa": 20}, [], [], []),
    ("buffer_just_inside", [("I1", 3)], {"dist": "24.9"}, [], ["buffer"], []),
    # paraquat training of 12 May 2023 counts through 12 May 2026 (36 months)
    ("training_last_day", [("H2", 3)], on("2026-05-12", cert=cert("2023-05-12"), **BURN), [], [], []),
    ("training_a_day_too_old", [("H2", 3)], on("2026-05-12", cert=cert("2023-05-11"), **BURN), [],
     ["rup_training"], []),
]  # fmt: skip


@pytest.mark.parametrize(
    ("plan", "ctx", "history", "refusing", "asking"), [r[1:] for r in ROWS], ids=[r[0] for r in ROWS]
)
def test_by_hand(plan, ctx, history, refusing, asking):
    given = changed(facts(plan, history, **ctx), policy=replace(QUIET, wind_max_mph=None))
    assert reasons(given) == (refusing, asking)


BASES = [
    # F8: 2 uses a year. Twelve months that end on 10 Jan 2027 begin on 11 Jan 2026.
    ("twelve_months", ["2026-12-01", "2026-12-20"], ["max_apps"]),
    ("unknown", ["2026-12-01", "2026-12-20"], ["max_apps"]),
    ("calendar", ["2026-12-01", "2026-12-20"], []),
    ("twelve_months", ["2026-01-10", "2026-06-01"], []),
    ("twelve_months", ["2026-01-11", "2026-06-01"], ["max_apps"]),
    ("calendar", ["2027-01-01", "2027-01-02"], ["interval", "max_apps"]),
]


@pytest.mark.parametrize(("basis", "days", "refusing"), BASES)
def test_what_a_year_is_over_new_year(basis, days, refusing):
    row = relabelled("F8", "3.4", use={"season_basis": basis})
    history = [past(day, F8, lines=(row,)) for day in days]
    given = changed(facts([], history, **on("2027-01-10", **NO_HARVEST)), lines=(row,), policy=QUIET)
    assert reasons(given)[0] == refusing


UNKNOWN = [
    # what nobody knows never passes: it refuses or asks
    ("bloom", changed(facts([("I1", 3)]), bloom=Bloom.UNKNOWN), ["bee_bloom"], ["bloom_unknown"]),
    ("wind", changed(facts([F1]), weather=None), [], ["data_missing_wind"]),
    ("wind_at_the_start", changed(facts([F1]), weather=None, at_start=True), ["data_missing_wind"], []),
    ("interval", changed(facts([F1]), lines=(relabelled("F1", 3, use={"min_interval_days": None}),),
                         history=(past("2026-07-01", F1),)), [], ["interval_unknown"]),
]  # fmt: skip


@pytest.mark.parametrize(("given_", "refusing", "asking"), [r[1:] for r in UNKNOWN], ids=[r[0] for r in UNKNOWN])
def test_unknown_is_never_fine(given_, refusing, asking):
    assert reasons(given_) == (refusing, asking)


FIELDS = [
    # (fact, product, whether the plan is told at once, or only the start in the field stops)
    ("water_ft", ("I1", 3), {}, True), ("method", F3, {}, True), ("spray_gpa", F1, {}, True),
    ("stage", ("H3", "0.6"), on("2026-06-20"), True), ("applicator", ("I1", 3), {}, True),
    ("water_ph", ("F12", 1), {}, False),
]  # fmt: skip


@pytest.mark.parametrize(("name", "row", "ctx", "at_once"), FIELDS, ids=[r[0] for r in FIELDS])
def test_a_fact_that_a_label_asks_for_and_nobody_knows(name, row, ctx, at_once):
    given = facts([row], **ctx)
    started = changed(given, at_start=True)
    blind = [changed(g, **{name: None}) for g in (given, started)]
    assert (reasons(blind[0]) != reasons(given)) == at_once
    assert len([*reasons(blind[1])[0], *reasons(blind[1])[1]]) > len([*reasons(started)[0], *reasons(started)[1]])


TWO_IN_THREE = [
    # group 11: at most 1 in any 3 sprays in a row, never twice running (CropLife Australia), premixes counted
    ("premix_third_after", [past("2026-07-20", ("F6", 15)), past("2026-07-27", F1)], ["group_window"]),
    ("premix_fourth_after", [past("2026-07-13", ("F6", 15)), past("2026-07-20", F1), past("2026-07-27", F1)], []),
]


@pytest.mark.parametrize(("history", "asking"), [r[1:] for r in TWO_IN_THREE], ids=[r[0] for r in TWO_IN_THREE])
def test_a_premix_counts_for_each_of_its_groups(history, asking):
    given = facts([("F2", "3.2")], history)
    assert reasons(given) == ([], asking) and given.spray_gpa == Decimal(40)
