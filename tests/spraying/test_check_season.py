"""Uses, product and ingredient in a season: what a year is, crops, parts of a block. Limits of the invented library."""

from __future__ import annotations

from datetime import date

import pytest

from apps.products.rules import read_label
from apps.spraying.rules import PRESETS

from .mixes import LIBRARY, changed, facts, label_document, line, notes, past, reasons, relabelled, said

QUIET = PRESETS["labels_only"]


def f1_weeks(count, first="07-06", amount=3, **more):
    start = date.fromisoformat(f"2026-{first}")
    return [past(str(date.fromordinal(start.toordinal() + 7 * n)), ("F1", amount), **more) for n in range(count)]


AUG_24 = {"start": "2026-08-24T07:00", "end": "2026-08-24T08:00"}

SEASON = [
    # F1: 3 pt = 2.25 lb chlorothalonil; 15.75 lb a year
    ("just_under_nine_tenths", 6, 3, "0.89", [], ["rate_low"]),  # 13.5 + 0.6675 = 14.1675 lb < 14.175
    ("nine_tenths", 6, 3, "0.9", [], ["rate_low", "season_near"]),
    ("six_sprays_then_2_pt", 6, 3, 2, [], ["season_near"]),  # 13.5 + 1.5 = 15.0
    ("six_sprays_then_3_pt_is_the_cap", 6, 3, 3, [], ["season_near"]),
    ("seven_sprays", 7, 3, "1.5", ["season_ai"], []),
]


@pytest.mark.parametrize(
    ("weeks", "was", "now", "refusing", "asking"), [r[1:] for r in SEASON], ids=[r[0] for r in SEASON]
)
def test_ingredient_over_the_year(weeks, was, now, refusing, asking):
    assert reasons(facts([("F1", now)], f1_weeks(weeks, amount=was), **AUG_24)) == (refusing, asking)


def test_nine_tenths_of_the_cap_to_the_ounce():
    """0.3 lb of bifenthrin a year: 0.27 lb is near, a hair less is not. 2 lb/gal: 17.28 fl oz = 0.27 lb."""
    before = [past("2026-07-01", ("I2", "6.4")), past("2026-07-15", ("I2", "6.4"))]

    assert reasons(facts([("I2", "4.48")], before)) == ([], ["season_near"])
    assert reasons(facts([("I2", "4.47")], before)) == ([], [])


def test_last_year_does_not_count_against_a_calendar_year():
    history = [past("2025-12-31", ("I2", "6.4")), past("2025-07-01", ("I2", "6.4")), past("2025-08-01", ("I2", "6.4"))]

    assert reasons(facts([("I2", "6.4")], history)) == ([], [])


def test_all_crops_of_the_year_count():
    """0.48 lb lambda-cyhalothrin a year in sweet corn stands in for the general 0.18 lb."""
    corn = {"crop": "sweet_corn", "harvest": "2026-09-20T08:00"}
    six = [past(f"2026-06-{day:02}", ("I1", "3.84"), crop="pumpkin") for day in (1, 6, 11, 16, 21, 26)]  # 6 x 0.03 lb

    assert reasons(facts([("I1", "3.84")], six, **corn)) == ([], [])  # 0.21 of 0.48
    assert reasons(facts([("I1", "3.84")], six)) == (["season_ai"], [])  # 0.21 of 0.18 on pumpkin


def test_a_premix_eats_the_allowance_of_the_straight_product():
    """0.2 lb chlorantraniliprole: 2 x 10 fl oz of the premix = 0.130 lb, 7.5 fl oz straight = 0.0978 lb."""
    corn = {"crop": "sweet_corn", "harvest": "2026-09-20T08:00"}
    before = [past("2026-07-20", ("I3", 10), crop="sweet_corn"), past("2026-07-27", ("I3", 10), crop="sweet_corn")]
    given = changed(facts([("I4", "7.5")], before, **corn), policy=QUIET)

    assert reasons(given) == (["season_ai"], [])
    assert said(given, "season_ai") == [
        "chlorantraniliprole: 0.2283 lb per acre with this spray, 0.2 lb allowed on Long Field 2 "
        "(Thu, Jan 1, 2026 to Thu, Dec 31, 2026; I4)."
    ]


def on_basis(code, amount, basis, **more):
    """A library product whose label counts its caps and uses on ``basis``."""
    doc = label_document(LIBRARY[code])
    caps = [{**cap, "year_basis": basis} for cap in doc["caps"]]
    return relabelled(code, amount, use={"season_basis": basis}, caps=caps, **more)


BASES = [
    # three sprays of I2 6.4 fl oz = 0.1 lb each; cap 0.3 lb
    ("calendar", ["2025-11-01", "2025-12-01", "2025-12-30"], [], []),
    ("twelve_months", ["2025-11-01", "2025-12-01", "2025-12-30"], ["season_ai"], []),
    ("twelve_months", ["2025-08-04", "2025-12-01", "2025-12-30"], [], ["season_near"]),  # a year ago to the day is out
    ("twelve_months", ["2025-08-05", "2025-12-01", "2025-12-30"], ["season_ai"], []),
    ("unknown", ["2025-08-05", "2025-12-01", "2025-12-30"], ["season_ai"], []),
    ("crop", ["2026-05-30", "2026-06-01", "2026-06-20"], [], ["season_near"]),  # planted 1 June: two and this one
    ("crop", ["2026-06-01", "2026-06-20", "2026-07-10"], ["season_ai"], []),
    ("unknown", ["2026-05-30", "2026-06-01", "2026-06-20"], ["season_ai"], []),
]


@pytest.mark.parametrize(("basis", "days", "refusing", "asking"), BASES)
def test_what_a_year_means(basis, days, refusing, asking):
    history = [past(day, ("I2", "6.4")) for day in days]
    given = changed(facts([], history), lines=(on_basis("I2", "6.4", basis),), planted_on=date(2026, 6, 1))

    assert reasons(given) == (refusing, asking)


def test_an_unknown_year_is_said():
    unknown = changed(facts([]), lines=(on_basis("I2", "6.4", "unknown"),))
    stated = changed(facts([]), lines=(on_basis("I2", "6.4", "calendar"),))

    assert ("year_basis_unknown" in notes(unknown), "year_basis_unknown" in notes(stated)) == (True, False)


def test_twelve_months_that_hold_a_later_spray_count_too():
    """Two sprays before and one already assigned after: 0.4 lb within twelve months."""
    history = [past(day, ("I2", "6.4")) for day in ("2026-06-01", "2026-07-01")]
    history.append(past("2027-05-31", ("I2", "6.4"), done=False))
    given = changed(facts([], history), lines=(on_basis("I2", "6.4", "twelve_months"),))

    assert reasons(given) == (["season_ai"], [])


def test_a_crop_cap_on_another_planting_starts_again():
    crop_cap = [{"ingredient": "bifenthrin", "pounds": "0.3", "per": "crop"}]
    history = [past(day, ("I2", "6.4"), crop="sweet_corn") for day in ("2026-05-01", "2026-06-01", "2026-07-01")]
    given = changed(facts([], history), lines=(relabelled("I2", "6.4", caps=crop_cap),))

    assert reasons(given) == ([], [])
    assert reasons(changed(given, site_code="sweet_corn")) == (["season_ai"], [])


USES = [
    ("third_of_two", ["2026-06-01", "2026-06-20"], ["max_apps"]),
    ("second_of_two", ["2026-06-20"], []),
    ("last_year", ["2025-06-01", "2025-06-20"], []),
]


@pytest.mark.parametrize(("days", "refusing"), [r[1:] for r in USES], ids=[r[0] for r in USES])
def test_number_of_uses(days, refusing):
    given = changed(facts([("I9", 8)], [past(day, ("I9", 8)) for day in days]), policy=QUIET)

    assert reasons(given) == (refusing, [])


def test_a_product_twice_in_a_tank_is_one_use():
    given = changed(facts([("I9", 8), ("I9", 8)], [past("2026-06-20", ("I9", 8))]), policy=QUIET)

    assert reasons(given) == ([], [])


PRODUCT = [
    ("at_the_season_amount", ["6", "6", "6"], "6", "floz", [], ["season_product_near"]),
    ("over_it", ["6", "6", "6.1"], "6", "floz", ["season_product"], []),
    ("over_it_in_pints", ["6", "6", "6.1"], "0.375", "pt", ["season_product"], []),
    ("well_below", ["4"], "4", "floz", [], []),
]


@pytest.mark.parametrize(
    ("before", "now", "unit", "refusing", "noted"), [r[1:] for r in PRODUCT], ids=[r[0] for r in PRODUCT]
)
def test_product_in_a_season(before, now, unit, refusing, noted):
    """F3: 24 fl oz and 4 uses a year."""
    history = [past(f"2026-0{5 + n}-01", ("F3", amount)) for n, amount in enumerate(before)]
    given = changed(facts([("F3", now, unit)], history), policy=QUIET)
    refused, _ = reasons(given)

    assert [code for code in refused if code.startswith("season")] == refusing
    assert [code for code in notes(given) if code.startswith("season")] == noted


PARTS = [
    ("other_part", "B", "A", []),
    ("same_part", "A", "A", ["season_ai"]),
    ("whole_block_planned_over_a_part", "all", "A", ["season_ai"]),
    ("part_planned_after_the_whole", "A", "all", ["season_ai"]),
]


@pytest.mark.parametrize(("planned", "treated", "refusing"), [r[1:] for r in PARTS], ids=[r[0] for r in PARTS])
def test_a_partial_treatment_counts_on_its_part(planned, treated, refusing):
    history = f1_weeks(7, zone=treated)

    assert reasons(facts([("F1", 3)], history, zone=planned, **AUG_24))[0] == refusing


def test_two_parts_are_not_added_up():
    """A had four sprays and B three: neither part is over, the whole block may be sprayed."""
    history = [*f1_weeks(4, zone="A"), *f1_weeks(3, "08-03", zone="B")]

    assert reasons(facts([("F1", 3)], history, **AUG_24)) == ([], [])


def test_the_finding_names_the_part_it_is_about():
    history = f1_weeks(7, zone="A")
    given = facts([("F1", 3)], history, **AUG_24)

    assert [s.split(" allowed on ")[1] for s in said(given, "season_ai")] == [
        "Long Field 2 [A] (Thu, Jan 1, 2026 to Thu, Dec 31, 2026; F1)."
    ]


def test_a_label_used_before_limits_what_the_new_one_does_not():
    """The straight product's cap is missing; the premix used before caps chlorothalonil at 15.75 lb."""
    uncapped = relabelled("F1", 3, caps=[])
    history = [past(f"2026-07-{day:02}", ("F2", "3.2")) for day in range(1, 15, 2)]  # 7 x 2 lb
    given = changed(facts([], history), lines=(uncapped,), policy=QUIET)

    assert reasons(given) == ([], ["season_ai_other_label"])


def test_a_past_spray_that_cannot_be_counted_is_said():
    no_label = past("2026-07-01", lines=(line("F4", 8, label=None),))

    assert reasons(facts([("F1", 3)], [no_label])) == ([], ["history_unread"])


HISTORY = [
    ("records_from_new_year", "F1", 3, "2026-01-01", []),
    ("records_from_a_day_later", "F1", 3, "2026-01-02", ["history_unknown"]),
    ("no_records", "F1", 3, None, ["history_unknown"]),
    ("only_an_interval_looks_back", "H4", "1.5", "2026-07-21", []),  # 14 days before 4 Aug
    ("records_shorter_than_the_interval", "H4", "1.5", "2026-07-22", ["history_unknown"]),
]


@pytest.mark.parametrize(("code", "amount", "known", "asking"), [r[1:] for r in HISTORY], ids=[r[0] for r in HISTORY])
def test_records_must_reach_as_far_back_as_the_limits(code, amount, known, asking):
    known_from = date.fromisoformat(known) if known else None

    assert reasons(changed(facts([(code, amount)]), history_known_from=known_from)) == ([], asking)


def test_a_later_label_version_with_a_lower_cap_counts_the_old_uses():
    caps = [{**cap, "pounds": "10"} for cap in label_document(LIBRARY["F1"])["caps"] if cap["per"] == "year"]
    stricter = line("F1", 3, label=read_label({**label_document(LIBRARY["F1"]), "caps": caps}))

    assert reasons(
        changed(
            facts([], f1_weeks(4)),
            lines=(stricter,),
        )
    ) == (["season_ai"], [])


AHEAD = [
    # two sprays before, one assigned after; cap 0.3 lb = three sprays
    ("a_day_within_twelve_months", "2027-07-31", ["season_ai"]),  # 1 Aug 2026 to 31 July 2027 holds three and this
    ("twelve_months_after_the_first", "2027-08-01", []),
]


@pytest.mark.parametrize(("later", "refusing"), [r[1:] for r in AHEAD], ids=[r[0] for r in AHEAD])
def test_where_twelve_months_end(later, refusing):
    history = [past(day, ("I2", "6.4")) for day in ("2026-08-01", "2026-08-02")]
    history.append(past(later, ("I2", "6.4"), done=False))
    silent = on_basis("I2", "6.4", "twelve_months")
    quiet = changed(silent.label, uses=tuple(changed(u, min_interval_days=0) for u in silent.label.uses))
    given = changed(facts([], history), lines=(changed(silent, label=quiet),))

    assert [c for c in reasons(given)[0] if c == "season_ai"] == refusing


CROP_UNKNOWN = [("within_a_year", "2025-08-05", ["season_ai"]), ("a_year_ago_to_the_day", "2025-08-04", [])]


@pytest.mark.parametrize(("first", "refusing"), [r[1:] for r in CROP_UNKNOWN], ids=[r[0] for r in CROP_UNKNOWN])
def test_a_crop_of_unknown_age_counts_a_year_back(first, refusing):
    history = [past(day, ("I2", "6.4")) for day in (first, "2026-06-01", "2026-07-01")]
    given = changed(facts([], history), lines=(on_basis("I2", "6.4", "crop"),), planted_on=None)

    assert reasons(given)[0] == refusing


def test_the_crops_of_unknown_name_count_for_a_crop_limit():
    history = [past(day, ("I2", "6.4"), crop=None) for day in ("2026-05-01", "2026-06-01", "2026-07-01")]
    given = changed(facts([], history), lines=(on_basis("I2", "6.4", "crop"),))

    assert reasons(given)[0] == ["season_ai"]


def test_a_stretch_that_leaves_the_planned_day_out_does_not_count():
    """Three assigned within the year after the planned day's own year: that stretch begins the day after it."""
    days = ("2026-09-01", "2026-10-01", "2027-08-04")
    history = [past(day, ("I2", "6.4"), done=False) for day in days]
    given = changed(facts([], history), lines=(on_basis("I2", "6.4", "twelve_months"),))

    assert reasons(given) == ([], ["season_near"])


def test_a_millionth_of_a_pound_is_forgiven_and_no_more():
    """F1 at 3 pt is 2.25 lb: a cap a millionth lower still holds it, two millionths lower does not."""
    answers = []
    for pounds in ("2.249999", "2.249998"):
        caps = [{"ingredient": "chlorothalonil", "pounds": pounds, "per": "year", "year_basis": "calendar"}]
        answers.append(reasons(changed(facts([]), lines=(relabelled("F1", 3, caps=caps),))))

    assert answers == [([], ["season_near"]), (["season_ai"], [])]


def test_near_the_cap_is_said_in_percent():
    history = f1_weeks(6)

    assert said(facts([("F1", 2)], history, **AUG_24), "season_near") == [
        "chlorothalonil: 15 lb per acre with this spray, 95.2 % of the 15.75 lb allowed on Long Field 2 "
        "(Thu, Jan 1, 2026 to Thu, Dec 31, 2026; F1)."
    ]


def test_of_two_limits_on_one_ingredient_the_fuller_speaks():
    caps = [
        {"ingredient": "chlorothalonil", "pounds": "20", "per": "year", "year_basis": "calendar"},
        {"ingredient": "chlorothalonil", "pounds": "2.4", "per": "crop"},
    ]
    given = changed(facts([]), lines=(relabelled("F1", 3, caps=caps),), planted_on=date(2026, 6, 1))

    assert [s.split(" of the ")[1].split(" allowed")[0] for s in said(given, "season_near")] == ["2.4 lb"]


PRODUCT_NEAR = [("21.6_of_24", "9.6", ["season_product_near"]), ("just_below", "9.59", [])]


@pytest.mark.parametrize(("before", "noted"), [r[1:] for r in PRODUCT_NEAR], ids=[r[0] for r in PRODUCT_NEAR])
def test_product_near_its_season_amount(before, noted):
    """Nine tenths of 24 fl oz is 21.6: two past sprays and 6 fl oz now."""
    history = [past("2026-05-01", ("F3", 6)), past("2026-06-01", ("F3", before))]

    assert [c for c in notes(facts([("F3", 6)], history)) if c == "season_product_near"] == noted


BASIS_NOTE = [
    ("nothing_counted", "H4", "1.5", {}, False),
    ("uses_counted", "H4", "1.5", {"max_uses": 2}, True),
    ("product_counted", "H4", "1.5", {"season_max_product": 4}, True),
]


@pytest.mark.parametrize(
    ("code", "amount", "use", "noted"), [r[1:] for r in BASIS_NOTE], ids=[r[0] for r in BASIS_NOTE]
)
def test_the_year_is_only_asked_about_where_something_is_counted(code, amount, use, noted):
    row = relabelled(code, amount, use={"season_basis": "unknown", **use})

    assert ("year_basis_unknown" in notes(changed(facts([]), lines=(row,)))) is noted


UNREAD = [("this_year", "2026-01-02", ["history_unread"]), ("last_year", "2025-01-01", ["history_unread"]),
          ("before", "2024-12-31", [])]  # fmt: skip


@pytest.mark.parametrize(("day", "asking"), [r[1:] for r in UNREAD], ids=[r[0] for r in UNREAD])
def test_sprays_that_cannot_be_counted_matter_for_two_years(day, asking):
    assert reasons(facts([("F1", 3)], [past(day, lines=(line("F4", 8, label=None),))])) == ([], asking)
