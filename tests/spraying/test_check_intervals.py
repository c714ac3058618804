"""Days between sprays and ingredients kept apart. Limits of the invented library."""

from __future__ import annotations

import pytest

from .mixes import changed, facts, line, past, reasons, relabelled, said

SAME = [
    # F5 7 days, planned for 4 Aug
    ("six_days", "2026-07-29", ["interval"]),
    ("seven_days", "2026-07-28", []),
    ("same_day", "2026-08-04", ["interval"]),
    ("assigned_six_days_later", "2026-08-10", ["interval"]),
    ("assigned_seven_days_later", "2026-08-11", []),
]


@pytest.mark.parametrize(("day", "refusing"), [r[1:] for r in SAME], ids=[r[0] for r in SAME])
def test_same_product(day, refusing):
    refused, _ = reasons(facts([("F5", 5), ("F1", 3)], [past(day, ("F5", 5))]))

    assert refused == refusing


def test_the_day_is_the_farms_not_utc():
    """22:30 on 3 Aug in New York is 4 Aug in UTC: six days after 28 July, not seven."""
    late = facts([("F1", 3)], [past("2026-07-28", ("F1", 3))], start="2026-08-03T22:30", end="2026-08-03T23:30")

    assert reasons(late)[0] == ["interval"]


def test_a_shared_ingredient_counts_where_the_label_says_so():
    """Both chlorothalonil products count their 7 days by ingredient; the two 3A products by product."""
    by_ingredient = facts([("F2", "3.2")], [past("2026-07-29", ("F1", 3))])
    corn = {"crop": "sweet_corn", "harvest": "2026-09-20T08:00"}
    by_product = facts([("I3", 5)], [past("2026-08-02", ("I1", 3), crop="sweet_corn")], **corn)

    assert reasons(by_ingredient) == (["interval_ai"], [])
    assert reasons(by_product) == ([], [])
    assert said(by_ingredient, "interval_ai") == [
        "F2: 6 days from F1 of Wed, Jul 29, 2026 on Long Field 2, which shares chlorothalonil; at least 7 days needed."
    ]


def test_the_past_label_may_be_the_one_that_counts_by_ingredient():
    by_product = relabelled("F1", 3, use={"interval_scope": "product", "min_interval_days": 5})
    soon = changed(facts([], [past("2026-07-29", ("F2", "3.2"))]), lines=(by_product,))
    later = changed(facts([], [past("2026-07-28", ("F2", "3.2"))]), lines=(by_product,))

    assert (reasons(soon)[0], reasons(later)[0]) == (["interval_ai"], [])


def test_another_part_of_the_block_is_other_ground():
    history = [past("2026-08-01", ("F1", 3), zone="A")]

    assert [reasons(facts([("F1", 3)], history, zone=zone))[0] for zone in ("A", "B", "all")] == [
        ["interval"],
        [],
        ["interval"],
    ]


UNKNOWN = [("recent", "2026-07-01", ["interval_unknown"]), ("long_ago", "2026-06-01", [])]


@pytest.mark.parametrize(("day", "asking"), [r[1:] for r in UNKNOWN], ids=[r[0] for r in UNKNOWN])
def test_an_interval_nobody_read_off_the_label(day, asking):
    silent = relabelled("F1", 3, use={"min_interval_days": None})

    assert reasons(changed(facts([], [past(day, ("F1", 3))]), lines=(silent,))) == ([], asking)


def test_the_same_mix_twice_on_one_day():
    twice = facts([("H1", "1.5")], [past("2026-08-04", ("H1", 1))], crop="fallow_cover", harvest=None)
    other = facts([("H1", "1.5")], [past("2026-08-04", ("H1", 1), ("N1", 1))], crop="fallow_cover", harvest=None)

    assert (reasons(twice), reasons(other)) == (([], ["duplicate"]), ([], []))


SULFUR_THEN_OIL = [("13_days", "2026-07-22", ["separation"]), ("14_days", "2026-07-21", [])]


@pytest.mark.parametrize(("day", "refusing"), [r[1:] for r in SULFUR_THEN_OIL], ids=[r[0] for r in SULFUR_THEN_OIL])
def test_oil_after_sulfur(day, refusing):
    assert reasons(facts([("F11", "0.8")], [past(day, ("F10", 4))])) == (refusing, [])


def test_either_label_may_ask_for_the_distance():
    """The oil's own label is silent; the sulfur that is on the ground asks for 14 days."""
    silent = relabelled("F11", "0.8", separations=[])
    after = changed(facts([], [past("2026-07-25", ("F10", 4))]), lines=(silent,))
    together = changed(facts([]), lines=(silent, line("F10", 4)))

    assert (reasons(after), reasons(together)) == ((["separation"], []), (["separation"], []))


OILY = [
    (True, (["separation"], [])),
    (False, ([], [])),
    (None, ([], ["oil_unknown"])),
]


@pytest.mark.parametrize(("contains", "expected"), OILY)
def test_oil_among_the_inert_parts_counts(contains, expected):
    """Some formulations carry mineral oil as an inert: F4 with sulfur in the tank or within 14 days."""
    inert = relabelled("F4", 8, contains_oil=contains)
    tank = changed(facts([]), lines=(inert, line("F10", 4)))
    after = changed(facts([("F1", 3)], [past("2026-07-25", ("F10", 4))]), lines=(inert, line("F1", 3)))

    assert (reasons(tank), reasons(after)) == (expected, expected)


def test_the_worst_of_several_neighbours_speaks():
    history = [past("2026-07-29", ("F1", 3)), past("2026-08-02", ("F1", 3)), past("2026-07-30", ("F1", 3))]

    assert said(facts([("F2", "3.2")], history), "interval_ai") == [
        "F2: 2 days from F1 of Sun, Aug 2, 2026 on Long Field 2, which shares chlorothalonil; at least 7 days needed."
    ]


def test_by_ingredient_without_a_number_of_days_asks_for_none():
    silent = relabelled("F2", "3.2", use={"min_interval_days": None})
    by_product = relabelled("F1", 3, use={"interval_scope": "product"})
    history = [past("2026-08-04", lines=(by_product,))]

    assert reasons(changed(facts([], history), lines=(silent,))) == ([], [])


def test_any_oil_counts_as_oil():
    other_oil = relabelled("F11", "0.8", ingredients=[{"name": "neem oil", "amount": 7, "basis": "lb_per_gal"}])
    tank = changed(
        facts([]), lines=(changed(other_oil, label=changed(other_oil.label, separations=())), line("F10", 4))
    )

    assert reasons(tank) == (["separation"], [])


def test_no_days_apart_is_no_distance():
    row = relabelled("F10", 4, separations=[{"ingredient": "mineral oil", "days": 0}])
    oil = relabelled("F11", "0.8", separations=[])

    assert reasons(changed(facts([], [past("2026-08-04", lines=(oil,))]), lines=(row,))) == ([], [])
    assert reasons(changed(facts([]), lines=(row, oil))) == ([], [])


def test_one_day_apart_keeps_them_out_of_one_tank():
    row = relabelled("F10", 4, separations=[{"ingredient": "mineral oil", "days": 1}])
    oil = relabelled("F11", "0.8", separations=[])

    assert reasons(changed(facts([]), lines=(row, oil))) == (["separation"], [])


@pytest.mark.parametrize(("day", "asking"), [("2026-06-05", ["interval_unknown"]), ("2026-06-04", [])])
def test_an_unknown_interval_looks_sixty_days_back(day, asking):
    silent = relabelled("F1", 3, use={"min_interval_days": None})

    assert reasons(changed(facts([], [past(day, ("F1", 3))]), lines=(silent,))) == ([], asking)
