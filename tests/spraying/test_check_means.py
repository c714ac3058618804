"""Label in hand, mix partners, stock, sprayer, the window itself."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from apps.products.rules import read_label
from apps.spraying.rules import SprayerFact, StockFact, check
from farmops.units import Quantity

from .mixes import LIBRARY, changed, facts, label_document, line, notes, past, reasons, relabelled, said

F1 = ("F1", 3)


def test_a_label_nobody_checked_against_the_paper():
    given = changed(facts([]), lines=(line(*F1, label_checked=False),))

    assert reasons(given) == (["label_unchecked"], [])


def test_no_label_in_force():
    given = changed(facts([F1]), lines=(line("F4", 8, label=None), line(*F1)))

    assert reasons(given) == (["label_missing"], [])


def test_nothing_planned():
    assert [f.code for f in check(facts([]))] == ["nothing_planned"]


def test_empty_ground():
    assert reasons(changed(facts([F1]), site_code=None)) == (["site_unknown"], [])


def test_a_crop_that_is_not_listed_hides_nothing_else():
    """F3 is not labelled for summer squash and 8 fl oz is above every rate it has."""
    given = facts([("F3", 8), F1], crop="summer_squash", harvest="2026-08-20T08:00", wind=16)

    assert reasons(given) == (["crop_not_on_label", "rate_high", "wind_high"], [])


def two_uses():
    """F1 on pumpkin against two targets with rates of their own."""
    rows = [
        {"targets": ["powdery_mildew"], "rate_min": "1.5", "rate_max": "2", "phi_days": 0, "max_uses": 2},
        {"targets": ["gummy_stem_blight"], "rate_min": "2.5", "rate_max": "3", "phi_days": 7, "max_uses": None},
    ]
    shared = {"site_code": "pumpkin", "rate_unit": "pt", "rate_basis": "per_acre", "min_interval_days": 7}
    return [{**shared, **row} for row in rows]


TARGETS = [
    # harvest in 3 days: only the mildew use may still be sprayed
    ("named", ("powdery_mildew",), "2", [], [], []),
    ("named_and_too_high_for_it", ("powdery_mildew",), "3", ["rate_high"], [], []),
    ("the_other", ("gummy_stem_blight",), "3", ["phi"], [], []),
    ("not_on_the_label", ("anthracnose",), "2", ["phi"], ["target_not_on_label"], []),
    ("not_named", (), "2", ["phi"], [], ["target_open"]),
    ("not_named_high", (), "3", ["phi"], [], ["target_open"]),
    ("not_named_between", (), "2.2", ["phi"], ["rate_low"], ["target_open"]),
    ("not_named_above_both", (), "3.1", ["phi", "rate_ai_single", "rate_high"], [], ["target_open"]),
]


@pytest.mark.parametrize(
    ("targets", "amount", "refusing", "asking", "noted"), [r[1:] for r in TARGETS], ids=[r[0] for r in TARGETS]
)
def test_the_target_picks_the_use(targets, amount, refusing, asking, noted):
    label = read_label({**label_document(LIBRARY["F1"]), "uses": two_uses()})
    product = line("F1", amount, label=label, targets=targets)
    given = changed(facts([], harvest="2026-08-07T08:00"), lines=(product,))

    assert reasons(given) == (refusing, asking)
    assert [code for code in notes(given) if code == "target_open"] == noted


WORDS = [
    ("conditions", {"use": {"conditions": "Not on greenhouse crops."}}, "label_condition"),
    ("release", {"condition_release": "Until dry."}, "condition_release"),
    ("double", {"double_notification": True}, "double_notification"),
]


@pytest.mark.parametrize(("doc", "code"), [r[1:] for r in WORDS], ids=[r[0] for r in WORDS])
def test_words_of_the_label_are_shown(doc, code):
    given = changed(facts([F1]), lines=(relabelled("F1", 3, **doc),))

    assert (code in notes(given), code in notes(facts([F1]))) == (True, False)


PH = [
    ("6.5", False, [], [], []),
    ("6.49", False, ["solution_ph"], [], []),
    (None, False, [], [], ["data_missing_ph"]),
    (None, True, ["data_missing_wind"], ["data_missing_ph"], []),
]


@pytest.mark.parametrize(("ph", "at_start", "refusing", "asking", "noted"), PH)
def test_ph_of_the_water(ph, at_start, refusing, asking, noted):
    given = changed(facts([("F12", 1)]), water_ph=None if ph is None else Decimal(ph), at_start=at_start)

    assert reasons(given) == (refusing, asking)
    assert [code for code in notes(given) if code == "data_missing_ph"] == noted


SURFACTANT = [(True, ["copper_surfactant"], []), (False, [], []), (None, [], ["surfactant_unknown"])]


@pytest.mark.parametrize(("surfactant", "asking", "noted"), SURFACTANT)
def test_copper_and_surfactant(surfactant, asking, noted):
    given = changed(facts([("F12", 1)]), surfactant=surfactant)

    assert reasons(given) == ([], asking)
    assert [code for code in notes(given) if code == "surfactant_unknown"] == noted


def test_an_adjuvant_in_the_tank_is_a_surfactant():
    adjuvant = relabelled("N1", 1, kind="adjuvant")

    assert reasons(changed(facts([]), lines=(line("F12", 1), adjuvant))) == ([], ["copper_surfactant"])


MIXES = [
    ("with_chlorothalonil", [("I9", 8), F1], ["mix_caution"]),
    ("with_a_premix_that_holds_it", [("I9", 8), ("F2", "3.2")], ["mix_caution"]),
    ("with_another", [("I9", 8), ("F10", 4)], []),
]


@pytest.mark.parametrize(("plan", "asking"), [r[1:] for r in MIXES], ids=[r[0] for r in MIXES])
def test_partners_the_label_warns_of(plan, asking):
    """Delaware: no translaminar miticide with a contact fungicide, chlorothalonil above all."""
    assert reasons(facts(plan)) == ([], asking)


def qty(amount, unit):
    return Quantity(Decimal(amount), unit)


STOCK = [
    ("enough_to_the_drop", {"F1": (qty("1.5", "gal"), qty("12", "pt"))}, []),
    ("a_drop_short", {"F1": (qty("1.5", "gal"), qty("12.01", "pt"))}, ["stock_short"]),
    ("not_on_the_shelf", {}, ["stock_short"]),
    ("liquid_against_dry", {"F1": (qty("10", "lb"), qty("12", "pt"))}, ["stock_unit"]),
    ("not_asked", None, []),
]


@pytest.mark.parametrize(("shed", "refusing"), [r[1:] for r in STOCK], ids=[r[0] for r in STOCK])
def test_stock(shed, refusing):
    stock = None if shed is None else {k: StockFact(available=have, needed=need) for k, (have, need) in shed.items()}

    assert reasons(changed(facts([F1]), stock=stock)) == (refusing, [])


def test_the_shortage_in_words():
    stock = {"F1": StockFact(available=qty("1.5", "gal"), needed=qty("13", "pt"))}

    assert said(changed(facts([F1]), stock=stock), "stock_short") == ["F1: the job needs 13 pt, 1.5 gal is available."]


DAY = date(2026, 8, 4)
SPRAYERS = [
    ("good_through_the_day", SprayerFact(name="B", measured_gpa=Decimal(40), measured_on=DAY, good_until=DAY), []),
    (
        "ran_out_yesterday",
        SprayerFact(name="B", measured_gpa=Decimal(40), measured_on=DAY, good_until=DAY - timedelta(days=1)),
        ["calibration_old"],
    ),
    ("no_end_given", SprayerFact(name="B", measured_gpa=Decimal(40), measured_on=DAY), ["calibration_old"]),
    ("never", SprayerFact(name="B"), ["calibration_missing"]),
    ("five_percent_off", SprayerFact(name="B", measured_gpa=Decimal("38.1"), measured_on=DAY, good_until=DAY), []),
    (
        "more_than_five_percent_off",
        SprayerFact(name="B", measured_gpa=Decimal(38), measured_on=DAY, good_until=DAY),
        ["calibration_differs"],
    ),
]


@pytest.mark.parametrize(("sprayer", "asking"), [r[1:] for r in SPRAYERS], ids=[r[0] for r in SPRAYERS])
def test_sprayer(sprayer, asking):
    assert reasons(changed(facts([F1]), sprayer=sprayer)) == ([], asking)


def test_no_sprayer_is_a_note_while_planning_and_stops_the_start():
    planning, starting = changed(facts([F1]), sprayer=None), changed(facts([F1]), sprayer=None, at_start=True)

    assert (reasons(planning), "sprayer_missing" in notes(planning)) == (([], []), True)
    assert reasons(starting) == (["data_missing_wind", "sprayer_missing"], [])


WINDOWS = [
    ("backwards", "2026-08-04T07:00", "2026-08-04T07:00", ["window_backwards"]),
    ("a_whole_day", "2026-08-04T07:00", "2026-08-05T07:00", []),
    ("more_than_a_day", "2026-08-04T07:00", "2026-08-05T07:01", ["window_long"]),
]


@pytest.mark.parametrize(("start", "end", "refusing"), [r[1:] for r in WINDOWS], ids=[r[0] for r in WINDOWS])
def test_the_window(start, end, refusing):
    assert reasons(facts([F1], start=start, end=end)) == (refusing, [])


def test_the_worst_comes_first():
    given = facts(
        [("F12", 2)],
        [past("2026-08-02", ("F12", 1))],
        wind=2,
        ph=None,
        start="2026-08-04T09:00",
        end="2026-08-04T10:00",
    )

    assert [(f.severity.value, f.code) for f in check(given)] == [
        ("refuse", "rate_high"),
        ("refuse", "interval"),
        ("justify", "wind_low_inversion"),
        ("note", "data_missing_ph"),
    ]
