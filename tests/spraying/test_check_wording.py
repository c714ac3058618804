"""What a finding says, where its limit stands, and which input it is about: the whole of it, once for each kind."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from apps.crops.rules import NextCrop
from apps.products.rules import Method, Scheme
from apps.spraying.rules import BeeHours, Entry, StockFact, Worker, check, may_plant
from apps.spraying.rules.ground import records_short, unread_before
from farmops.units import Quantity

from .mixes import at, changed, facts, line, past, relabelled

F1, F3 = ("F1", 3), ("F3", 6)


def whole(given_, code):
    return [(f.sentence, f.source, f.field) for f in check(given_) if f.code == code]


def short(available, unit):
    stock = {"F1": StockFact(available=Quantity(Decimal(available), unit), needed=Quantity(Decimal(36), "pt"))}
    return changed(facts([F1]), stock=stock)


CORN = BeeHours(
    from_dusk=True, quiet=((at("2026-08-04T11:00").time(), at("2026-08-04T15:00").time()),), source="Delaware"
)


def corn(start, end):
    base = facts([("I5", 2)], crop="sweet_corn", harvest="2026-08-20T08:00", bloom=True, start=start, end=end)
    return changed(base, policy=changed(base.policy, bee_hours={"sweet_corn": CORN}))


def young(born_on, *, family=False):
    base = facts([("I1", 3)])
    return changed(
        base,
        applicator=Worker(name="Kim", trainings=base.applicator.trainings, born_on=born_on),
        supervisor=base.applicator,
        supervised=True,
        same_family=family,
        method=Method.GROUND,
    )


WHOLE = [
    ("nothing_in_the_shed", changed(facts([F1]), stock={}), "stock_short",
     "F1: nothing is on record in the shed.", "shed ledger", "products"),
    ("too_little", short(30, "pt"), "stock_short",
     "F1: the job needs 36 pt, 30 pt is available.", "shed ledger", "products"),
    ("other_measure", short(30, "lb"), "stock_unit",
     "F1: the shed holds 30 lb, the job needs 36 pt; these cannot be compared.", "shed ledger", "products"),
    ("bees_keep_other_hours", corn("2026-08-04T11:00", "2026-08-04T15:00"), "bee_window",
     "I5: bees keep other hours on sweet corn. Say who looked and saw none at Tue, Aug 4, 11:00 AM EDT.",
     "Delaware", "start_at"),
    ("age", young(None), "age_unknown",
     "The age of Kim is not on record; under supervision one must be 18.", "40 CFR 171.201", "applicator"),
    ("too_young", young(date(2009, 1, 1)), "too_young",
     "Kim is 17; under supervision one must be 18 to apply I1.", "40 CFR 171.201", "applicator"),
    ("young_family", young(date(2009, 1, 1), family=True), "young_family",
     "Kim is 17: write down how Kim and the certified supervisor are of one immediate family, "
     "and that the state allows it.", "40 CFR 171.201", "supervisor"),
    ("entry", changed(facts([F1]), entries=(Entry(at=at("2026-08-04T10:00"), activity="hand_labor"),)), "rei_entry",
     "F1: entry is restricted for 12 h, until Tue, Aug 4, 8:00 PM EDT; work scheduled for Tue, Aug 4, 10:00 AM EDT "
     "will be held.", "label of F1, label 1, restricted-entry interval; 40 CFR 170.407", "start_at"),
    ("picking", facts([F1], harvest="2026-08-04T10:00"), "rei_harvest",
     "F1: entry is restricted for 12 h, until Tue, Aug 4, 8:00 PM EDT; harvest is planned for Tue, Aug 4, "
     "10:00 AM EDT.", "label of F1, label 1, restricted-entry interval; 40 CFR 170.407", "start_at"),
    ("before_planting", changed(
        facts([("H1", "1.5")], crop="fallow_cover", harvest=None, start="2026-05-28T07:00", end="2026-05-28T08:00"),
        next_crops=(NextCrop(site_code="pumpkin", planted_on=date(2026, 5, 30), harvested=True),)), "preplant",
     "H1: 2 days before pumpkin is planted on Sat, May 30, 2026; 3 days must lie between.",
     "label of H1, label 1, days before planting", "start_at"),
    ("cover", changed(
        facts([("H6", 21)], start="2026-06-01T07:00", end="2026-06-01T08:00"),
        next_crops=(NextCrop(site_code="cereal_rye", planted_on=date(2026, 10, 5), harvested=False),)),
     "plantback_cover",
     "H6, sprayed Mon, Jun 1, 2026: until Fri, Oct 1, 2027, cereal_rye on Mon, Oct 5, 2026 may only be a cover, "
     "not to be grazed or harvested.", "label of H6, label 1, planting after use", "start_at"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("given_", "code", "sentence", "source", "field"), [r[1:] for r in WHOLE], ids=[r[0] for r in WHOLE]
)
def test_the_whole_finding(given_, code, sentence, source, field):
    assert whole(given_, code) == [(sentence, source, field)]


def test_two_labels_that_each_ask_for_distance_both_say_so():
    found = whole(facts([("F11", "0.8")], [past("2026-07-25", ("F10", 4))]), "separation")

    assert found == [
        (
            f"F11: 10 days from F10 of Sat, Jul 25, 2026 on Long Field 2; 14 days must lie between ({name}).",
            f"label of {whose}, label 1, keep apart from {name}",
            "start_at",
        )
        for name, whose in (("mineral oil", "F10"), ("sulfur", "F11"))
    ]


def test_a_planting_names_its_own_field_and_every_spray_that_forbids_it():
    crop = NextCrop(site_code="pumpkin", planted_on=date(2026, 6, 12), harvested=True)
    events = [
        past("2026-06-01", ("H5", 3), crop="sweet_corn"),
        past("2026-06-10", ("H1", "1.5"), crop="fallow_cover"),
        past("2026-06-02", ("H5", 3), crop="sweet_corn"),
    ]
    found = may_plant(events, crop)

    assert [(f.code, f.field) for f in found] == [
        ("plantback", "planted_on"),
        ("preplant", "planted_on"),
        ("plantback", "planted_on"),
    ]


def test_a_crop_that_is_not_listed_takes_the_star_even_where_another_waits_longer():
    rows = [{"site_code": "*", "months": 4}, {"site_code": "wheat_grain", "months": 12}]
    kept = relabelled("H5", 3, plantback=rows)
    crop = NextCrop(site_code="tomato", planted_on=date(2026, 10, 5), harvested=True)
    late = changed(crop, planted_on=date(2026, 10, 4))
    event = past("2026-06-05", crop="sweet_corn", lines=(kept,))

    assert [[f.code for f in may_plant([event], c)] for c in (crop, late)] == [[], ["plantback"]]


def test_a_past_spray_without_a_label_is_in_no_run_and_a_planting_cannot_be_answered():
    nobody_knows = past("2026-07-20", lines=(changed(line("F3", 6), label=None),))
    given_ = facts([F3, F1], [nobody_knows, past("2026-07-27", F3, F1)])
    found = unread_before(
        [nobody_knows], NextCrop(site_code="pumpkin", planted_on=date(2027, 6, 1), harvested=True), block_name="East 1"
    )

    assert "group_consec_label" not in [f.code for f in check(given_)]
    assert [(f.code, f.numbers) for f in found] == [("history_unread", {"products": "F3", "block": "East 1"})]


def test_a_label_without_a_volume_asks_for_none():
    silent = relabelled("F1", 3, min_spray_gpa=None)
    given_ = changed(facts([F1]), lines=(silent,), spray_gpa=None)

    assert [f.code for f in check(given_) if f.code.startswith("gpa")] == []


def test_of_two_limits_on_one_ingredient_the_fuller_speaks():
    """15.75 lb a year and 20 lb a crop: with six passes of 2.25 lb behind it the year is full, the crop is not."""
    caps = [
        {"ingredient": "chlorothalonil", "pounds": "15.75", "per": "year", "year_basis": "calendar"},
        {"ingredient": "chlorothalonil", "pounds": "20", "per": "crop"},
    ]
    history = [past(f"2026-{month}-{day}", F1) for month in ("05", "06") for day in ("02", "12", "22")]
    given_ = changed(facts([F1], history), lines=(relabelled("F1", 3, caps=caps),))

    assert [f.numbers["limit"] for f in check(given_) if f.code == "season_near"] == ["15.75 lb"]


KNOWN = [
    # 36 calendar months before 1 June 2027 is 1 June 2024
    ("from_that_day", date(2024, 6, 1), []),
    ("a_day_short", date(2024, 6, 2), [{"since": "2024-06-01", "block": "East 1", "known": "2024-06-02"}]),
    ("nobody_knows", None, [{"since": "2024-06-01", "block": "East 1", "known": "?"}]),
]


@pytest.mark.parametrize(("known", "expected"), [r[1:] for r in KNOWN], ids=[r[0] for r in KNOWN])
def test_the_records_must_reach_back_three_years_for_a_planting(known, expected):
    crop = NextCrop(site_code="pumpkin", planted_on=date(2027, 6, 1), harvested=True)

    assert [f.numbers for f in records_short(known, crop, block_name="East 1")] == expected
    assert unread_before([past("2026-07-20", F1)], crop, block_name="East 1") == []


def test_one_failed_spray_is_enough():
    base = facts([("I4", 4)])
    rule = changed(
        base.policy.group_rules[0], scheme=Scheme.IRAC, code=None, max_in_a_row=None, never_after_failure=True
    )
    failed = past("2026-07-20", ("I4", 4), failed=True)
    given_ = changed(base, history=(failed,), policy=changed(base.policy, group_rules=(rule,)))

    assert "group_after_failure" in [f.code for f in check(given_)]


def test_sprays_long_before_are_in_no_window_with_the_planned_one():
    """Two of FRAC 11 in June, three without it, and now one: at most one of any three that hold it."""
    history = [
        past("2026-06-01", ("F6", 15)),
        past("2026-06-08", ("F6", 15)),
        *(past(day, F1) for day in ("2026-06-20", "2026-07-01", "2026-07-15")),
    ]

    assert "group_window" not in [f.code for f in check(facts([("F2", 3)], history))]
