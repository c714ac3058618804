"""Every passed rule in full: its arithmetic, where the limit stands, and the findings that take it away."""

from __future__ import annotations

import string
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from apps.crops.rules import NextCrop
from apps.products.rules import Method, RateBasis, Scheme
from apps.spraying.rules import CertificateFact, Entry, FarmPolicy, GroupRule, StockFact
from apps.spraying.rules.passed import passed_rules
from farmops.units import Quantity

from .mixes import at, changed, line, past
from .whole import given, paged, stated

YEAR = "Thu, Jan 1, 2026 to Thu, Dec 31, 2026"
RECORDS = "duplicate history_unknown history_unread"
TOTAL = "rate_unit rate_unknown season_product"
LABEL = "label of F1, label 1"
CORN = NextCrop(site_code="sweet_corn", planted_on=date(2026, 10, 20), harvested=True)
ENOUGH = {"F1": StockFact(available=Quantity(Decimal(9), "gal"), needed=Quantity(Decimal(3), "gal"))}
FULL_USE = {
    "max_uses": 4,
    "season_max_product": 20,
    "season_basis": "calendar",
    "targets": ["powdery_mildew", "rust"],
    "crop_height_max_in": 24,
    "stage_from": "cotyledon",
    "stage_before": "first_female_flower",
}
FULL = paged(
    "F1",
    2,
    ppe={"mixing": ["Respirator"]},
    training_topic="paraquat",
    training_months=36,
    temperature_max_f=90,
    rain_free_hours=4,
    solution_ph_min="6.5",
    buffer_ft=25,
    methods=["ground", "air"],
    separations=[{"ingredient": "mineral oil", "days": 14}],
    plantback=[{"site_code": "sweet_corn", "months": 2}],
    preplant_days={"sweet_corn": 30},
    group_run_limits=[{"scheme": "frac", "code": "M05", "max_in_a_row": 3}],
    bee_class="direct",
    bee_statement="Do not apply while bees forage.",
    use=FULL_USE,
)
BEFORE = (past("2026-07-20", ("F1", 3)), past("2026-07-10", ("F1", 3)))


def full(row=FULL, **more):
    """A label with a limit of every kind, and a plan that keeps to all of them."""
    plan = {"history": BEFORE, "stock": ENOUGH, "next_crops": (CORN,), "crop_height_in": Decimal(20)}
    story = given(changed(row, targets=("rust",)), **{**plan, "stage": "vegetative", **more})
    return changed(story, applicator=replace(story.applicator, respirator_until=date(2026, 8, 4)))


def told(story):
    """rule -> (about, sentence, source, codes that take it away for whom it is about, and for all)."""
    return {
        row.rule: (row.about, row.sentence, row.source, " ".join(sorted(row.against)), " ".join(sorted(row.unless)))
        for row in passed_rules(story)
    }


EVERY = {
    "label": ("F1", "F1: a label checked by a named person is in force on Tue, Aug 4, 2026.", LABEL,
              "label_missing label_unchecked", ""),
    "crop": ("F1", "F1: the label names pumpkin.", f"{LABEL}, page 20", "crop_not_on_label site_unknown", ""),
    "target": ("F1", "F1: the label names rust on this crop.", f"{LABEL}, page 20", "target_not_on_label", ""),
    "rate": ("F1", "F1: 2 pt/acre; the label allows 1.5 pt/acre to 3 pt/acre.", f"{LABEL}, rate, page 1",
             "rate_high rate_low rate_unit rate_unknown", ""),
    "volume": ("F1", "F1: 40 gal/acre; at least 20 gal/acre.", f"{LABEL}, spray volume, page 3",
               "gpa_low gpa_unknown", ""),
    "method": ("F1", "F1: goes out by ground; the label allows ground, air.", f"{LABEL}, method, page 5",
               "method method_unknown", ""),
    "bees": ("F1", "F1: nothing on Long Field 2 is in bloom, crop or weeds.",
             f"{LABEL}, bee statement: Do not apply while bees forage., page 29",
             "bee_bloom bee_residual bee_window", ""),
    "wind": ("F1", "F1: wind 6 mph; at most 15 mph.", f"{LABEL}, wind, page 9", "gust_high wind_high wind_low",
             "data_missing_wind"),
    "heat": ("F1", "F1: up to 82 °F; at most 90 °F.", f"{LABEL}, temperature, page 11",
             "data_missing_temperature temp_high", ""),
    "rain": ("F1", "F1: dry for 24 h; the label asks for 4 h.", f"{LABEL}, hours without rain, page 13",
             "data_missing_rain rain_soon", ""),
    "ph": ("F1", "F1: pH 7; at least 6.5.", f"{LABEL}, pH of the spray, page 6", "data_missing_ph solution_ph", ""),
    "buffer": ("F1", "F1: Long Field 2 lies 200 ft from water; at least 25 ft.", f"{LABEL}, distance to water, page 30",
               "buffer buffer_unknown", ""),
    # 2 pt of 6 lb/gal
    "one_pass": ("chlorothalonil", "chlorothalonil: 1.5 lb per acre in this tank; 2.25 lb in one application (F1).",
                 f"{LABEL}, chlorothalonil in one application, page 2", "rate_ai_single", ""),
    "uses": ("F1", f"F1: use 3 of 4 ({YEAR}).", f"{LABEL}, number of applications, page 14", "max_apps", RECORDS),
    "season_product": ("F1", f"F1: 8 pt per acre with this spray; 20 pt in a season ({YEAR}).",
                       f"{LABEL}, season total of the product, page 15", TOTAL, RECORDS),
    "interval": ("F1", "F1: 15 days from the spray of Mon, Jul 20, 2026; at least 7.",
                 f"{LABEL}, shortest interval, page 21", "interval interval_ai interval_unknown", RECORDS),
    "apart": ("F1", "F1: nothing with mineral oil is in the tank or within 14 days of it.",
              f"{LABEL}, keep apart from mineral oil, page 22", "oil_unknown separation", RECORDS),
    # 2.25 + 2.25 + 1.5 lb
    "season_ingredient": ("chlorothalonil", "chlorothalonil: 6 lb per acre with this spray; 15.75 lb allowed "
                          f"({YEAR}).",
                          f"{LABEL}, chlorothalonil in a season, all products together, page 2",
                          "season_ai season_near", RECORDS),
    "stock": ("F1", "F1: the job needs 3 gal; 9 gal is available.", "shed ledger", "stock_short stock_unit", ""),
    "label_run": ("FRAC M05", "FRAC M05: spray 3 in a row; the label of F1 allows 3.",
                  f"{LABEL}, sprays of one group in a row, page 16", "group_consec_label", ""),
    "harvest": ("F1", "F1: 0 days before harvest, open from Tue, Aug 4, 8:00 AM EDT; harvest is planned for "
                "Thu, Oct 1, 8:00 AM EDT.", f"{LABEL}, days before harvest; project rule: full days of 24 hours after "
                "the end, never earlier than the calendar, page 23", "phi phi_unknown", ""),
    "stage": ("F1", "F1: the crop is at vegetative; allowed from cotyledon to before first_female_flower.",
              f"{LABEL}, growth stage, page 25", "stage stage_unknown", ""),
    "height": ("F1", "F1: the crop is 20 in high; up to 24 in.", f"{LABEL}, crop height, page 26",
               "stage stage_unknown", ""),
    "plantback": ("F1", "F1: sweet_corn is planned for Tue, Oct 20, 2026; 2 months are over on Sun, Oct 4, 2026.",
                  f"{LABEL}, planting after use, page 27", "plantback plantback_cover", ""),
    # 4 August to 20 October
    "preplant": ("F1", "F1: 77 days before sweet_corn on Tue, Oct 20, 2026; at least 30.",
                 f"{LABEL}, days before planting, page 28", "preplant", ""),
    "entry": ("", "F1: entry is restricted for 12 h, until Tue, Aug 4, 8:00 PM EDT; no work is scheduled before.",
              f"{LABEL}, restricted-entry interval; 40 CFR 170.407, page 24", "rei_entry rei_harvest rei_unknown", ""),
    "certificate": ("", "Hand: certificate 1 is valid in Oakhaven through Fri, Dec 31, 2027.",
                    "40 CFR 171.1(b): certified only while valid in the jurisdiction",
                    "certificate_missing rup_cert", ""),
    "handler_training": ("", "Hand: handler training of Sun, Jul 5, 2026 counts for 12 months.", "40 CFR 170.501",
                         "handler_training", ""),
    "label_training": ("F1", "F1: Hand had paraquat training on Mon, Feb 10, 2025; it counts for 36 months.",
                       f"{LABEL}, training, page 19", "rup_training", ""),
    "respirator": ("", "Hand: clearance and fit test for a respirator count through Tue, Aug 4, 2026.",
                   "40 CFR 170.507(b)(10)", "respirator", ""),
    "calibration": ("", "Boom: measured at 40 gal/acre on Wed, Jul 15, 2026, good until Thu, Nov 12, 2026.",
                    "project rule", "calibration_differs calibration_missing calibration_old", ""),
}  # fmt: skip


def test_a_plan_that_keeps_every_limit_is_told_each_of_them():
    assert told(full()) == EVERY


def advised(**limits):
    rule = GroupRule(scheme=Scheme.FRAC, code="13", source="advice", **limits)
    return FarmPolicy(group_rules=(rule,))


F3 = (paged("F3", 6), paged("F1", 3))
TWICE = (past("2026-07-20", ("F3", 6)), past("2026-07-27", ("F4", 6)))
OTHERWISE = [
    ("first_spray", full(history=()), "interval",
     ("F1", "F1: no other spray of it is on record here; 7 days must lie between two.",
      f"{LABEL}, shortest interval, page 21", "interval interval_ai interval_unknown", RECORDS)),
    ("no_word_on_bees", full(paged("F1", 2, bee_class="none")), "bees",
     ("F1", "F1: the label has no limit for bees.", f"{LABEL}, bee statement: ?, page 29",
      "bee_bloom bee_residual bee_window", "")),
    ("no_lowest_rate", full(paged("F1", 2, use={"rate_min": None})), "rate",
     ("F1", "F1: 2 pt/acre; the label allows – to 3 pt/acre.", f"{LABEL}, rate, page 1",
      "rate_high rate_low rate_unit rate_unknown", "")),
    ("stage_open_below", full(paged("F1", 2, use={"stage_before": "first_female_flower"})), "stage",
     ("F1", "F1: the crop is at vegetative; allowed from – to before first_female_flower.",
      f"{LABEL}, growth stage, page 25", "stage stage_unknown", "")),
    ("stage_open_above", full(paged("F1", 2, use={"stage_from": "cotyledon"})), "stage",
     ("F1", "F1: the crop is at vegetative; allowed from cotyledon to before –.",
      f"{LABEL}, growth stage, page 25", "stage stage_unknown", "")),
    ("any_crop_after", full(paged("F1", 2, preplant_days={"*": 60, "pumpkin": 70})), "preplant",
     ("F1", "F1: 77 days before sweet_corn on Tue, Oct 20, 2026; at least 60.",
      f"{LABEL}, days before planting, page 28", "preplant", "")),
    ("longest_of_the_crops_named", full(paged("F1", 2, preplant_days={"cucumber": 60, "pumpkin": 70})), "preplant",
     ("F1", "F1: 77 days before sweet_corn on Tue, Oct 20, 2026; at least 70.",
      f"{LABEL}, days before planting, page 28", "preplant", "")),
    ("season_unit_of_its_own", full(paged("F1", 2, use={"season_max_product": 3, "season_max_unit": "gal"})),
     "season_product", ("F1", f"F1: 1 gal per acre with this spray; 3 gal in a season ({YEAR}).",
                        f"{LABEL}, season total of the product, page 15", TOTAL, RECORDS)),
    ("wait_of_its_rate", given(paged("I5", 2), site_code="sweet_corn", harvest_at=at("2026-08-06T08:00")), "harvest",
     ("I5", "I5: 1 days before harvest, open from Wed, Aug 5, 8:00 AM EDT; harvest is planned for Thu, Aug 6, 8:00 AM "
      "EDT.", "label of I5, label 1, days before harvest; project rule: full days of 24 hours after the end, never "
      "earlier than the calendar, page 23", "phi phi_unknown", "")),
    ("crop_by_its_name", full(crop_name="Jack pumpkins"), "crop",
     ("F1", "F1: the label names Jack pumpkins.", f"{LABEL}, page 20", "crop_not_on_label site_unknown", "")),
    ("crop_without_a_name", full(crop_name=""), "crop",
     ("F1", "F1: the label names pumpkin.", f"{LABEL}, page 20", "crop_not_on_label site_unknown", "")),
    ("use_with_a_volume_of_its_own", full(paged("F1", 2, use={"min_spray_gpa": 35})), "volume",
     ("F1", "F1: 40 gal/acre; at least 35 gal/acre.", f"{LABEL}, spray volume, page 3", "gpa_low gpa_unknown", "")),
    ("stage_on_the_other_scale", full(stage=None, stage_also="vegetative"), "stage",
     ("F1", "F1: the crop is at vegetative; allowed from cotyledon to before first_female_flower.",
      f"{LABEL}, growth stage, page 25", "stage stage_unknown", "")),
    ("months_of_this_crop", full(paged("F1", 2, plantback=[
        {"site_code": "sweet_corn", "months": 1}, {"site_code": "cucumber", "months": 2}])), "plantback",
     ("F1", "F1: sweet_corn is planned for Tue, Oct 20, 2026; 1 months are over on Fri, Sep 4, 2026.",
      f"{LABEL}, planting after use, page 27", "plantback plantback_cover", "")),
    ("days_of_this_crop", full(paged("F1", 2, preplant_days={"sweet_corn": 30, "cucumber": 60})), "preplant",
     ("F1", "F1: 77 days before sweet_corn on Tue, Oct 20, 2026; at least 30.",
      f"{LABEL}, days before planting, page 28", "preplant", "")),
    ("advised_run", given(*F3, history=TWICE, policy=advised(max_in_a_row=2)), "advised_run",
     ("FRAC 13", "FRAC 13: spray 1 in a row; advised is at most 2.", "advice", "group_consec group_consec_label", "")),
    ("advised_crop", given(*F3, history=TWICE, policy=advised(max_per_crop=4)), "advised_crop",
     ("FRAC 13", "FRAC 13: spray 2 in this crop; advised is at most 4.", "advice", "group_max_crop", "")),
    ("advised_window", given(*F3, history=TWICE, policy=advised(window=(2, 3))), "advised_window",
     ("FRAC 13", "FRAC 13: 2 of any 3 sprays in a row; advised is at most 2.", "advice", "group_window", "")),
    ("advised_partner", given(*F3, policy=advised(needs_multisite=True)), "advised_partner",
     ("", "FRAC 13: a multi-site product is in the same tank.", "advice", "no_multisite_partner", "")),
]  # fmt: skip


@pytest.mark.parametrize(("story", "rule", "row"), [r[1:] for r in OTHERWISE], ids=[r[0] for r in OTHERWISE])
def test_the_same_rule_on_another_label(story, rule, row):
    assert told(story)[rule] == row


SILENT = [
    # what nobody knows, or no label asks, is not on the list
    ("crop_height", {"crop_height_in": None}, {"height", "stage"}),
    ("stage", {"stage": None}, {"height", "stage"}),
    ("forecast", {"forecast_high_f": None}, {"heat"}),
    ("rain", {"rain_in_hours": None}, {"rain"}),
    ("ph", {"water_ph": None}, {"ph"}),
    ("water", {"water_ft": None}, {"buffer"}),
    ("weather", {"weather": None}, {"wind"}),
    ("method", {"method": None}, {"method"}),
    ("shed", {"stock": None}, {"stock"}),
    ("another_product_in_the_shed", {"stock": {"F3": ENOUGH["F1"]}}, {"stock"}),
    ("next_crop", {"next_crops": ()}, {"plantback", "preplant"}),
    ("next_crop_stood_before", {"next_crops": (replace(CORN, planted_on=date(2026, 8, 3)),)},
     {"plantback", "preplant"}),
    ("picking", {"harvest_at": None}, {"harvest"}),
    ("sprayer", {"sprayer": None}, {"calibration"}),
]  # fmt: skip


@pytest.mark.parametrize(("change", "gone"), [r[1:] for r in SILENT], ids=[r[0] for r in SILENT])
def test_each_fact_that_is_missing_takes_its_own_row(change, gone):
    assert set(EVERY) - set(told(full(**change))) == gone


def test_a_crop_planted_on_the_day_of_the_spray_has_no_days_between():
    free = paged("F1", 2, preplant_days={"sweet_corn": 0})

    assert told(full(free, next_crops=(replace(CORN, planted_on=date(2026, 8, 4)),)))["preplant"][1] == (
        "F1: 0 days before sweet_corn on Tue, Aug 4, 2026; at least 0."
    )


def test_nobody_named_and_a_sprayer_without_a_date():
    story = full()
    bare = changed(story.sprayer, measured_gpa=None, measured_on=None)
    undated, unmeasured = changed(story.sprayer, measured_on=None), changed(story.sprayer, measured_gpa=None)
    people = {"certificate", "handler_training", "label_training", "respirator"}

    assert set(EVERY) - set(told(changed(story, applicator=None))) == people
    assert [set(EVERY) - set(told(changed(story, sprayer=s))) for s in (bare, undated, unmeasured)] == [
        {"calibration"}
    ] * 3
    assert told(changed(story, method=Method.AIR))["method"][1].startswith("F1: goes out by air")


PARTS = [
    past("2026-07-20", ("F1", 3), zone="A"),
    past("2026-07-24", ("F1", 3), zone="A"),
    past("2026-07-16", ("F1", 3)),
]


def test_of_several_pieces_of_ground_the_fullest_speaks():
    """Part A had three sprays of 3 pt, the rest one: 9 pt + 2 pt, 6.75 lb + 1.5 lb, the nearest 11 days before."""
    rows = told(full(history=tuple(PARTS)))
    run = full(paged("F1", 2, group_run_limits=[{"scheme": "frac", "code": "M05", "max_in_a_row": 4}]))

    assert rows["uses"][1] == f"F1: use 4 of 4 ({YEAR})."
    assert rows["season_product"][1] == f"F1: 11 pt per acre with this spray; 20 pt in a season ({YEAR})."
    assert rows["season_ingredient"][1].startswith("chlorothalonil: 8.25 lb per acre")
    assert rows["interval"][1].startswith("F1: 11 days from the spray of Fri, Jul 24, 2026")
    assert told(changed(run, history=tuple(PARTS)))["label_run"][1].startswith("FRAC M05: spray 4 in a row")


def test_every_number_of_a_row_stands_in_its_sentence():
    rows = [row for story in (full(), full(history=())) for row in passed_rules(story)]

    assert {
        row.rule
        for row in rows
        if set(row.numbers) != {n for _, n, _, _ in string.Formatter().parse(row.template) if n}
    } == set()


def rules(story):
    return {row.rule for row in passed_rules(story)}


PER_WATER = stated("1", "%vv", RateBasis.PERCENT_VV)
OIL = paged(
    "F11",
    1,
    rate=PER_WATER,
    use={"season_max_product": "4"},
    caps=[
        {"ingredient": "mineral oil", "pounds": "30", "per": per, "year_basis": "calendar"} for per in ("pass", "year")
    ],
)


def test_what_cannot_be_counted_is_not_told_as_kept():
    """1 % v/v is an amount only where the spray volume is known: without it nobody knows what goes out."""
    sums = {"one_pass", "season_ingredient", "season_product"}

    assert sums <= rules(given(OIL))
    assert rules(given(OIL, spray_gpa=None)) & sums == set()


def test_one_product_that_cannot_be_counted_takes_the_sum_of_its_ingredient_away():
    """A pound of a liquid is no rate of it: half of the tank's chlorothalonil is not known."""
    story = given(paged("F1", 2), paged("F2", 2, "lb"))

    assert not {"chlorothalonil", "azoxystrobin"} & {row.about for row in passed_rules(story)}
    assert "chlorothalonil" in {row.about for row in passed_rules(given(paged("F1", 2)))}


def test_a_run_that_a_label_forbids_is_not_told_as_kept():
    again = (past("2026-07-20", ("F3", 6)), past("2026-07-27", ("F3", 6)))

    assert [("label_run" in rules(given(*F3, history=h))) for h in ((), again)] == [True, False]


def test_two_that_must_be_kept_apart_in_one_tank_are_not_told_as_apart():
    both = given(paged("F10", 4), paged("F11", "0.8"))

    assert ("apart" in rules(both), "apart" in rules(given(paged("F10", 4)))) == (False, True)


def test_a_cover_crop_and_a_crop_that_is_not_listed_have_no_harvest_to_wait_for():
    cover = given(paged("H1", "1.5"), site_code="fallow_cover", crop_name="")
    elsewhere = given(paged("F3", 6), site_code="summer_squash")

    assert [("harvest" in rules(story)) for story in (cover, elsewhere)] == [False, False]


def test_work_that_begins_as_the_interval_ends_is_not_before_it():
    """12 hours after 8:00 AM; a minute before that is before."""
    times = ["2026-08-04T20:00", "2026-08-04T19:59"]
    stories = [full(entries=(Entry(at=at(time), activity="hand_labor"),)) for time in times]

    assert [("entry" in rules(story)) for story in stories] == [True, False]


def test_advice_against_another_target_is_not_told_as_kept():
    rule = changed(advised(max_in_a_row=2).group_rules[0], target_classes=frozenset({"powdery_mildew"}))
    aimed = [(changed(F3[0], targets=(name,)), F3[1]) for name in ("rust", "powdery_mildew")]
    policy = FarmPolicy(group_rules=(rule,))

    assert [("advised_run" in rules(given(*tank, policy=policy))) for tank in aimed] == [False, True]


def test_a_product_without_a_label_takes_nothing_from_the_others():
    story = given(F3[0], changed(line("F1", 3), label=None))

    assert {"label_run", "rate", "crop"} <= rules(story)


def test_the_targets_that_the_label_names_on_this_crop():
    """Those it names and no other; on a crop it does not name, none."""
    two, one_more = (changed(FULL, targets=("rust", *more)) for more in (("powdery_mildew",), ("anthracnose",)))

    assert told(given(two))["target"][1] == "F1: the label names rust, powdery_mildew on this crop."
    assert told(given(one_more))["target"][1] == "F1: the label names rust on this crop."
    assert "target" not in rules(given(two, site_code="okra"))


def card(number, until):
    return CertificateFact(number=number, jurisdiction="Oakhaven", valid_from=date(2024, 1, 1), valid_to=until)


def test_of_several_certificates_the_one_that_lasts_longest_is_told():
    cards = (card("9", date(2026, 12, 31)), card("3", date(2028, 12, 31)), card("5", date(2027, 12, 31)))
    story = full()
    story = changed(story, applicator=replace(story.applicator, certificates=cards))

    assert told(story)["certificate"][1] == "Hand: certificate 3 is valid in Oakhaven through Sun, Dec 31, 2028."


def test_the_training_of_the_second_product_is_told_too():
    trained = paged("F3", 6, training_topic="paraquat", training_months=36)

    assert [r.about for r in passed_rules(given(paged("F1", 3), trained)) if r.rule == "label_training"] == ["F3"]
