"""Reading and writing a label document: what is refused, under which name, and that nothing is lost."""

from __future__ import annotations

import copy
import json
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.products.rules import (
    BeeClass,
    Group,
    IntervalScope,
    Kind,
    Label,
    Method,
    RateBasis,
    Scheme,
    YearBasis,
    label_body,
    read_label,
)
from farmops.errors import BadInput
from tests.spraying.mixes import LIBRARY, label_document

USE = {"site_code": "pumpkin", "rate_min": "1.5", "rate_max": "3", "rate_unit": "pt", "rate_basis": "per_acre"}
PLAIN = {
    "kind": "fungicide",
    "restricted_use": False,
    "ingredients": [{"name": "chlorothalonil", "amount": "6", "basis": "lb_per_gal"}],
    "groups": [{"scheme": "frac", "code": "M05"}],
    "uses": [USE],
}


def edited(path: str, value: object) -> dict:
    """The plain document with one place changed; the last name of ``path`` may be new."""
    body = copy.deepcopy(PLAIN)
    place: object = body
    *way, last = path.split(".")
    for step in way:
        place = place[int(step)] if isinstance(place, list) else place.setdefault(step, {})
    place[int(last) if isinstance(place, list) else last] = value
    return body


def faults(body: object) -> dict[str, list[str]]:
    with pytest.raises(BadInput) as caught:
        read_label(body)
    return caught.value.errors


def test_a_short_label_leaves_everything_else_unknown():
    label = read_label(PLAIN)
    use = label.uses[0]

    assert (label.kind, label.groups, label.bee_class, label.contains_oil) == (
        Kind.FUNGICIDE,
        (Group(Scheme.FRAC, "M05"),),
        None,
        None,
    )
    assert (use.phi_days, use.rei_hours, label.rei_hours, use.min_interval_days) == (None, None, None, None)
    assert (use.season_basis, use.interval_scope, use.methods) == (YearBasis.UNKNOWN, IntervalScope.PRODUCT, ())


FAULTS = [
    ("kind", "poison", "kind", "Use one of: fungicide, insecticide, herbicide, nutrient, adjuvant, other."),
    ("restricted_use", "no", "restricted_use", "Say true or false."),
    ("restricted_use", None, "restricted_use", "Say true or false."),
    ("signal_word", 3, "signal_word", "Give text of at most 60 characters."),
    ("ingredients", [], "ingredients", "Give at least one active ingredient with its content."),
    ("ingredients", "sulfur", "ingredients", "Give a list."),
    ("ingredients.0.name", " ", "ingredients.0.name", "Give the ISO common name of an active ingredient."),
    ("ingredients.0.amount", "0", "ingredients.0.amount", "Must be more than 0."),
    ("ingredients.0.amount", "31", "ingredients.0.amount", "Must be 30 or less."),
    ("ingredients.0.amount", None, "ingredients.0.amount", "Give a number from 0 to 30."),
    ("ingredients.0.basis", "percent", "ingredients.0.basis", "Use one of: lb_per_gal, fraction."),
    ("groups.0.scheme", "epa", "groups.0.scheme", "Use one of: frac, irac, hrac."),
    ("groups.0.code", "3A", "groups.0.code", "Give a code as FRAC prints it, such as M05 or 11."),
    ("groups.0.code", True, "groups.0.code", "Give a code as FRAC prints it, such as M05 or 11."),
    ("uses", [], "uses", "Give at least one use: a site with its rate range."),
    ("uses.0", "pumpkin", "uses.0", "Give an object with named fields."),
    (
        "uses.0.site_code",
        "Winter squash",
        "uses.0.site_code",
        "Give a code of small letters, digits and underscores, such as winter_squash.",
    ),
    ("uses.0.rate_max", "-1", "uses.0.rate_max", "Must be 0 or more."),
    ("uses.0.rate_max", "three", "uses.0.rate_max", "“three” must be a number, like 1.5."),
    ("uses.0.rate_max", "1,5", "uses.0.rate_max", "Use a point for decimals, like 1.5, and no thousands mark."),
    ("uses.0.rate_max", True, "uses.0.rate_max", "Give a number from 0 to 10000."),
    ("uses.0.rate_max", None, "uses.0.rate_max", "Give a number from 0 to 10000."),
    ("uses.0.rate_max", "1e999999999", "uses.0.rate_max", "Must be a plain number, like 1.5."),
    ("uses.0.rate_min", "3.1", "uses.0.rate_min", "Must not be above rate_max, 3."),
    (
        "uses.0.rate_unit",
        "fl oz",
        "uses.0.rate_unit",
        "Use one of: ml, l, tsp, tbsp, floz, pt, qt, gal, g, kg, oz, lb. Fluid ounce is floz, weight ounce is oz.",
    ),
    (
        "uses.0.rate_unit",
        "lb",
        "uses.0.rate_unit",
        "The content is stated by weight and the rate by volume, or the other way round: "
        "give density_lb_per_gal, or state both alike.",
    ),
    ("uses.0.phi_days", "1.5", "uses.0.phi_days", "Give a whole number."),
    ("uses.0.phi_days", 731, "uses.0.phi_days", "Must be 730 or less."),
    ("uses.0.rei_hours", "until dry", "uses.0.rei_hours", "“until dry” must be a number, like 1.5."),
    ("uses.0.max_uses", 0, "uses.0.max_uses", "Must be 1 or more."),
    (
        "uses.0.season_max_unit",
        "bag",
        "uses.0.season_max_unit",
        "Use one of: ml, l, tsp, tbsp, floz, pt, qt, gal, g, kg, oz, lb.",
    ),
    (
        "preplant_days",
        {"Sweet Corn": 3},
        "preplant_days.Sweet Corn",
        "Give a code of small letters, digits and underscores, such as winter_squash.",
    ),
    ("uses.0.season_max_unit", "gal", "uses.0.season_max_product", "Give the amount that goes with season_max_unit."),
    ("uses.0.methods", ["boat"], "uses.0.methods.0", "Use one of: ground, air, chemigation."),
    ("uses.0.phi_tiers", [{"up_to_rate": 2, "days": 1}], "uses.0.phi_tiers", "The last tier must reach rate_max, 3."),
    ("uses.0.rate_mx", "3", "uses.0.rate_mx", "“rate_mx” is not a field of a label."),
    ("rei", 12, "rei", "“rei” is not a field of a label."),
    ("ppe.mixing", [""], "ppe.mixing.0", "Give the label's words."),
    (
        "ppe.spraying",
        [],
        "ppe.spraying",
        "“spraying” is not a field of a label. Fields here: applying, early_entry, mixing.",
    ),
    ("ppe", [], "ppe", "Give an object."),
    ("preplant_days", {"pumpkin": "soon"}, "preplant_days.pumpkin", "“soon” must be a number, like 1.5."),
    ("training_topic", "paraquat", "training_months", "Give training_topic and training_months together."),
    ("training_months", 36, "training_months", "Give training_topic and training_months together."),
    ("bee_class", "some", "bee_class", "Use one of: none, direct, residual, no_bloom."),
    ("formulation_code", "WDG", "formulation_code", "Give the two-letter code of the international coding system"),
    ("wind_max_mph", "0", "wind_max_mph", "Must be more than 0."),
    ("solution_ph_min", 15, "solution_ph_min", "Must be 14 or less."),
    ("contains_oil", "yes", "contains_oil", "Say true or false."),
    ("mix_cautions", [3], "mix_cautions.0", "Give the ISO common name of an active ingredient."),
    (
        "caps",
        [{"ingredient": "copper", "pounds": 5, "per": "year"}],
        "caps.0.ingredient",
        "“copper” is not among the ingredients.",
    ),
    (
        "caps",
        [{"ingredient": "chlorothalonil", "pounds": 5, "per": "month"}],
        "caps.0.per",
        "Use one of: pass, year, crop.",
    ),
    (
        "group_run_limits",
        [{"scheme": "frac", "code": "11", "max_in_a_row": 2}],
        "group_run_limits.0.code",
        "FRAC 11 is not among the groups of this label.",
    ),
    ("separations", [{"ingredient": "sulfur"}], "separations.0.days", "Give a number from 0 to 365."),
    ("plantback", [{"site_code": "All", "months": 3}], "plantback.0.site_code", "Give a code of small letters"),
    ("sections", {"uses": 4}, "sections.uses", "Give text of at most 200 characters."),
    ("uses.0.stage_before", "big", "uses.0.stage_before", "Use a growth stage that can be put in order"),
]


@pytest.mark.parametrize(("path", "value", "name", "sentence"), FAULTS, ids=[f"{r[0]}={r[1]!r:.20}" for r in FAULTS])
def test_one_fault_is_named_by_its_dotted_path(path, value, name, sentence):
    found = faults(edited(path, value))

    assert list(found) == [name]
    assert [said.startswith(sentence) for said in found[name]] == [True], found


def test_every_fault_is_reported_at_once():
    body = edited("uses.0.rate_max", "x")
    body |= {"kind": "x", "bee_class": "x", "sections": []}

    assert sorted(faults(body)) == ["bee_class", "kind", "sections", "uses.0.rate_max"]


@pytest.mark.parametrize("body", [None, [], "label", 3])
def test_a_document_is_an_object(body):
    assert faults(body) == {"body": ["Give an object with named fields."]}


def test_both_kinds_of_waiting_time_are_not_mixed():
    body = edited("uses.0.phi_tiers", [{"up_to_rate": 3, "days": 1}])
    body["uses"][0]["phi_days"] = 3

    assert faults(body) == {"uses.0.phi_days": ["Give phi_days or phi_tiers, not both."]}


def test_a_share_needs_its_own_unit_and_a_unit_for_the_season():
    share = {**USE, "rate_basis": "percent_vv", "rate_min": None, "season_max_product": 8}

    assert faults({**PLAIN, "uses": [share]}) == {
        "uses.0.rate_unit": ["Use one of: %vv. Fluid ounce is floz, weight ounce is oz."],
        "uses.0.season_max_unit": ["Name the unit of season_max_product: a share has no season total."],
    }
    oil = {**share, "rate_unit": "%vv", "season_max_unit": "gal"}
    assert read_label({**PLAIN, "uses": [oil]}).uses[0].rate_basis is RateBasis.PERCENT_VV


def test_season_and_rate_measure_the_same_kind_of_thing():
    found = faults({**PLAIN, "uses": [{**USE, "season_max_product": 10, "season_max_unit": "lb"}]})

    assert found == {"uses.0.season_max_unit": ["Must measure the same thing as rate_unit: both liquid, or both dry."]}


def test_uses_of_one_site_state_their_rates_alike():
    found = faults({**PLAIN, "uses": [USE, {**USE, "rate_basis": "per_100_gal"}, {**USE, "site_code": "cucumber"}]})

    assert found == {"uses.1.rate_unit": ["State the rate as the other use on pumpkin does."]}


def test_a_dry_rate_of_a_liquid_is_readable_with_a_density():
    body = {**edited("uses.0.rate_unit", "lb"), "density_lb_per_gal": "10.2"}

    assert read_label(body).density_lb_per_gal == Decimal("10.2")


def test_an_ingredient_stands_once():
    body = edited("ingredients", [PLAIN["ingredients"][0], {**PLAIN["ingredients"][0], "name": " Chlorothalonil "}])

    assert faults(body) == {"ingredients": ["Name each ingredient once."]}


def test_names_are_kept_in_one_spelling():
    body = edited("ingredients.0.name", "  Copper   (Metallic) ")
    body |= {"mix_cautions": ["Sulfur", "sulfur"], "groups": [{"scheme": "frac", "code": "m1"}] * 2}
    label = read_label(body)

    assert (label.ingredients[0].name, label.mix_cautions, label.groups) == (
        "copper (metallic)",
        ("sulfur",),
        (Group(Scheme.FRAC, "M01"),),
    )


def test_a_nutrient_needs_no_ingredient():
    assert read_label({**PLAIN, "kind": "nutrient", "ingredients": [], "groups": []}).ingredients == ()


@pytest.mark.parametrize("code", sorted(LIBRARY))
def test_written_and_read_again_it_is_the_same_label(code):
    label = read_label(label_document(LIBRARY[code]))
    body = label_body(label)

    assert read_label(json.loads(json.dumps(body))) == label
    assert label_body(read_label(body)) == body


def test_the_document_holds_every_field_and_decimals_as_text():
    full = read_label(
        {
            **PLAIN,
            "bee_class": "residual",
            "wind_max_mph": 15.0,
            "methods": ["ground"],
            "group_run_limits": [{"scheme": "frac", "code": "M5", "max_in_a_row": 2}],
            "preplant_days": {"pumpkin": 3, "*": 7},
            "sections": {"caps": "page 3"},
        }
    )
    body = label_body(full)

    assert sorted(body) == sorted(Label.__dataclass_fields__)
    assert (full.bee_class, full.methods) == (BeeClass.RESIDUAL, (Method.GROUND,))
    assert (body["wind_max_mph"], body["bee_class"], body["methods"]) == ("15", "residual", ["ground"])
    assert body["group_run_limits"] == [{"scheme": "frac", "code": "M05", "max_in_a_row": 2}]
    assert (body["preplant_days"], body["sections"]) == ({"*": 7, "pumpkin": 3}, {"caps": "page 3"})


JSONISH = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 50) | st.text(max_size=6) | st.sampled_from(["3", "pumpkin", "frac"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(Label.__dataclass_fields__)), JSONISH)
def test_whatever_stands_in_a_field_is_read_or_refused_never_a_crash(name, value):
    """A label or ``BadInput``; and what was read can be written and read again."""
    try:
        label = read_label({**PLAIN, name: value})
    except BadInput as bad:
        assert all(path.startswith(name) or path.split(".")[0] in Label.__dataclass_fields__ for path in bad.errors)
        return
    assert read_label(label_body(label)) == label


LIMITS = [
    # path, the highest (or lowest) that is read, the first that is not
    ("uses.0.phi_days", "730", "731"),
    ("uses.0.rei_hours", "8760", "8761"),
    ("uses.0.min_interval_days", "730", "731"),
    ("uses.0.max_uses", "100", "101"),
    ("uses.0.season_max_product", "100000", "100001"),
    ("uses.0.season_max_product", "0.01", "0"),
    ("uses.0.crop_height_max_in", "200", "201"),
    ("uses.0.crop_height_max_in", "0.5", "0"),
    ("uses.0.min_spray_gpa", "2000", "2001"),
    ("uses.0.min_spray_gpa", "0.5", "0"),
    ("uses.0.rate_max", "10000", "10001"),
    ("min_spray_gpa", "2000", "2001"),
    ("min_spray_gpa", "0.5", "0"),
    ("recommended_gpa", "2000", "2001"),
    ("recommended_gpa", "0.5", "0"),
    ("wind_max_mph", "60", "61"),
    ("wind_max_mph", "0.5", "0"),
    ("wind_min_mph", "60", "61"),
    ("buffer_ft", "10000", "10001"),
    ("temperature_max_f", "150", "151"),
    ("temperature_max_f", "-40", "-41"),
    ("temperature_caution_f", "150", "151"),
    ("temperature_caution_f", "-40", "-41"),
    ("solution_ph_min", "14", "14.1"),
    ("rain_free_hours", "240", "241"),
    ("density_lb_per_gal", "30", "31"),
    ("density_lb_per_gal", "0.5", "0"),
    ("rei_hours", "8760", "8761"),
    ("preplant_days.pumpkin", "365", "366"),
    ("caps.0.pounds", "1000", "1001"),
    ("caps.0.pounds", "0.001", "0"),
    ("group_run_limits.0.max_in_a_row", "50", "51"),
    ("group_run_limits.0.max_in_a_row", "1", "0"),
    ("separations.0.days", "365", "366"),
    ("plantback.0.months", "120", "121"),
    ("activity_rei.0.hours", "8760", "8761"),
    ("uses.0.phi_tiers.0.days", "730", "731"),
    ("uses.0.phi_tiers.0.up_to_rate", "10000", "10001"),
    ("uses.0.phi_tiers.0.up_to_rate", "3", "0"),
    ("training_months", "120", "121"),
    ("training_months", "1", "0"),
]

ROWS = {
    "caps": [{"ingredient": "chlorothalonil", "pounds": "5", "per": "year"}],
    "group_run_limits": [{"scheme": "frac", "code": "M05", "max_in_a_row": 2}],
    "separations": [{"ingredient": "sulfur", "days": 14}],
    "plantback": [{"site_code": "*", "months": 4}],
    "activity_rei": [{"activity": "picking_by_hand", "hours": 48}],
    "training_topic": "paraquat",
    "training_months": 36,
    "preplant_days": {"pumpkin": 3},
}
TIERED = {**PLAIN, **ROWS, "uses": [{**USE, "phi_tiers": [{"up_to_rate": 3, "days": 1}]}]}


def with_value(path: str, value: object) -> dict:
    body = copy.deepcopy(TIERED)
    if path.endswith("phi_days"):
        del body["uses"][0]["phi_tiers"]
    if path.startswith("uses.0.rate_max"):
        body["uses"][0]["phi_tiers"][0]["up_to_rate"] = 10000
    place: object = body
    *way, last = path.split(".")
    for step in way:
        place = place[int(step)] if isinstance(place, list) else place[step]
    if value is None:
        del place[last]
    else:
        place[last] = value
    return body


def test_the_full_rows_are_read():
    assert len(read_label(TIERED).caps) == len(read_label(TIERED).uses[0].phi_tiers) == 1


@pytest.mark.parametrize(("path", "good", "bad"), LIMITS, ids=[f"{r[0]}_{r[1]}" for r in LIMITS])
def test_absurd_amounts_are_refused_and_the_edge_is_not(path, good, bad):
    assert isinstance(read_label(with_value(path, good)), Label)
    assert list(faults(with_value(path, bad))) == [path]


NEEDED = [
    "kind",
    "restricted_use",
    "ingredients.0.name",
    "ingredients.0.amount",
    "ingredients.0.basis",
    "groups.0.scheme",
    "groups.0.code",
    "uses.0.site_code",
    "uses.0.rate_max",
    "uses.0.rate_unit",
    "uses.0.rate_basis",
    "uses.0.phi_tiers.0.up_to_rate",
    "uses.0.phi_tiers.0.days",
    "caps.0.ingredient",
    "caps.0.pounds",
    "caps.0.per",
    "group_run_limits.0.scheme",
    "group_run_limits.0.code",
    "group_run_limits.0.max_in_a_row",
    "separations.0.ingredient",
    "separations.0.days",
    "plantback.0.site_code",
    "plantback.0.months",
    "activity_rei.0.activity",
    "activity_rei.0.hours",
]


@pytest.mark.parametrize("path", NEEDED)
def test_what_a_row_cannot_do_without_is_asked_for(path):
    assert list(faults(with_value(path, None))) == [path]


@pytest.mark.parametrize(("amount", "refused"), [("1", False), ("1.01", True)])
def test_a_fraction_is_at_most_the_whole(amount, refused):
    body = edited("ingredients.0", {"name": "sulfur", "amount": amount, "basis": "fraction"})
    body["uses"][0]["rate_unit"] = "lb"
    found = faults(body) if refused else {}

    assert (refused or read_label(body).ingredients[0].amount == 1, list(found)) == (
        True,
        ["ingredients.0.amount"] if refused else [],
    )


@pytest.mark.parametrize(("percent", "named"), [("100", []), ("101", ["uses.0.rate_max"])])
def test_a_share_is_at_most_the_whole(percent, named):
    body = {
        **PLAIN,
        "uses": [{"site_code": "pumpkin", "rate_max": percent, "rate_unit": "%vv", "rate_basis": "percent_vv"}],
    }

    assert (faults(body) if named else list(read_label(body).uses[0].targets)) == (
        {"uses.0.rate_max": ["Must be 100 or less."]} if named else []
    )


def test_limits_keep_their_crop_and_their_year():
    cap = {**ROWS["caps"][0], "site_code": "pumpkin", "year_basis": "calendar"}
    read = read_label({**PLAIN, "caps": [cap, *ROWS["caps"]]})

    assert [(c.site_code, c.year_basis) for c in read.caps] == [
        ("pumpkin", YearBasis.CALENDAR),
        (None, YearBasis.UNKNOWN),
    ]


def test_tiers_are_put_in_order():
    tiers = [{"up_to_rate": 3, "days": 7}, {"up_to_rate": 2, "days": 1}]
    read = read_label({**PLAIN, "uses": [{**USE, "phi_tiers": tiers}]})

    assert [tier.days for tier in read.uses[0].phi_tiers] == [1, 7]
