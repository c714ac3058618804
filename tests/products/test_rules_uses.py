"""Several uses of one crop that may both be meant: the strictest of each, also against what the whole label says.

Project rule throughout: where nobody named the target, no use's own limit may stand in for a stricter one.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.products.rules import Method, Rate, RateBasis, methods_on, phi_days, read_label, rei_hours, use_on
from apps.products.rules.amounts import strictest
from farmops.units import Quantity

from .test_rules_label import PLAIN, USE, faults


def two(first, second, **whole):
    return read_label({**PLAIN, **whole, "uses": [{**USE, **first}, {**USE, **second}]})


def picking(hours):
    return [{"activity": "picking_by_hand", "hours": hours}]


ENTRY = [
    # (the whole label, one use, the other, hours of picking, of scouting, of nobody knows what)
    ("own_hours_outlast_the_labels", {"rei_hours": 4}, {"rei_hours": 12}, {}, 12, 12, 12),
    ("the_labels_hours_outlast_its_own", {"rei_hours": 48}, {"rei_hours": 12}, {}, 48, 48, 48),
    ("one_of_them_unknown", {}, {"rei_hours": 12}, {}, None, None, None),
    ("shorter_picking_of_its_own", {"rei_hours": 12, "activity_rei": picking(72)},
     {"activity_rei": picking(24)}, {}, 72, 12, 72),
    ("picking_under_the_other_is_general", {"rei_hours": 4},
     {"rei_hours": 24}, {"activity_rei": picking(12)}, 24, 24, 24),
    ("picking_named_by_one_the_other_unknown", {}, {"activity_rei": picking(48)}, {"rei_hours": 4}, 48, None, None),
    ("picking_named_by_one_nothing_else_known", {}, {"activity_rei": picking(48)}, {}, None, None, None),
    ("picking_named_by_both", {}, {"activity_rei": picking(48)}, {"activity_rei": picking(72)}, 72, None, None),
    ("half_an_hour", {}, {"rei_hours": 0, "activity_rei": picking("0.5")}, {"rei_hours": 0}, Decimal("0.5"), 0,
     Decimal("0.5")),
]  # fmt: skip


@pytest.mark.parametrize("turned", [False, True], ids=["", "turned"])
@pytest.mark.parametrize(
    ("whole", "first", "second", "picked", "scouted", "unsaid"), [r[1:] for r in ENTRY], ids=[r[0] for r in ENTRY]
)
def test_entry_waits_as_long_as_the_longest_that_may_be_meant(whole, first, second, picked, scouted, unsaid, turned):
    label = two(second, first, **whole) if turned else two(first, second, **whole)
    use = use_on(label, "pumpkin")

    found = [rei_hours(label, use, activity) for activity in ("picking_by_hand", "scouting_on_foot", None)]
    assert found == [picked, scouted, unsaid]


@pytest.mark.parametrize(("own", "whole", "least"), [(10, 20, 20), (30, 20, 30), (10, None, 10), (None, 20, 20)])
def test_the_spray_volume_of_the_label_holds_for_the_use_that_names_none(own, whole, least):
    label = two({"min_spray_gpa": own}, {}, min_spray_gpa=whole)

    assert use_on(label, "pumpkin").min_spray_gpa == least


METHODS = [
    ("nobody_says", [], [], [], None),
    ("the_label_alone", ["ground"], [], [], ("ground",)),
    ("one_alone", [], ["ground"], [], ("ground",)),
    ("the_label_and_one", ["ground", "air"], ["air", "chemigation"], [], ("air",)),
    ("both", [], ["air", "ground"], ["ground", "chemigation"], ("ground",)),
    ("none_in_common", [], ["air"], ["ground"], ()),
]


@pytest.mark.parametrize(("whole", "first", "second", "allowed"), [r[1:] for r in METHODS], ids=[r[0] for r in METHODS])
def test_a_method_must_be_allowed_by_each(whole, first, second, allowed):
    label = two({"methods": first}, {"methods": second}, methods=whole)

    assert methods_on(label, label.uses) == (None if allowed is None else tuple(map(Method, allowed)))
    assert use_on(label, "pumpkin").methods == tuple(map(Method, allowed or ()))


SEASON = [
    # (the first's total, its unit, the second's, its unit, the smaller as a quantity); 1 gal = 8 pt = 128 floz
    ("second_alone", None, None, 1, "gal", (1, "gal")),
    ("first_alone", 9, None, None, None, (9, "pt")),
    ("second_smaller", 9, "pt", 1, "gal", (8, "pt")),
    ("first_smaller", 7, "pt", 1, "gal", (7, "pt")),
    ("neither", None, None, None, None, (None, None)),
]


@pytest.mark.parametrize(
    ("first", "unit", "second", "other", "kept"), [r[1:] for r in SEASON], ids=[r[0] for r in SEASON]
)
def test_of_two_season_totals_the_smaller(first, unit, second, other, kept):
    label = two(
        {"season_max_product": first, "season_max_unit": unit}, {"season_max_product": second, "season_max_unit": other}
    )
    use = use_on(label, "pumpkin")

    assert (use.season_max_product, use.season_max_unit) == kept


SHARE = {"rate_basis": "percent_vv", "rate_unit": "%vv", "rate_min": None, "rate_max": "2"}


def test_a_share_takes_the_season_total_of_the_use_that_states_one():
    total = {**SHARE, "season_max_product": 8, "season_max_unit": "gal"}
    label = two(SHARE, total)

    assert strictest(label, label.uses).season_max_product == 8
    assert strictest(label, label.uses).season_max_unit == "gal"


def test_the_season_total_of_a_share_is_liquid():
    """What a share comes to is counted in gallons; pounds of it could never be added up."""
    found = faults({**PLAIN, "uses": [{**USE, **SHARE, "season_max_product": 8, "season_max_unit": "lb"}]})

    assert found == {"uses.0.season_max_unit": ["Must measure the same thing as rate_unit: both liquid, or both dry."]}


def test_a_rate_stated_another_way_does_not_narrow_the_range():
    """2 pt to 100 gal is no 2 pt an acre: both ranges stand, 1.5-3 pt and 1-2 pt, and the narrower of each counts."""
    label = two({"targets": ["mildew"]}, {"targets": ["rust"], "rate_min": "1", "rate_max": "2"})
    others = [
        Rate(quantity=Quantity(Decimal(3), "pt"), basis=RateBasis.PER_100_GAL),
        Rate(quantity=Quantity(Decimal(3), "lb")),
    ]

    assert [(u.rate_min, u.rate_max) for u in (use_on(label, "pumpkin", (), rate) for rate in others)] == [
        (Decimal("1.5"), Decimal(2))
    ] * 2


def test_one_use_alone_is_given_as_it_stands():
    label = read_label({**PLAIN, "rei_hours": 4, "uses": [USE]})

    assert use_on(label, "pumpkin", (), Rate(quantity=Quantity(Decimal(9), "lb"))) == label.uses[0]


def test_liquid_and_dry_uses_of_two_crops_are_not_mixed():
    """What is judged on a crop that no use names: only uses that measure like the first one are joined."""
    rows = [USE, {**USE, "site_code": "cucumber", "rate_unit": "lb", "rate_max": "2"}]
    label = read_label({**PLAIN, "density_lb_per_gal": 10, "uses": rows})

    assert strictest(label, label.uses) == label.uses[0]


STAGES = [
    # common practice, no source: leaf 2 before leaf 4 before fruit set before mature
    ("one_says_from", {"stage_from": "leaf_2"}, {}, ("leaf_2", None)),
    ("both_say_from", {"stage_from": "leaf_4"}, {"stage_from": "leaf_2"}, ("leaf_4", None)),
    ("both_say_before", {"stage_before": "mature"}, {"stage_before": "fruit_set"}, (None, "fruit_set")),
]


@pytest.mark.parametrize("turned", [False, True], ids=["", "turned"])
@pytest.mark.parametrize(("first", "second", "kept"), [r[1:] for r in STAGES], ids=[r[0] for r in STAGES])
def test_of_two_stretches_of_growth_the_narrower(first, second, kept, turned):
    use = use_on(two(second, first) if turned else two(first, second), "pumpkin")

    assert (use.stage_from, use.stage_before) == kept


def test_a_rate_below_a_use_without_a_lowest_rate():
    """Without a lowest rate any small rate is within the use: 0.5 pt is judged by 0-3 pt, not by 1.5-2 pt."""
    label = two({"targets": ["mildew"], "rate_min": None}, {"targets": ["rust"], "rate_max": "2"})
    use = use_on(label, "pumpkin", (), Rate(quantity=Quantity(Decimal("0.5"), "pt")))

    assert (use.rate_min, use.rate_max) == (None, Decimal(3))


def test_waiting_times_by_rate_take_the_longest_of_both():
    """0 to 3 pt: 1 day beside 0 days, both said, so 1 day; the tiers are gone, any rate takes it."""
    tiers = {"phi_tiers": [{"up_to_rate": 2, "days": 0}, {"up_to_rate": 3, "days": 1}]}
    use = use_on(two(tiers, {"phi_days": 0}), "pumpkin")

    assert (use.phi_days, use.phi_tiers, phi_days(use, None)) == (1, (), 1)


hours = st.none() | st.sampled_from([0, 4, 12, 24, 48])
works = st.dictionaries(st.sampled_from(["picking_by_hand", "hand_labor"]), hours.filter(bool), max_size=2).map(
    lambda told: [{"activity": work, "hours": n} for work, n in told.items()]
)
some_days = st.none() | st.integers(0, 14)
ways = st.lists(st.sampled_from(Method), max_size=2, unique=True)
own = st.fixed_dictionaries(
    {
        "rei_hours": hours,
        "activity_rei": works,
        "phi_days": some_days,
        "min_interval_days": some_days,
        "max_uses": st.none() | st.integers(1, 5),
        "min_spray_gpa": st.none() | st.sampled_from([10, 20, 30]),
        "season_max_product": st.none() | st.integers(1, 20),
        "season_max_unit": st.none(),
        "rate_unit": st.sampled_from(["pt", "gal"]),
        "methods": ways,
    }
)
whole = st.fixed_dictionaries(
    {
        "rei_hours": hours,
        "activity_rei": works,
        "min_spray_gpa": st.none() | st.sampled_from([10, 20, 30]),
        "methods": ways,
    }
)


def waits(label, use):
    """Days and hours to wait; ``None`` = not known."""
    asked = ("picking_by_hand", "hand_labor", "scouting_on_foot", None)
    return [*(rei_hours(label, use, work) for work in asked), phi_days(use, None), use.min_interval_days]


def most(label, use):
    """What may be done at most; ``None`` = as much as one likes."""
    season = use.season_max_product
    pints = None if season is None else Quantity(season, use.season_max_unit or use.rate_unit).to("pt").amount
    return [use.max_uses, pints, Quantity(use.rate_max, use.rate_unit).to("pt").amount]


@settings(max_examples=300, deadline=None)
@given(whole, st.lists(own, min_size=2, max_size=3))
def test_joined_uses_are_as_strict_as_each_alone(told, rows):
    """Waits are the longest and unknown if one is; ceilings the lowest; volume and method what each asks for."""
    label = read_label({**PLAIN, **told, "uses": [{**USE, **row} for row in rows]})
    joined, alone = use_on(label, "pumpkin"), label.uses

    for found, each in zip(waits(label, joined), zip(*(waits(label, u) for u in alone), strict=True), strict=True):
        assert found == (None if None in each else max(each))
    for found, each in zip(most(label, joined), zip(*(most(label, u) for u in alone), strict=True), strict=True):
        assert found == min((limit for limit in each if limit is not None), default=None)
    volumes = [label.min_spray_gpa if u.min_spray_gpa is None else u.min_spray_gpa for u in alone]
    assert joined.min_spray_gpa == max((v for v in volumes if v is not None), default=None)
    for method in Method:
        allowed = methods_on(label, alone)
        each_allows = all(method in (u.methods or label.methods or Method) for u in alone)
        assert (allowed is None or method in allowed) is each_allows
