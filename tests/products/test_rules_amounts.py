"""Pounds of ingredient, rates stated three ways, several uses of one crop, intervals by rate and activity."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from apps.products.rules import (
    IntervalScope,
    Method,
    Rate,
    RateBasis,
    YearBasis,
    exceeds,
    phi_days,
    pounds_per_acre,
    read_label,
    rei_hours,
    use_on,
)
from apps.products.rules.amounts import strictest
from farmops.units import Quantity
from tests.spraying.mixes import label

from .test_rules_label import PLAIN, USE

PER_ACRE, PER_100_GAL, PERCENT_VV = RateBasis.PER_ACRE, RateBasis.PER_100_GAL, RateBasis.PERCENT_VV


def q(amount, unit):
    return Quantity(Decimal(str(amount)), unit)


POUNDS = [
    # invented library, worked by hand
    ("F1", q(3, "pt"), {"chlorothalonil": Fraction(9, 4)}),
    ("F1", q("0.375", "gal"), {"chlorothalonil": Fraction(9, 4)}),
    ("F2", q("3.2", "pt"), {"azoxystrobin": Fraction(1, 5), "chlorothalonil": 2}),
    ("F6", q("18.5", "oz"), {"boscalid": Fraction("0.291375"), "pyraclostrobin": Fraction("0.148")}),
    ("I2", q("6.4", "floz"), {"bifenthrin": Fraction(1, 10)}),
    ("I8", q("5.5", "oz"), {"thiamethoxam": Fraction("0.0859375")}),
    ("N1", q(3, "lb"), {}),
]


@pytest.mark.parametrize(("code", "rate", "expected"), POUNDS)
def test_pounds_of_ingredient_per_acre(code, rate, expected):
    assert pounds_per_acre(label(code), rate) == expected


def test_a_density_joins_weight_and_volume():
    """6 lb/gal at 12 lb to the gallon: 3 lb of product = 0.25 gal = 1.5 lb of ingredient."""
    body = {**PLAIN, "density_lb_per_gal": "12", "uses": [{**USE, "rate_unit": "lb"}]}
    dry_content = {**body, "ingredients": [{"name": "sulfur", "amount": "0.5", "basis": "fraction"}]}

    assert pounds_per_acre(read_label(body), q(3, "lb")) == {"chlorothalonil": Fraction(3, 2)}
    assert pounds_per_acre(read_label(dry_content), q("0.25", "gal")) == {"sulfur": Fraction(3, 2)}


def test_without_a_density_nothing_is_guessed():
    with pytest.raises(ValueError, match="^content and rate measure different things and the label states no density$"):
        pounds_per_acre(read_label(PLAIN), q(3, "lb"))


RATES = [
    (Rate(quantity=q(2, "pt")), None, q(2, "pt")),
    (Rate(quantity=q(2, "pt"), basis=PER_100_GAL), Decimal(50), q(1, "pt")),
    (Rate(quantity=q(2, "pt"), basis=PER_100_GAL), None, None),
    (Rate(quantity=q(1, "%vv"), basis=PERCENT_VV), Decimal(40), q("0.4", "gal")),
    (Rate(quantity=q("0.25", "%vv"), basis=PERCENT_VV), Decimal(20), q("0.05", "gal")),
]


@pytest.mark.parametrize(("rate", "gpa", "expected"), RATES)
def test_product_per_acre(rate, gpa, expected):
    assert rate.per_acre(gpa) == expected


def test_rates_in_words():
    words = [str(Rate(quantity=q(2, "floz"), basis=b)) for b in (PER_ACRE, PER_100_GAL)]

    assert [*words, str(Rate(quantity=q(1, "%vv"), basis=PERCENT_VV))] == ["2 fl oz/acre", "2 fl oz/100 gal", "1 % v/v"]


def test_a_hair_is_not_more():
    """What a change of unit leaves behind is no excess; a millionth is."""
    six = Fraction(6)

    assert [exceeds(six * (1 + Fraction(1, 10**n)), six) for n in (12, 9, 6)] == [False, False, True]


def two(**second):
    return read_label({**PLAIN, "uses": [{**USE, "targets": ["powdery_mildew"]}, {**USE, **second}]})


MERGED = [
    ("highest_rate", {"rate_max": "2"}, "rate_max", Decimal(2)),
    ("lowest_rate_of_the_two_highest_minimums", {"rate_min": "2"}, "rate_min", Decimal(2)),
    ("another_unit", {"rate_min": "0.2", "rate_max": "0.25", "rate_unit": "gal"}, "rate_max", Decimal(2)),
    ("phi_unknown_in_one", {"phi_days": 3}, "phi_days", None),
    ("season_basis_differs", {"season_basis": "calendar"}, "season_basis", "unknown"),
    ("uses", {"max_uses": 4}, "max_uses", 4),
    ("season_in_another_unit", {"season_max_product": 1, "season_max_unit": "gal"}, "season_max_unit", "gal"),
    ("stage", {"stage_before": "fruit_set"}, "stage_before", "fruit_set"),
    ("scope", {"interval_scope": "ingredient"}, "interval_scope", "ingredient"),
    ("methods", {"methods": ["ground"]}, "methods", ("ground",)),
    ("height", {"crop_height_max_in": 12}, "crop_height_max_in", Decimal(12)),
    ("volume", {"min_spray_gpa": 30}, "min_spray_gpa", Decimal(30)),
    ("words", {"conditions": "Not indoors."}, "conditions", "Not indoors."),
]


@pytest.mark.parametrize(("second", "field", "expected"), [r[1:] for r in MERGED], ids=[r[0] for r in MERGED])
def test_two_uses_that_both_may_apply_keep_the_strictest_of_each(second, field, expected):
    assert getattr(use_on(two(**second), "pumpkin"), field) == expected


def test_known_waiting_times_of_two_uses_take_the_longer():
    both = read_label(
        {
            **PLAIN,
            "uses": [
                {**USE, "phi_days": 3, "rei_hours": 12, "min_interval_days": 7, "season_max_product": 12},
                {
                    **USE,
                    "phi_tiers": [{"up_to_rate": 3, "days": 5}],
                    "rei_hours": 24,
                    "min_interval_days": 5,
                    "season_max_product": 10,
                    "activity_rei": [{"activity": "picking_by_hand", "hours": 48}],
                },
            ],
        }
    )
    use = use_on(both, "pumpkin")

    assert (use.phi_days, use.rei_hours, use.min_interval_days, use.season_max_product) == (5, 24, 7, 10)
    assert [(row.activity, row.hours) for row in use.activity_rei] == [("picking_by_hand", Decimal(48))]


PICK = [
    ("no_target_no_rate", (), None, ("1.5", "2")),
    ("low_rate", (), "1.8", ("1", "2")),
    ("high_rate", (), "2.5", ("1.5", "3")),
    ("below_both", (), "0.5", ("1.5", "2")),
    ("above_both", (), "4", ("1.5", "3")),
    ("low_end_fits_one", (), "1.2", ("1", "2")),
    ("target_of_one", ("powdery_mildew",), "1.8", ("1.5", "3")),
    ("target_of_the_other", ("rust",), "2.5", ("1", "2")),
]


@pytest.mark.parametrize(("targets", "rate", "limits"), [r[1:] for r in PICK], ids=[r[0] for r in PICK])
def test_target_and_rate_pick_the_range(targets, rate, limits):
    """Mildew 1.5-3 pt, rust 1-2 pt. Where both hold the rate, the narrower range of both counts."""
    both = two(targets=["rust"], rate_min="1", rate_max="2")
    given = None if rate is None else Rate(quantity=q(rate, "pt"))
    use = use_on(both, "pumpkin", targets, given)
    expected = ("1.5", "2") if rate == "1.8" and not targets else limits

    assert (use.rate_min, use.rate_max) == tuple(map(Decimal, expected))


def test_a_crop_that_is_not_listed_has_no_use():
    assert (use_on(label("F3"), "cucumber"), use_on(label("F3"), None)) == (None, None)


def test_uses_stated_in_ways_that_cannot_be_compared_stay_out():
    share = {**USE, "site_code": "cucumber", "rate_basis": "percent_vv", "rate_unit": "%vv", "rate_max": "2"}
    mixed = read_label({**PLAIN, "uses": [USE, share]})

    assert strictest(mixed, mixed.uses) == mixed.uses[0]


TIERS = [(Fraction(2), 1), (Fraction("2.1"), 1), (Fraction("2.11"), 7), (Fraction(9), 7), (None, 7)]


@pytest.mark.parametrize(("rate", "days"), TIERS)
def test_days_before_harvest_by_rate(rate, days):
    """I5 on sweet corn: up to 2.1 oz 1 day, up to 5.3 oz 7 days; an unknown rate takes the longest."""
    assert phi_days(use_on(label("I5"), "sweet_corn"), rate) == days


HOURS = [
    # label-wide 12 h and 48 h for picking; the use may have its own
    ("general", None, "scouting_on_foot", Decimal(12)),
    ("activity", None, "picking_by_hand", Decimal(48)),
    ("nobody_says", None, None, Decimal(48)),
    ("own_general", 24, "scouting_on_foot", Decimal(24)),
    ("own_general_longer_than_all", 72, None, Decimal(72)),
]


@pytest.mark.parametrize(("own", "activity", "hours"), [r[1:] for r in HOURS], ids=[r[0] for r in HOURS])
def test_entry_interval_by_activity(own, activity, hours):
    body = {
        **PLAIN,
        "rei_hours": 12,
        "activity_rei": [{"activity": "picking_by_hand", "hours": 48}],
        "uses": [{**USE, "rei_hours": own}],
    }
    read = read_label(body)

    assert rei_hours(read, read.uses[0], activity) == hours


def test_an_activity_alone_does_not_make_the_interval_known():
    """Only the pickers' hours are on the label: anything else stays unknown, never zero."""
    body = {**PLAIN, "activity_rei": [{"activity": "picking_by_hand", "hours": 48}]}
    read = read_label(body)

    assert [rei_hours(read, read.uses[0], a) for a in ("picking_by_hand", "scouting_on_foot", None)] == [48, None, None]


def test_ranges_in_two_units_are_compared_in_one():
    """Mildew 1.5-3 pt; rust 0.5-0.75 gal = 4-6 pt. 5 pt fits rust alone, and comes back in pints."""
    both = two(targets=["rust"], rate_min="0.5", rate_max="0.75", rate_unit="gal")
    use = use_on(both, "pumpkin", (), Rate(quantity=q(5, "pt")))

    assert (use.rate_unit, use.rate_min, use.rate_max) == ("pt", Decimal(4), Decimal(6))


def test_methods_both_allow():
    only_air = two(methods=["air", "ground"])
    ground = read_label({**PLAIN, "uses": [{**USE, "methods": ["ground"]}, {**USE, "methods": ["ground", "air"]}]})

    assert (use_on(only_air, "pumpkin").methods, use_on(ground, "pumpkin").methods) == (("air", "ground"), ("ground",))


@pytest.mark.parametrize(("first", "second", "expected"), [(7, 0, 7), (0, 0, 0), (None, 5, None), (5, None, None)])
def test_intervals_of_two_uses(first, second, expected):
    both = read_label({**PLAIN, "uses": [{**USE, "min_interval_days": first}, {**USE, "min_interval_days": second}]})

    assert use_on(both, "pumpkin").min_interval_days == expected


@pytest.mark.parametrize(("first", "second", "expected"), [(12, None, None), (None, 12, None), (12, 24, 24)])
def test_entry_intervals_of_two_uses(first, second, expected):
    both = read_label({**PLAIN, "uses": [{**USE, "rei_hours": first}, {**USE, "rei_hours": second}]})

    assert use_on(both, "pumpkin").rei_hours == expected


@pytest.mark.parametrize(("first", "second", "expected"), [(0, 0, 0), (3, 1, 3)])
def test_waiting_times_of_two_uses(first, second, expected):
    both = read_label({**PLAIN, "uses": [{**USE, "phi_days": first}, {**USE, "phi_days": second}]})

    assert use_on(both, "pumpkin").phi_days == expected


def test_the_same_basis_stays():
    both = read_label({**PLAIN, "uses": [{**USE, "season_basis": "calendar"}] * 2})

    assert use_on(both, "pumpkin").season_basis == "calendar"


def test_two_uses_that_differ_in_every_limit():
    """One in pints, one in fluid ounces (16 to the pint): of each limit the stricter, in the first one's unit."""
    one = {
        **USE, "targets": ["rust"], "rate_min": "1", "rate_max": "3", "rate_unit": "pt", "phi_days": None,
        "phi_tiers": [{"up_to_rate": "2", "days": 1}, {"up_to_rate": "3", "days": 9}], "rei_hours": "12",
        "activity_rei": [{"activity": "hand_labor", "hours": "30"}], "min_interval_days": 5,
        "interval_scope": "product", "max_uses": 2, "season_max_product": "8", "season_max_unit": "pt",
        "season_basis": "calendar", "stage_from": "leaf_2", "stage_before": "fruit_set", "crop_height_max_in": "10",
        "methods": ["ground", "air"], "min_spray_gpa": "30", "conditions": "Not at noon.",
    }  # fmt: skip
    other = {
        **USE, "targets": ["mildew"], "rate_min": "24", "rate_max": "40", "rate_unit": "floz", "phi_days": 7,
        "phi_tiers": [], "rei_hours": "24", "activity_rei": [{"activity": "hand_labor", "hours": "20"}],
        "min_interval_days": 7, "interval_scope": "ingredient", "max_uses": 3, "season_max_product": "160",
        "season_max_unit": "floz", "season_basis": "crop", "stage_from": "leaf_4", "stage_before": "mature",
        "crop_height_max_in": "20", "methods": ["ground"], "min_spray_gpa": "20", "conditions": "Shake well.",
    }  # fmt: skip
    both = read_label({**PLAIN, "uses": [one, other]})
    found = strictest(both, both.uses)

    assert (found.targets, found.rate_min, found.rate_max, found.rate_unit) == (
        ("rust", "mildew"),
        Decimal("1.5"),
        Decimal("2.5"),
        "pt",
    )
    assert (found.phi_days, found.phi_tiers, found.rei_hours) == (9, (), Decimal(24))
    assert [(row.activity, row.hours) for row in found.activity_rei] == [("hand_labor", Decimal(30))]
    assert (found.min_interval_days, found.interval_scope, found.max_uses) == (7, IntervalScope.INGREDIENT, 2)
    assert (found.season_max_product, found.season_max_unit, found.season_basis) == (
        Decimal(8),
        "pt",
        YearBasis.UNKNOWN,
    )
    assert (found.stage_from, found.stage_before, found.crop_height_max_in) == ("leaf_4", "fruit_set", Decimal(10))
    assert (found.methods, found.min_spray_gpa, found.conditions) == (
        (Method.GROUND,),
        Decimal(30),
        "Not at noon. Shake well.",
    )


def test_two_uses_of_one_scope_and_one_basis_keep_them():
    row = {**USE, "interval_scope": "product", "season_basis": "calendar"}
    both = read_label({**PLAIN, "uses": [{**row, "rate_min": None}, {**row, "rate_min": None}]})
    found = strictest(both, both.uses)

    assert (found.interval_scope, found.season_basis, found.rate_min) == (
        IntervalScope.PRODUCT,
        YearBasis.CALENDAR,
        None,
    )


def test_a_rate_above_every_use_is_held_against_the_one_that_allows_most():
    uses = [{**USE, "targets": ["a"], "rate_max": "2"}, {**USE, "targets": ["b"], "rate_max": "3"}]
    read = read_label({**PLAIN, "uses": [{**u, "rate_min": None} for u in uses]})
    high = use_on(read, read.uses[0].site_code, (), Rate(quantity=q(5, read.uses[0].rate_unit)))

    assert high is not None and high.rate_max == Decimal(3)
