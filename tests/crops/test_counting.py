"""Counts against thresholds: plain rules. Values with their sources stand in ``thresholds.py``; here they are used."""

from __future__ import annotations

import os
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.crops.rules import SHIPPED, Measure, Place, Surety, Threshold, Unit, Verdict, check_places, judge_count
from farmops.errors import BadInput

MANY = settings(max_examples=1000 if os.environ.get("NIGHTLY") else 60, deadline=None)


def walk(examined: int, found: int, places: int = 5) -> list[Place]:
    """A walk of ``places`` stops: all but the first hold an even part, the first the rest and everything found."""
    each = examined // places
    return [Place(examined=examined - each * (places - 1), found=found)] + [
        Place(examined=each, found=0) for _ in range(places - 1)
    ]


@pytest.mark.parametrize(
    ("code", "places", "nights", "verdict"),
    [
        # Purdue (McGrath), Penn State, Delaware: one leaf of 45 to 50; fewer than 45 and none found is no sample.
        pytest.param("powdery_mildew_leaves", walk(50, 0, 10), None, Verdict.CLEAN, id="none of 50 leaves"),
        pytest.param("powdery_mildew_leaves", walk(45, 0, 9), None, Verdict.CLEAN, id="none of 45"),
        pytest.param("powdery_mildew_leaves", walk(44, 0, 4), None, Verdict.INSUFFICIENT, id="none of 44"),
        pytest.param("powdery_mildew_leaves", walk(50, 1, 10), None, Verdict.REACHED, id="one of 50"),
        pytest.param("powdery_mildew_leaves", walk(45, 1, 9), None, Verdict.REACHED, id="one of 45"),
        pytest.param("powdery_mildew_leaves", walk(10, 1, 2), None, Verdict.REACHED, id="stopped at the first find"),
        # Ohio State 2021: half a beetle a plant on cotyledons; Maryland 2009: ten plants at five places.
        pytest.param("beetles_cotyledon", walk(50, 25), None, Verdict.REACHED, id="half a beetle a plant"),
        pytest.param("beetles_cotyledon", walk(50, 24), None, Verdict.BELOW, id="just under half"),
        pytest.param("beetles_cotyledon", walk(50, 0), None, Verdict.CLEAN, id="no beetle"),
        pytest.param("beetles_cotyledon", walk(40, 40), None, Verdict.INSUFFICIENT, id="many, on too few plants"),
        pytest.param("beetles_cotyledon", walk(50, 50, 1), None, Verdict.INSUFFICIENT, id="all at one place"),
        # Purdue: five on most established pumpkins and squash, one on hosts of bacterial wilt.
        pytest.param("beetles_established", walk(50, 249), None, Verdict.BELOW, id="just under five"),
        pytest.param("beetles_established", walk(50, 250), None, Verdict.REACHED, id="five a plant"),
        pytest.param("beetles_wilt_host", walk(50, 50), None, Verdict.REACHED, id="one on a wilt host"),
        # New Hampshire: 5 moths in a trap in a week on bush types, 12 on vining ones.
        pytest.param("vine_borer_bush", [Place(examined=1, found=5)], 7, Verdict.REACHED, id="5 in a week"),
        pytest.param("vine_borer_bush", [Place(examined=1, found=5)], 8, Verdict.BELOW, id="5 in 8 nights"),
        pytest.param("vine_borer_bush", [Place(examined=2, found=9)], 7, Verdict.BELOW, id="9 in two traps"),
        pytest.param("vine_borer_vining", [Place(examined=1, found=11)], 7, Verdict.BELOW, id="11 on vining"),
        # Purdue: one earworm moth a night at silk.
        pytest.param("earworm_silk", [Place(examined=1, found=5)], 5, Verdict.REACHED, id="a moth a night"),
        pytest.param("earworm_silk", [Place(examined=1, found=4)], 5, Verdict.BELOW, id="less than one a night"),
        pytest.param("earworm_silk", [Place(examined=1, found=9)], None, Verdict.INSUFFICIENT, id="how long?"),
        # Delaware: 20 % of crowns (mites); 30 % at mid-whorl (armyworm).
        pytest.param("mites_crowns", walk(50, 10), None, Verdict.REACHED, id="20 percent"),
        pytest.param("armyworm_mid_whorl", walk(50, 14), None, Verdict.BELOW, id="28 percent"),
    ],
)  # fmt: skip
def test_what_a_count_says(code, places, nights, verdict):
    assert judge_count(SHIPPED[code], places, nights).verdict is verdict


def test_what_is_missing_is_told():
    answer = judge_count(SHIPPED["beetles_cotyledon"], walk(30, 20, 3))
    assert (answer.missing_units, answer.missing_places, answer.examined, answer.found) == (20, 2, 30, 20)
    assert answer.because.sentence == (
        "Cucumber beetles, striped and spotted: 20 found on 30 looked at so far. A sample is 50 or more, at 5 places "
        "or more: this is not enough to say."
    )


@pytest.mark.parametrize(
    ("places", "nights", "code", "fields"),
    [
        ([], None, "beetles_cotyledon", ["places"]),
        ([Place(examined=0, found=0)], None, "beetles_cotyledon", ["places.0.examined"]),
        ([Place(examined=5, found=-1)], None, "beetles_cotyledon", ["places.0.found"]),
        ([Place(examined=5, found=6)], None, "powdery_mildew_leaves", ["places.0.found"]),
        ([Place(examined=5, found=6)], None, "mites_crowns", ["places.0.found"]),
        ([Place(examined=1, found=6)], None, "earworm_silk", ["nights"]),
        ([Place(examined=1, found=6)], 0, "earworm_silk", ["nights"]),
        ([Place(examined=1, found=6)], 61, "earworm_silk", ["nights"]),
        ([Place(examined=1, found=0)] * 41, None, "beetles_cotyledon", ["places"]),
        ([Place(examined=10_001, found=0)], None, "beetles_cotyledon", ["places.0.examined"]),
        ([Place(examined=5, found=10_001)], None, "beetles_cotyledon", ["places.0.found"]),
        ([Place(examined=5, found=5), Place(examined=0, found=0)], None, "mites_crowns", ["places.1.examined"]),
    ],
)
def test_what_cannot_be(places, nights, code, fields):
    with pytest.raises(BadInput) as caught:
        check_places(SHIPPED[code], places, nights)
    assert sorted(caught.value.errors) == fields


@pytest.mark.parametrize(
    ("places", "nights", "code"),
    [
        ([Place(examined=1, found=0)] * 40, None, "beetles_cotyledon"),
        ([Place(examined=10_000, found=10_000)], None, "mites_crowns"),
        ([Place(examined=1, found=0)], 1, "earworm_silk"),
        ([Place(examined=1, found=0)], 60, "earworm_silk"),
    ],
    ids=["forty places", "ten thousand, all of them", "one night", "sixty nights"],
)
def test_what_just_can_be(places, nights, code):
    assert check_places(SHIPPED[code], places, nights) is None


def test_what_is_wrong_is_said_where_it_is():
    places = [Place(examined=0, found=0), Place(examined=5, found=-1), Place(examined=5, found=6)]
    with pytest.raises(BadInput) as caught:
        check_places(SHIPPED["mites_crowns"], places, None)
    assert caught.value.errors == {
        "places.0.examined": ["Must be between 1 and 10,000."],
        "places.1.found": ["Must be between 0 and 10,000."],
        "places.2.found": ["Cannot be found on more than were looked at."],
    }
    with pytest.raises(BadInput) as caught:
        check_places(SHIPPED["earworm_silk"], [], None)
    assert caught.value.errors == {
        "places": ["Enter 1 to 40 places."],
        "nights": ["Enter for how many nights the traps hung, 1 to 60."],
    }


@pytest.mark.parametrize(
    ("code", "examined", "found", "nights", "value"),
    [
        # worked by hand: 7 of 50 = 14 %; 9 moths in 2 traps in 7 nights = 4.5 a week; 4 in 3 traps in 5 nights = 4/15
        ("mites_crowns", 50, 7, None, Fraction(14)),
        ("beetles_cotyledon", 50, 7, None, Fraction(7, 50)),
        ("powdery_mildew_leaves", 50, 7, None, Fraction(7)),
        ("vine_borer_bush", 2, 9, 7, Fraction(9, 2)),
        ("vine_borer_bush", 2, 9, 14, Fraction(9, 4)),
        ("earworm_silk", 3, 4, 5, Fraction(4, 15)),
        ("earworm_silk", 3, 4, None, None),
        ("mites_crowns", 0, 0, None, None),
    ],
)
def test_the_value_that_is_compared(code, examined, found, nights, value):
    assert judge_count(SHIPPED[code], [Place(examined=examined, found=found)], nights).value == value


def test_more_beetles_than_plants_can_be():
    check_places(SHIPPED["beetles_cotyledon"], [Place(examined=5, found=60)], None)


def test_every_shipped_threshold_names_its_source_and_memory_is_marked():
    assert all(rule.source for rule in SHIPPED.values())
    from_memory = [code for code, rule in SHIPPED.items() if rule.surety is Surety.FROM_MEMORY]
    assert (from_memory, [SHIPPED[c].source for c in from_memory]) == (["melon_aphid_plants"], ["from memory"])
    assert all(rule.places * rule.per_place >= rule.sample_min for rule in SHIPPED.values())
    assert all(rule.places >= rule.places_min for rule in SHIPPED.values())


@pytest.mark.parametrize(
    ("site", "codes"),
    [
        ("muskmelon", {"powdery_mildew_leaves", "beetles_cotyledon", "beetles_1_4_leaves", "beetles_wilt_host",
                       "mites_crowns", "melon_aphid_plants"}),
        ("sweet_corn", {"earworm_silk", "earworm_green_silk_near", "armyworm_mid_whorl", "armyworm_tassel_push",
                        "tassel_worms"}),
        ("tomato", set()),
        (None, set()),
    ],
)  # fmt: skip
def test_which_speak_about_a_crop(site, codes):
    assert {code for code, rule in SHIPPED.items() if rule.fits(site)} == codes


rules = st.builds(
    Threshold,
    code=st.just("own"), name=st.just("Own"), pest=st.just("own"), source=st.just("own"), unit=st.just(Unit.PLANT),
    measure=st.sampled_from([Measure.FOUND, Measure.SHARE, Measure.PER_UNIT]),
    treat_at=st.integers(1, 100).map(Decimal), sample_min=st.integers(1, 60), places_min=st.integers(1, 6),
    places=st.just(6), per_place=st.just(10),
)  # fmt: skip
spots = st.lists(
    st.integers(1, 20).flatmap(lambda n: st.builds(Place, examined=st.just(n), found=st.integers(0, n))),
    min_size=1,
    max_size=8,
)


def naive(rule: Threshold, places: list[Place]) -> Verdict:
    """A second derivation: in whole numbers, without dividing."""
    examined, found = sum(p.examined for p in places), sum(p.found for p in places)
    enough = examined >= rule.sample_min and len(places) >= rule.places_min
    scale = {Measure.FOUND: found >= rule.treat_at, Measure.SHARE: found * 100 >= rule.treat_at * examined,
             Measure.PER_UNIT: found >= rule.treat_at * examined}  # fmt: skip
    over = scale[rule.measure]
    if over and (enough or rule.measure is Measure.FOUND):
        return Verdict.REACHED
    if not enough:
        return Verdict.INSUFFICIENT
    return Verdict.BELOW if found else Verdict.CLEAN


@MANY
@given(rules, spots)
def test_against_whole_numbers_and_never_clean_without_a_sample(rule, places):
    answer = judge_count(rule, places)
    assert answer.verdict is naive(rule, places)
    if answer.verdict is Verdict.CLEAN:
        assert answer.examined >= rule.sample_min
        assert answer.value == Fraction(0)


@MANY
@given(rules, spots)
def test_the_order_of_the_walk_changes_nothing(rule, places):
    assert judge_count(rule, places[::-1]).verdict is judge_count(rule, places).verdict
