"""Resistance groups as (scheme, code): spellings, aliases, sub-groups; formulation codes; growth stages."""

from __future__ import annotations

import pytest

from apps.products.rules import FORMULATION_CODES, Group, Scheme, group, is_stage, reached
from apps.products.rules.stages import earlier, later

SPELLINGS = [
    # U15 -> 49: Illinois Extension, 18 Aug 2017. M5 -> M05: FRAC code list. The other changes from memory.
    (Scheme.FRAC, "M5", "M05"),
    (Scheme.FRAC, "m 05", "M05"),
    (Scheme.FRAC, "U8", "50"),
    (Scheme.FRAC, "U08", "50"),
    (Scheme.FRAC, "U15", "49"),
    (Scheme.FRAC, "U6", "U06"),
    (Scheme.FRAC, "P1", "P01"),
    (Scheme.FRAC, "33", "P07"),
    (Scheme.FRAC, "BM2", "BM02"),
    (Scheme.FRAC, "03", "3"),
    (Scheme.FRAC, "NC", "NC"),
    (Scheme.FRAC, "3A", None),
    (Scheme.FRAC, "M", None),
    (Scheme.FRAC, "", None),
    (Scheme.IRAC, "3a", "3A"),
    (Scheme.IRAC, "03A", "3A"),
    (Scheme.IRAC, "9C", "29"),
    (Scheme.IRAC, "UN", "UN"),
    (Scheme.IRAC, "M05", None),
    (Scheme.HRAC, "13", "13"),
    (Scheme.HRAC, "F4", "13"),
    (Scheme.HRAC, "G", "9"),
    (Scheme.HRAC, "K3", "15"),
    (Scheme.HRAC, "3A", None),
    (Scheme.HRAC, "M5", None),
    (Scheme.IRAC, "U8", None),
    # digits of another script look the same on paper and would never match the group they mean
    (Scheme.FRAC, "١١", None),
    (Scheme.IRAC, "٣A", None),
    (Scheme.HRAC, "٩", None),
]


@pytest.mark.parametrize(("scheme", "written", "code"), SPELLINGS)
def test_one_code_for_every_spelling(scheme, written, code):
    assert group(scheme, written) == (None if code is None else Group(scheme, code))


def test_one_number_in_three_schemes_is_three_groups():
    threes = {group(Scheme.FRAC, "3"), group(Scheme.IRAC, "3A"), group(Scheme.HRAC, "3")}

    assert sorted(map(str, threes)) == ["FRAC 3", "HRAC 3", "IRAC 3A"]


KINDS = [
    (Scheme.FRAC, "M05", True, True, "M05"),
    (Scheme.FRAC, "NC", True, False, "NC"),
    (Scheme.FRAC, "BM02", True, False, "BM02"),
    (Scheme.FRAC, "P07", False, False, "P07"),
    (Scheme.FRAC, "11", False, False, "11"),
    (Scheme.IRAC, "4D", False, False, "4"),
    (Scheme.IRAC, "28", False, False, "28"),
    (Scheme.IRAC, "UN", False, False, "UN"),
    (Scheme.HRAC, "15", False, False, "15"),
]


@pytest.mark.parametrize(("scheme", "code", "exempt", "multisite", "number"), KINDS)
def test_which_groups_carry_rules(scheme, code, exempt, multisite, number):
    found = Group(scheme, code)

    assert (found.exempt, found.multisite, found.number) == (exempt, multisite, number)


def test_formulation_codes_are_the_international_ones():
    """CropLife International, Technical Monograph 2, 7th edition, revised March 2017."""
    tank = {"WG", "WP", "SC", "EC", "SL", "SG", "SP", "EW", "SE", "CS", "OD", "ME", "ZC", "ZE", "ZW"}

    assert (tank - FORMULATION_CODES, {"WDG", "DF", "F", "L"} & FORMULATION_CODES) == (set(), set())


STAGES = [
    # common practice, no source
    ("vegetative", "first_female_flower", False),
    ("first_female_flower", "first_female_flower", True),
    ("fruit_set", "first_female_flower", True),
    ("leaf_2", "leaf_5", False),
    ("v8", "v12", False),
    ("v12", "v8", True),
    ("silk", "tassel_push", True),
    ("z30", "z31", False),
    ("z61", "z37", True),
    ("z30", "vegetative", None),
    ("silk", "first_female_flower", None),
    ("anything", "silk", None),
]


@pytest.mark.parametrize(("stage", "limit", "answer"), STAGES)
def test_which_stage_comes_first(stage, limit, answer):
    assert reached(stage, limit) is answer


@pytest.mark.parametrize(
    ("code", "known"), [("silk", True), ("z9", True), ("z100", False), ("big", False), ("z37\n", False)]
)
def test_a_stage_has_a_place_in_an_order(code, known):
    assert is_stage(code) is known


def test_of_two_limits_the_narrower():
    assert (earlier("silk", "tassel"), earlier(None, "silk"), earlier("silk", None)) == ("tassel", "silk", "silk")
    assert (later("leaf_2", "leaf_5"), later(None, "leaf_2"), later("leaf_5", "leaf_2")) == (
        "leaf_5",
        "leaf_2",
        "leaf_5",
    )
