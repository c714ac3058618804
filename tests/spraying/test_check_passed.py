"""Why may I? What passed is told with its arithmetic, and never where a finding speaks about the same thing."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.crops.rules import NextCrop
from apps.spraying.rules import Entry, StockFact, TrainingFact, Weather, check
from apps.spraying.rules.passed import passed_rules
from farmops.errors import Severity
from farmops.units import Quantity

from .mixes import OFTEN, at, changed, facts, line, past, relabelled
from .test_check_properties import stories

F1, F3 = ("F1", 3), ("F3", 6)
BURNDOWN = {"crop": "fallow_cover", "harvest": None, "start": "2026-05-12T07:00", "end": "2026-05-12T08:00"}
JUNE = {"start": "2026-06-10T07:00", "end": "2026-06-10T08:00"}
MORNING = {"bloom": True, "start": "2026-08-04T09:30", "end": "2026-08-04T10:30"}
EARLY_WORK = (Entry(at=at("2026-08-04T10:00"), activity="hand_labor"),)
STALE = Weather(wind_mph=Decimal(5), taken_at=at("2026-08-04T05:00"))


def rows(given_):
    return {(r.rule, r.about): r.sentence for r in passed_rules(given_)}


def test_the_whole_list_of_a_clean_mix():
    """Worked case V01 with a spray before it: every limit of F1 and F3 that was asked, with its numbers."""
    told = rows(facts([F3, F1], [past("2026-07-20", F3, F1)]))
    assert told[("rate", "F3")] == "F3: 6 fl oz/acre; the label allows 4 fl oz/acre to 6 fl oz/acre."
    assert told[("uses", "F3")] == "F3: use 2 of 4 (Thu, Jan 1, 2026 to Thu, Dec 31, 2026)."
    assert told[("season_ingredient", "chlorothalonil")].startswith("chlorothalonil: 4.5 lb per acre with this spray")
    assert told[("one_pass", "chlorothalonil")] == (
        "chlorothalonil: 2.25 lb per acre in this tank; 2.25 lb in one application (F1)."
    )
    assert told[("interval", "F1")] == "F1: 15 days from the spray of Mon, Jul 20, 2026; at least 7."
    assert told[("label_run", "FRAC 13")] == "FRAC 13: spray 2 in a row; the label of F3 allows 2."
    assert sorted({rule for rule, _ in told}) == [
        "advised_partner", "advised_run", "bees", "calibration", "certificate", "crop", "entry", "handler_training",
        "harvest", "interval", "label", "label_run", "method", "one_pass", "rate", "season_ingredient",
        "season_product", "uses", "volume", "wind",
    ]  # fmt: skip


SHOWN = [
    ("first_use", facts([F1]), ("interval", "F1"),
     "F1: no other spray of it is on record here; 7 days must lie between two."),
    ("night", facts([("I5", 4)], bloom=True, start="2026-08-04T20:45", end="2026-08-04T21:30"), ("bees", "I5"),
     "I5: Tue, Aug 4, 8:45 PM EDT to Tue, Aug 4, 9:30 PM EDT lies between sunset and sunrise at Long Field 2."),
    ("no_bloom", facts([("I5", 4)]), ("bees", "I5"), "I5: nothing on Long Field 2 is in bloom, crop or weeds."),
    ("heat", facts([("F10", 4)]), ("heat", "F10"), "F10: up to 82 °F; at most 90 °F."),
    ("apart", facts([("F10", 4)]), ("apart", "F10"),
     "F10: nothing with mineral oil is in the tank or within 14 days of it."),
    ("ph", facts([("F12", 1)]), ("ph", "F12"), "F12: pH 7; at least 6.5."),
    ("buffer", facts([("I1", 3)]), ("buffer", "I1"), "I1: Long Field 2 lies 200 ft from water; at least 25 ft."),
    ("rain", facts([("H3", "0.6")], stage="vegetative", start="2026-06-20T07:00", end="2026-06-20T08:00"),
     ("rain", "H3"), "H3: dry for 24 h; the label asks for 4 h."),
    ("stage", facts([("H3", "0.6")], stage="vegetative", start="2026-06-20T07:00", end="2026-06-20T08:00"),
     ("stage", "H3"), "H3: the crop is at vegetative; allowed from – to before first_female_flower."),
    ("plantback", changed(
        facts([("H5", 3)], crop="sweet_corn", harvest="2026-10-20T08:00", **JUNE),
        next_crops=(NextCrop(site_code="pumpkin", planted_on=date(2028, 6, 1), harvested=True),)),
     ("plantback", "H5"),
     "H5: pumpkin is planned for Thu, Jun 1, 2028; 18 months are over on Fri, Dec 10, 2027."),
    ("training", facts([("H2", 3)], **BURNDOWN),
     ("label_training", "H2"), "H2: Hand had paraquat training on Mon, Feb 10, 2025; it counts for 36 months."),
]  # fmt: skip


@pytest.mark.parametrize(("given_", "key", "sentence"), [r[1:] for r in SHOWN], ids=[r[0] for r in SHOWN])
def test_the_arithmetic(given_, key, sentence):
    assert rows(given_)[key] == sentence


def test_preplant_target_height_and_shed():
    given_ = facts([("H1", "1.5")], **BURNDOWN)
    given_ = changed(given_, next_crops=(NextCrop(site_code="pumpkin", planted_on=date(2026, 5, 20), harvested=True),))
    assert rows(given_)[("preplant", "H1")] == "H1: 8 days before pumpkin on Wed, May 20, 2026; at least 3."

    row = relabelled("F1", 3, use={"targets": ["powdery_mildew", "rust"], "crop_height_max_in": "24"})
    low = changed(row, targets=("powdery_mildew",))
    stock = {"F1": StockFact(available=Quantity(Decimal(9), "gal"), needed=Quantity(Decimal(3), "gal"))}
    told = rows(changed(facts([F1]), lines=(low,), crop_height_in=Decimal(20), stock=stock))
    assert told[("target", "F1")] == "F1: the label names powdery_mildew on this crop."
    assert told[("height", "F1")] == "F1: the crop is 20 in high; up to 24 in."
    assert told[("stock", "F1")] == "F1: the job needs 3 gal; 9 gal is available."


NOT_LISTED = [
    ("too_high", facts([("F3", 8), F1]), ("rate", "F3")),
    ("too_soon", facts([F1], [past("2026-08-01", F1)]), ("interval", "F1")),
    ("records_not_known", changed(facts([F3, F1]), history_known_from=None), ("uses", "F3")),
    ("no_wind", changed(facts([F1]), weather=None), ("wind", "F1")),
    ("stale_wind", changed(facts([F1]), at_start=True, weather=STALE),
     ("wind", "F1")),
    ("no_sprayer", changed(facts([F1]), sprayer=None), ("calibration", "")),
    ("nobody", changed(facts([F1]), applicator=None), ("certificate", "")),
    ("no_harvest", facts([F3], harvest=None), ("harvest", "F3")),
    ("work_before", changed(facts([F1]), entries=EARLY_WORK), ("entry", "")),
    ("no_rei", changed(facts([F1]), lines=(relabelled("F1", 3, rei_hours=None),)), ("entry", "")),
    ("daylight_bloom", facts([("I5", 4)], **MORNING), ("bees", "I5")),
    ("no_volume_limit", changed(facts([F1]), lines=(relabelled("F1", 3, min_spray_gpa=None),)), ("volume", "F1")),
    ("no_multisite", facts([F3]), ("advised_partner", "")),
    ("rate_unit", changed(facts([F1]), lines=(line("F1", 3, "lb"),)),
     ("rate", "F1")),
]  # fmt: skip


@pytest.mark.parametrize(("given_", "key"), [r[1:] for r in NOT_LISTED], ids=[r[0] for r in NOT_LISTED])
def test_what_a_finding_speaks_about_or_nobody_knows_is_not_listed(given_, key):
    assert key not in rows(given_)


def test_a_label_for_another_target_and_one_without_an_interval():
    rust = changed(relabelled("F1", 3, use={"targets": ["rust"]}), targets=("powdery_mildew",))
    silent = relabelled("F1", 3, use={"min_interval_days": None})

    assert ("target", "F1") not in rows(changed(facts([F1]), lines=(rust,)))
    assert ("interval", "F1") not in rows(changed(facts([F1]), lines=(silent,)))


def test_advice_that_is_kept():
    """F6: FRAC 7 and 11; 11 once in any three and twice a crop, as the cases state the advice."""
    told = {(r.rule, r.about): r.sentence for r in passed_rules(facts([("F6", 15), F1], [past("2026-06-20", F1)]))}
    assert told[("advised_window", "FRAC 11")] == "FRAC 11: 1 of any 3 sprays in a row; advised is at most 1."
    assert told[("advised_crop", "FRAC 11")] == "FRAC 11: spray 1 in this crop; advised is at most 2."


def test_training_of_somebody_else_does_not_count():
    given_ = facts([("H2", 3)], **BURNDOWN)
    nobody = changed(
        given_, applicator=changed(given_.applicator, trainings=(TrainingFact(topic="x", done_on=date(2026, 1, 1)),))
    )
    assert [key for key in rows(nobody) if key[0] in ("label_training", "handler_training")] == []


LIMITS = {
    "rate_high": "rate",
    "max_apps": "uses",
    "season_ai": "season_ingredient",
    "phi": "harvest",
    "interval": "interval",
}


@settings(max_examples=40 * OFTEN, deadline=None)
@given(stories(), st.integers(0, 3))
def test_a_rule_is_either_passed_or_spoken_about(story, days):
    """Never both; and every rate, use count and season sum is one of the two."""
    given_, _ = story
    given_ = changed(
        given_, start_at=given_.start_at + timedelta(days=days), end_at=given_.end_at + timedelta(days=days)
    )
    told = {(r.rule, r.about) for r in passed_rules(given_)}
    spoken = {
        (LIMITS[f.code], f.numbers.get("ingredient") or f.numbers.get("product"))
        for f in check(given_)
        if f.code in LIMITS and f.severity is not Severity.NOTE
    }
    assert told & spoken == set()
    rated = {("rate", row.name) for row in given_.lines}
    assert rated <= told | {("rate", f.numbers.get("product")) for f in check(given_) if f.code.startswith("rate_")}


def test_as_json():
    row = next(r for r in passed_rules(facts([F1])) if r.rule == "rate")
    assert row.as_json() == {
        "rule": "rate",
        "sentence": "F1: 3 pt/acre; the label allows 1.5 pt/acre to 3 pt/acre.",
        "template": "{product}: {rate}; the label allows {least} to {most}.",
        "numbers": {"least": "1.5 pt/acre", "most": "3 pt/acre", "product": "F1", "rate": "3 pt/acre"},
        "source": "label of F1, label 1, rate",
        "subject": "F1",
    }


def test_a_respirator_is_told_where_a_label_asks_for_one():
    """40 CFR 170.507(b)(10)."""
    masked = changed(facts([F1]), lines=(relabelled("F1", 3, ppe={"applying": ["Respirator"]}),))
    fitted = changed(masked, applicator=changed(masked.applicator, respirator_until=date(2026, 8, 4)))

    assert rows(fitted)[("respirator", "")] == (
        "Hand: clearance and fit test for a respirator count through Tue, Aug 4, 2026."
    )
    late = changed(masked, applicator=changed(masked.applicator, respirator_until=date(2026, 8, 3)))
    unasked = changed(fitted, lines=(line(*F1),))
    assert [("respirator", "") in rows(g) for g in (masked, late, unasked)] == [False, False, False]


def test_a_finding_takes_away_what_it_is_about_and_nothing_else():
    """F3 is too much and too soon, F1 neither; the chlorothalonil of F1 is over nine tenths of its year."""
    six = [past(f"2026-{month}-{day}", F1) for month in ("05", "06") for day in ("02", "12", "22")]
    told = rows(facts([("F3", 8), F1], [*six, past("2026-08-01", F3)]))

    assert [("rate", "F3") in told, ("interval", "F3") in told] == [False, False]
    assert [("rate", "F1") in told, ("interval", "F1") in told] == [True, True]
    assert ("season_ingredient", "chlorothalonil") not in told
    assert ("one_pass", "chlorothalonil") in told
