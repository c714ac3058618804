"""Reading a label document at its edges: codes that only look right, lengths, lists, what is asked for once."""

from __future__ import annotations

from decimal import Decimal

import pytest

from apps.products.rules import STAGES, MixingStage, Ppe, read_label

from .test_rules_label import PLAIN, USE, edited, faults, with_value

SAY_CODE = "Give a code of small letters, digits and underscores, such as winter_squash."

# A line end after a code would leave the limit bound to no crop at all, in silence.
ENDED = [
    "uses.0.site_code",
    "caps.0.site_code",
    "plantback.0.site_code",
    "activity_rei.0.activity",
]


@pytest.mark.parametrize("path", ENDED)
def test_a_code_with_a_line_end_is_no_code(path):
    assert faults(with_value(path, "pumpkin\n")) == {path: [SAY_CODE]}


def test_the_codes_of_lists_and_names_are_read_as_strictly():
    body = with_value("preplant_days", {"pumpkin\n": 3})
    body["uses"][0]["targets"] = ["rust", "rust\n", "Rust"]

    assert faults(body) == {
        "preplant_days.pumpkin\n": [SAY_CODE],
        "uses.0.targets.1": [SAY_CODE],
        "uses.0.targets.2": [SAY_CODE],
    }


LENGTHS = [
    # path, the longest that is read, the sentence of one more
    ("ingredients.0.name", 120, "Give the ISO common name of an active ingredient."),
    ("signal_word", 60, "Give text of at most 60 characters."),
    ("bee_statement", 4000, "Give text of at most 4000 characters."),
    ("uses.0.conditions", 4000, "Give text of at most 4000 characters."),
    ("sections.caps", 200, "Give text of at most 200 characters."),
]


@pytest.mark.parametrize(("path", "longest", "sentence"), LENGTHS, ids=[r[0] for r in LENGTHS])
def test_a_text_of_the_full_length_is_read_and_one_more_is_not(path, longest, sentence):
    read_label(edited(path, "a" * longest))

    assert faults(edited(path, "a" * (longest + 1))) == {path: [sentence]}


LISTS = [
    ("uses.0.targets", "rust", "Give a list."),
    ("methods", "ground", "Give a list."),
    ("mix_cautions", {"sulfur": True}, "Give a list."),
    ("uses", {"0": USE}, "Give a list."),
    ("uses.0.targets", [7], SAY_CODE),
    ("ppe.mixing", ["Gloves", " "], "Give the label's words."),
    ("ppe.applying", [None], "Give the label's words."),
    ("ppe.early_entry", [3], "Give the label's words."),
]


@pytest.mark.parametrize(("path", "value", "sentence"), LISTS, ids=[f"{r[0]}={r[1]!r:.20}" for r in LISTS])
def test_what_a_list_may_hold(path, value, sentence):
    place = f"{path}.{len(value) - 1}" if isinstance(value, list) else path

    assert faults(edited(path, value)) == {place: [sentence]}


def test_a_name_of_two_words_is_kept_with_one_space():
    assert read_label(edited("mix_cautions", ["Mineral   Oil", "mineral oil"])).mix_cautions == ("mineral oil",)


def test_the_lists_of_gear_are_kept_apart():
    gear = {"mixing": ["apron", "apron"], "applying": ["long   sleeves"], "early_entry": ["gloves", "socks"]}

    assert read_label(edited("ppe", gear)).ppe == Ppe(
        mixing=("apron",), applying=("long sleeves",), early_entry=("gloves", "socks")
    )


@pytest.mark.parametrize("said", [None, ""])
def test_days_before_planting_are_needed_once_a_crop_is_named(said):
    assert faults(edited("preplant_days", {"pumpkin": said})) == {
        "preplant_days.pumpkin": ["Give a number from 0 to 365."]
    }


def test_a_row_without_any_of_its_fields_names_them_all_and_is_no_row():
    body = {**PLAIN, "caps": [{}], "plantback": [{}], "activity_rei": [{}], "separations": [{}], "groups": [{}]}

    assert sorted(faults(body)) == [
        "activity_rei.0.activity",
        "activity_rei.0.hours",
        "caps.0.ingredient",
        "caps.0.per",
        "caps.0.pounds",
        "groups.0.scheme",
        "plantback.0.months",
        "plantback.0.site_code",
        "separations.0.days",
        "separations.0.ingredient",
    ]


def test_a_code_that_is_neither_text_nor_number_is_no_group():
    assert faults(edited("groups.0.code", ["11"])) == {
        "groups.0.code": ["Give a code as FRAC prints it, such as M05 or 11."]
    }


def test_a_tier_may_end_below_one():
    tiers = [{"up_to_rate": "0.5", "days": 1}, {"up_to_rate": 3, "days": 7}]

    assert [t.up_to_rate for t in read_label(edited("uses.0.phi_tiers", tiers)).uses[0].phi_tiers] == [
        Decimal("0.5"),
        3,
    ]


RATES = [
    ("uses.0.rate_min", "10001", "Must be 10000 or less."),
    ("uses.0.rate_min", "-1", "Must be 0 or more."),
    ("uses.0.rate_max", "0", "Must be more than 0."),
    ("temperature_caution_f", "151", "Must be 150 or less."),
    ("temperature_caution_f", "-41", "Must be -40 or more."),
]


@pytest.mark.parametrize(("path", "value", "sentence"), RATES, ids=[f"{r[0]}={r[1]}" for r in RATES])
def test_an_absurd_amount_says_what_would_be_right(path, value, sentence):
    found = faults(edited(path, value))

    assert sentence in found[path]


def test_a_stage_of_filling_is_read_by_its_name():
    assert read_label(edited("mixing_stage", "oil_dispersion")).mixing_stage is MixingStage.OIL_DISPERSION
    assert list(faults(edited("mixing_stage", "last"))) == ["mixing_stage"]


def test_a_fault_keeps_its_place_behind_a_row_that_could_not_be_read():
    body = {
        **PLAIN,
        "uses": [
            "pumpkin",
            USE,
            {**USE, "rate_basis": "per_100_gal"},
            {**USE, "site_code": "gourd", "rate_unit": "lb"},
        ],
        "caps": [{"per": "year"}, {"ingredient": "copper", "pounds": 5, "per": "year"}],
        "group_run_limits": [{"scheme": "frac"}, {"scheme": "frac", "code": "11", "max_in_a_row": 2}],
    }

    assert sorted(faults(body)) == [
        "caps.0.ingredient",
        "caps.0.pounds",
        "caps.1.ingredient",
        "group_run_limits.0.code",
        "group_run_limits.0.max_in_a_row",
        "group_run_limits.1.code",
        "uses.0",
        "uses.2.rate_unit",
        "uses.3.rate_unit",
    ]


WHOLE = [
    (
        "formulation_code",
        "WDG",
        "Give the two-letter code of the international coding system, such as SC, EC, WG or WP "
        "(WDG and DF are WG, F is SC).",
    ),
    ("ppe.spraying", [], "“spraying” is not a field of a label. Fields here: applying, early_entry, mixing."),
    (
        "uses.0.stage_from",
        "soon",
        "Use a growth stage that can be put in order: a Zadoks number such as z37, or one of: "
        f"{', '.join(sorted(STAGES))}.",
    ),
]


@pytest.mark.parametrize(("path", "value", "sentence"), WHOLE, ids=[r[0] for r in WHOLE])
def test_a_long_fault_says_all_that_would_be_right(path, value, sentence):
    assert faults(edited(path, value)) == {path: [sentence]}
