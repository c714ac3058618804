"""Rates, mixed units and bases, ingredient per pass, spray volume, method. Limits of the invented library."""

from __future__ import annotations

from decimal import Decimal

import pytest

from apps.products.rules import Method, Rate, RateBasis, read_label
from apps.spraying.rules import PRESETS, check
from farmops.units import Quantity

from .mixes import LIBRARY, changed, facts, label_document, line, notes, reasons, relabelled, said

F1 = ("F1", 3)


def rate(amount: str, unit: str, basis: RateBasis = RateBasis.PER_ACRE) -> Rate:
    return Rate(quantity=Quantity(Decimal(amount), unit), basis=basis)


PERCENT, HUNDRED = RateBasis.PERCENT_VV, RateBasis.PER_100_GAL

OIL = [
    # F11 allows 0.5-1 gal/acre; 1 % v/v of 40 gal/acre = 0.4 gal/acre (crop-protection practice, worked by hand)
    ("one_percent_of_40_gal_is_0.4_gal", rate("1", "%vv", PERCENT), [], ["rate_low"]),
    ("one_and_a_quarter_percent_is_0.5_gal", rate("1.25", "%vv", PERCENT), [], []),
    ("two_and_a_half_percent_is_1_gal", rate("2.5", "%vv", PERCENT), [], []),
    ("above_that", rate("2.51", "%vv", PERCENT), ["rate_high"], []),
    ("2.5_gal_per_100_is_1_gal", rate("2.5", "gal", HUNDRED), [], []),
    ("10.1_qt_per_100", rate("10.1", "qt", HUNDRED), ["rate_high"], []),
]


@pytest.mark.parametrize(("given", "refusing", "asking"), [row[1:] for row in OIL], ids=[row[0] for row in OIL])
def test_rates_stated_another_way_are_turned_once(given, refusing, asking):
    oil = changed(facts([]), lines=(line("F11", 1, rate=given),))

    assert reasons(oil) == (refusing, asking)


UNITS = [
    ("6_floz", "6", "floz", [], []),
    ("6_floz_in_pints", "0.375", "pt", [], []),
    ("6_floz_in_mL", "177.441177375", "ml", [], []),  # 6 x 29.5735295625 mL, exact by definition (NIST SP 811)
    ("a_little_more_in_mL", "177.45", "ml", ["rate_high"], []),
    ("4_floz_in_gal", "0.03125", "gal", [], []),
    ("3.9_floz", "3.9", "floz", [], ["rate_low"]),
    ("6.01_floz", "6.01", "floz", ["rate_high"], []),
    ("ounces_of_weight_are_another_thing", "6", "oz", ["rate_unit"], []),
]


@pytest.mark.parametrize(("amount", "unit", "refusing", "asking"), [r[1:] for r in UNITS], ids=[r[0] for r in UNITS])
def test_the_unit_typed_does_not_matter_the_dimension_does(amount, unit, refusing, asking):
    assert reasons(facts([("F3", amount, unit), F1])) == (refusing, asking)


def test_a_rate_against_water_is_not_judged_without_the_volume():
    oil = changed(facts([]), lines=(line("F11", 1, rate=rate("1", "%vv", PERCENT)),), spray_gpa=None)

    assert reasons(oil) == (["rate_unknown"], ["gpa_unknown"])


def test_a_label_per_100_gallons_judges_a_rate_per_acre():
    """4-6 fl oz per 100 gal at 40 gal/acre is 1.6-2.4 fl oz per acre."""
    per_100 = relabelled("F3", "2.4", use={"rate_basis": "per_100_gal"})
    above = relabelled("F3", "2.41", use={"rate_basis": "per_100_gal"})
    below = relabelled("F3", "1.5", use={"rate_basis": "per_100_gal"})
    base = facts([("F3", 6), F1])

    assert reasons(changed(base, lines=(per_100, line(*F1)))) == ([], [])
    assert reasons(changed(base, lines=(above, line(*F1)))) == (["rate_high"], [])
    assert reasons(changed(base, lines=(below, line(*F1)))) == ([], ["rate_low"])


SINGLE = [
    ("2.25_lb_is_the_limit", [("F1", 3)], [], []),
    ("split_over_two_products_at_the_limit", [("F1", 1.5), ("F2", "1.8")], [], ["rate_low"]),  # 1.125 + 1.125 lb
    ("a_trace_over", [("F1", 1.5), ("F2", "1.81")], ["rate_ai_single"], ["rate_low"]),
    ("twice_the_same_product", [("F1", 2), ("F1", 1.5)], ["rate_ai_single"], []),  # 1.5 + 1.125 lb
]


@pytest.mark.parametrize(("plan", "refusing", "asking"), [r[1:] for r in SINGLE], ids=[r[0] for r in SINGLE])
def test_one_ingredient_in_one_pass_is_summed_over_the_tank(plan, refusing, asking):
    labels_only = changed(facts(plan), policy=PRESETS["labels_only"])

    assert reasons(labels_only) == (refusing, asking)


def test_the_sentence_carries_the_numbers_and_the_label():
    assert said(facts([("F3", 8), F1]), "rate_high") == [
        "F3: 8 fl oz/acre is above the label's highest rate, 6 fl oz/acre."
    ]


VOLUME = [
    ("at_the_minimum", "20", False, [], [], ["gpa_below_recommended"]),
    ("below", "19.9", False, ["gpa_low"], [], []),
    ("at_the_recommended", "30", False, [], [], []),
    ("unknown_while_planning", None, False, [], ["gpa_unknown"], []),
    ("unknown_at_the_start", None, True, ["data_missing_wind", "gpa_unknown"], [], []),
]


@pytest.mark.parametrize(
    ("gpa", "at_start", "refusing", "asking", "noted"), [r[1:] for r in VOLUME], ids=[r[0] for r in VOLUME]
)
def test_spray_volume(gpa, at_start, refusing, asking, noted):
    given = facts([("F3", 6), F1])
    measured = changed(given.sprayer, measured_gpa=Decimal(gpa or 40))
    given = changed(given, spray_gpa=gpa and Decimal(gpa), at_start=at_start, sprayer=measured)

    assert reasons(given) == (refusing, asking)
    assert [code for code in notes(given) if code.startswith("gpa")] == noted


def test_a_use_may_ask_for_more_water_than_the_label_as_a_whole():
    thirsty = relabelled("F1", 3, use={"min_spray_gpa": "50"})

    assert reasons(changed(facts([F1]), lines=(thirsty,))) == (["gpa_low"], [])


METHODS = [
    (Method.GROUND, False, [], []),
    (Method.AIR, False, ["method"], []),
    (Method.CHEMIGATION, False, ["method"], []),
    (None, False, [], ["method_unknown"]),
    (None, True, ["data_missing_wind", "method_unknown"], []),
]


@pytest.mark.parametrize(("method", "at_start", "refusing", "asking"), METHODS)
def test_a_ground_only_product(method, at_start, refusing, asking):
    given = changed(facts([("F3", 6), F1]), method=method, at_start=at_start)

    assert reasons(given) == (refusing, asking)


def test_uses_that_share_no_method_ask_for_the_target():
    """Mildew by air only, rust by ground only: with no target named neither way is allowed by both."""
    body = label_document(LIBRARY["F1"])
    row = next(use for use in body["uses"] if use["site_code"] == "pumpkin")
    body["uses"] = [
        {**row, "targets": ["mildew"], "methods": ["air"]},
        {**row, "targets": ["rust"], "methods": ["ground"]},
    ]
    both = {"label": read_label(body), "targets": ()}
    open_, rust = (changed(facts([F1]), lines=(line(*F1, **{**both, "targets": t}),)) for t in ((), ("rust",)))

    ways = (Method.GROUND, Method.AIR, None)
    refused = [[reasons(changed(given, method=way))[0] for way in ways] for given in (open_, rust)]
    assert refused == [[["method"]] * 3, [[], ["method"], []]]
    said_ = [f.sentence for f in check(changed(open_, method=Method.GROUND)) if f.code == "method"]
    assert said_ == ["F1: its uses on this crop share no method. Name one target."]


def test_a_label_without_methods_goes_out_by_any():
    assert reasons(changed(facts([F1]), method=Method.AIR)) == ([], [])
