"""Runs, windows, counts and shares of groups; scope by crop, target, ground and season."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from apps.products.rules import Scheme
from apps.spraying.rules import PRESETS, FarmPolicy, GroupRule

from .mixes import changed, facts, line, mix, past, reasons, relabelled, said

CORN = {"crop": "sweet_corn", "harvest": "2026-09-20T08:00"}
F1, F3, F4, F5, F13 = ("F1", 3), ("F3", 6), ("F4", 8), ("F5", 5), ("F13", 4)


def weekly(*mixes):
    """Past sprays a week apart, the last one a week and a day before 4 Aug."""
    first = date(2026, 7, 27).toordinal() - 7 * (len(mixes) - 1)
    return [past(str(date.fromordinal(first + 7 * n)), *plan) for n, plan in enumerate(mixes)]


RUNS = [
    ("one_before", [(F3, F1)], [F3, F1], [], []),
    ("two_before", [(F3, F1), (F3, F1)], [F3, F1], ["group_consec_label"], []),
    ("broken_by_another_group", [(F3, F1), (F3, F1), (F4, F1)], [F3, F1], [], []),
    ("broken_by_multi_site_only", [(F3, F1), (F3, F1), (F1,)], [F3, F1], [], []),
    ("not_broken_by_an_insecticide", [(F3, F1), (F3, F1), (("I5", 4),)], [F3, F1], ["group_consec_label"], []),
    ("advice_where_the_label_is_silent", [(F4, F1), (F4, F1)], [F5, F1], [], ["group_consec"]),
    ("group_49_share_of_three", [(F13,), (F1,)], [F13], [], ["group_share"]),  # 2 of 3
    ("group_49_one_of_three", [(F1,), (F1,)], [F13], [], []),
    ("group_49_two_of_two_is_too_few_to_tell", [(F13,)], [F13], [], []),
    ("eleven_one_of_three", [(("F6", "18.5"),), (F1,), (F1,)], [("F2", "3.2")], [], []),
    ("eleven_two_of_three", [(("F6", "18.5"),), (F1,)], [("F2", "3.2")], [], ["group_window"]),
]


@pytest.mark.parametrize(("before", "now", "refusing", "asking"), [r[1:] for r in RUNS], ids=[r[0] for r in RUNS])
def test_runs_windows_and_shares(before, now, refusing, asking):
    refused, asked = reasons(facts(now, weekly(*before)))

    assert ([c for c in refused if "group" in c], [c for c in asked if "group" in c]) == (refusing, asking)


SCOPE = [
    ("another_crop", {"crop": "winter_squash"}, []),
    ("unknown_crop_that_held_the_group", {"crop": None}, ["group_consec_label"]),
    ("another_part", {"zone": "A"}, ["group_consec_label"]),  # whole block planned: part A has the run
]


@pytest.mark.parametrize(("where", "refusing"), [r[1:] for r in SCOPE], ids=[r[0] for r in SCOPE])
def test_scope_is_crop_and_ground(where, refusing):
    history = [past("2026-07-20", F3, F1, **where), past("2026-07-27", F3, F1, **where)]

    assert reasons(facts([F3, F1], history))[0] == refusing


def test_last_season_does_not_count_this_crop_does():
    history = [past("2025-07-20", F3, F1), past("2025-07-27", F3, F1)]
    over_winter = changed(facts([F3, F1], history), planted_on=date(2025, 7, 1))
    this_year = changed(facts([F3, F1], history), planted_on=date(2026, 6, 1))

    assert (reasons(facts([F3, F1], history))[0], reasons(over_winter)[0], reasons(this_year)[0]) == (
        [],
        ["group_consec_label"],
        [],
    )


def test_one_number_in_two_schemes_is_two_groups():
    """Fungicide group 13 twice, then a herbicide of HRAC 13: no run."""
    history = weekly((F3, F1), (F3, F1))

    assert reasons(facts([("H6", 21)], history)) == ([], [])


def test_old_and_new_codes_are_one_group():
    """U8 is 50 today (from memory); history written with the old code."""
    old = relabelled("F9", "15.4", groups=[{"scheme": "frac", "code": "U8"}], group_run_limits=[])
    history = [past(day, lines=(old, line(*F1))) for day in ("2026-07-20", "2026-07-27")]

    assert reasons(facts([("F9", "15.4"), F1], history)) == (["group_consec_label"], [])


def targeted(plan, *targets):
    return tuple(replace(row, targets=targets) for row in mix(*plan))


TARGETS = [
    ("same_class", ("powdery_mildew",), ("powdery_mildew",), ["group_consec"]),
    ("two_names_of_one_class", ("downy_mildew",), ("phytophthora_blight",), ["group_consec"]),
    ("another_class", ("powdery_mildew",), ("downy_mildew",), []),
    ("past_target_unknown_counts", (), ("powdery_mildew",), ["group_consec"]),
    ("planned_target_unknown_counts_all", ("downy_mildew",), (), ["group_consec"]),
]


@pytest.mark.parametrize(("was", "now", "asking"), [r[1:] for r in TARGETS], ids=[r[0] for r in TARGETS])
def test_scope_is_the_class_of_target(was, now, asking):
    history = [past(day, lines=targeted([F4, F1], *was)) for day in ("2026-07-20", "2026-07-27")]
    given = changed(facts([], history), lines=targeted([F4, F1], *now))

    assert [c for c in reasons(given)[1] if "group" in c] == asking


def test_a_spray_of_unknown_target_does_not_break_a_run():
    history = [past(day, lines=targeted([F4, F1], "powdery_mildew")) for day in ("2026-07-06", "2026-07-13")]
    history.append(past("2026-07-20", ("F13", 4)))
    given = changed(facts([], history), lines=targeted([F4, F1], "powdery_mildew"))

    assert reasons(given) == ([], ["group_consec"])


def test_a_job_already_assigned_later_belongs_to_the_run():
    history = [past("2026-07-27", F3, F1), past("2026-08-11", F3, F1, done=False)]

    assert reasons(facts([F3, F1], history)) == (["group_consec_label"], [])


def test_two_tanks_on_one_day_are_one_spray():
    history = [past("2026-07-27", F3, F1), past("2026-07-27", ("F4", 8))]

    assert reasons(facts([F3, F1], history)) == ([], [])


def test_a_program_makes_the_share_count_against_its_length():
    history = weekly((F13,), (F1,))

    assert [reasons(changed(facts([F13], history), program_sprays=n))[1] for n in (None, 5, 6)] == [
        ["group_share"],
        ["group_share"],
        [],
    ]


PARTNER = [
    ("alone", [F3], ["no_multisite_partner"]),
    ("premix_with_its_own", [("F2", "3.2")], []),
    ("oil_is_no_partner", [F3, ("F11", "0.8")], ["no_multisite_partner"]),
    ("sulfur_is", [F3, ("F10", 4)], []),
    ("not_a_mobile_group", [F13], []),
    ("a_herbicide_of_the_same_number", [("H6", 21)], []),
]


@pytest.mark.parametrize(("plan", "asking"), [r[1:] for r in PARTNER], ids=[r[0] for r in PARTNER])
def test_multisite_partner(plan, asking):
    assert reasons(facts(plan)) == ([], asking)


def house(**limits):
    return FarmPolicy(group_rules=(GroupRule(source="test", **limits),))


IRAC_30 = house(scheme=Scheme.IRAC, generation_days=30, never_after_failure=True)
GENERATION = [
    # stretches of 30 days from the first insecticide on 1 June: 1-30 June, 1-30 July, 31 July-29 Aug
    ("same_stretch", ["2026-07-31"], [], ("I5", 4), []),
    ("stretch_before", ["2026-07-10"], [], ("I5", 4), ["group_generation"]),
    ("sub_groups_share_a_target", ["2026-07-10"], [], ("I8", "2"), ["group_generation"]),
    ("two_stretches_before", ["2026-06-05"], [], ("I5", 4), []),
    ("after_a_failure", ["2026-07-31"], ["2026-07-31"], ("I5", 4), ["group_after_failure"]),
]


@pytest.mark.parametrize(
    ("days", "failed", "now", "asking"), [r[1:] for r in GENERATION], ids=[r[0] for r in GENERATION]
)
def test_insecticides_by_generation(days, failed, now, asking):
    """IRAC: one mode of action within a generation, another for the next."""
    history = [past("2026-06-01", ("I4", 4)), *(past(day, ("I5", 4), failed=day in failed) for day in days)]
    given = changed(facts([now], history), policy=IRAC_30)

    assert [c for c in reasons(given)[1] if "group" in c] == asking


def test_after_n_in_a_row_at_least_n_others():
    rest = house(scheme=Scheme.FRAC, code="3", rest_equal=True)
    one_since = changed(facts([F4, F1], weekly((F4, F1), (F4, F1), (F1,))), policy=rest)
    two_since = changed(facts([F4, F1], weekly((F4, F1), (F4, F1), (F1,), (F1,))), policy=rest)

    assert (reasons(one_since)[1], reasons(two_since)[1]) == (["group_rest"], [])


def test_a_year_on_the_same_ground_counts_every_crop():
    yearly = house(scheme=Scheme.FRAC, code="49", max_per_year=2)
    history = [past("2026-05-01", F13, crop="cucumber"), past("2026-06-01", F13)]

    assert reasons(changed(facts([F13], history), policy=yearly))[1] == ["group_max_year"]
    assert reasons(changed(facts([F13], history[1:]), policy=yearly))[1] == []


def test_few_sprays_allow_one_of_the_group():
    """FRAC OSBPI 2024: with fewer than three sprays, at most one."""
    few = house(scheme=Scheme.FRAC, code="49", few=1)

    assert reasons(changed(facts([F13], weekly((F13,))), policy=few))[1] == ["group_share"]
    assert reasons(changed(facts([F13], weekly((F13,), (F1,))), policy=few))[1] == []


def test_a_run_may_carry_over_from_last_season():
    history = [past("2025-08-20", F4, F1), past("2025-08-27", F4, F1)]
    rules = {"scheme": Scheme.FRAC, "code": "3", "max_in_a_row": 2}

    assert reasons(changed(facts([F4, F1], history), policy=house(**rules)))[1] == []
    assert reasons(changed(facts([F4, F1], history), policy=house(**rules, carry_over=True)))[1] == ["group_consec"]


ONCE = [
    ("first", [], []),
    ("second_in_a_row", [(F4, F1)], ["group_consec", "group_max_crop"]),
    ("second_later", [(F4, F1), (F1,)], ["group_max_crop"]),
]


@pytest.mark.parametrize(("before", "asking"), [r[1:] for r in ONCE], ids=[r[0] for r in ONCE])
def test_the_preset_once_a_season(before, asking):
    given = changed(facts([F4, F1], weekly(*before)), policy=PRESETS["once_a_season"])

    assert reasons(given) == ([], asking)


def test_labels_only_still_refuses_what_a_label_limits():
    given = changed(facts([F3], weekly((F3,), (F3,))), policy=PRESETS["labels_only"])

    assert reasons(given) == (["group_consec_label"], [])
    assert said(given, "group_consec_label") == [
        "FRAC 13: this would be 3 sprays in a row on Long Field 2; the label of F3 allows 2."
    ]


def test_every_shipped_rule_names_its_source():
    rules = [rule for policy in PRESETS.values() for rule in policy.group_rules]

    assert len(rules) > 20 and [rule for rule in rules if not rule.source.strip()] == []


def test_planted_today_counts_today():
    history = [past("2026-07-20", F3, F1), past("2026-07-27", F3, F1)]

    assert [reasons(changed(facts([F3, F1], history), planted_on=date(2026, 7, day)))[0] for day in (20, 21)] == [
        ["group_consec_label"],
        [],
    ]


def test_a_run_reaches_over_several_jobs_still_ahead():
    ahead = [past(f"2026-08-{day}", F4, F1, done=False) for day in (12, 19)]

    assert "group_consec" in reasons(facts([F4, F1], ahead))[1]
    assert "group_consec" not in reasons(facts([F4, F1], ahead[:1]))[1]


def test_a_window_reaches_over_jobs_still_ahead():
    """Group 11 once in any three: the one two sprays later is in a window with this one, three later is not."""
    f2 = ("F2", "3.2")
    second = [past("2026-08-12", F1, done=False), past("2026-08-19", f2, done=False)]
    third = [past("2026-08-12", F1, done=False), past("2026-08-19", F1, done=False), past("2026-08-26", f2, done=False)]

    assert "group_window" in reasons(facts([f2], second))[1]
    assert "group_window" not in reasons(facts([f2], third))[1]


REST = [
    # after two in a row, two of other groups
    ("one_rest", [(F4, F1), (F4, F1), (F1,)], ["group_rest"]),
    ("equal_rest", [(F4, F1), (F4, F1), (F1,), (F1,)], []),
    ("run_goes_on", [(F4, F1), (F4, F1)], []),
    ("single_then_one", [(F4, F1), (F1,)], []),
    ("never_used", [(F1,), (F1,)], []),
    ("only_the_last_run_counts", [(F4, F1), (F4, F1), (F4, F1), (F1,), (F4, F1), (F1,)], []),
]


@pytest.mark.parametrize(("before", "asking"), [r[1:] for r in REST], ids=[r[0] for r in REST])
def test_rest_between_runs(before, asking):
    given = changed(facts([F4, F1], weekly(*before)), policy=house(scheme=Scheme.FRAC, code="3", rest_equal=True))

    assert [c for c in reasons(given)[1] if "group" in c] == asking


def test_a_failure_before_the_last_spray_is_past():
    history = [past("2026-07-20", ("I5", 4), failed=True), past("2026-07-27", ("I4", 4))]
    given = changed(facts([("I5", 4)], history), policy=IRAC_30)

    assert [c for c in reasons(given)[1] if "group" in c] == []


def test_a_failure_of_another_group_is_no_matter():
    given = changed(facts([("I5", 4)], [past("2026-07-27", ("I4", 4), failed=True)]), policy=IRAC_30)

    assert [c for c in reasons(given)[1] if "group" in c] == []


def test_a_year_counts_only_its_own_days_and_its_own_group():
    yearly = house(scheme=Scheme.FRAC, code="49", max_per_year=2)
    last_year = [past("2025-05-01", F13), past("2025-06-01", F13), past("2026-05-01", F1)]

    assert reasons(changed(facts([F13], last_year), policy=yearly))[1] == []


def test_the_exact_share_is_allowed():
    assert reasons(facts([F13], weekly((F1,), (F1,))))[1] == []
    assert reasons(facts([F13], weekly((F13,), (F1,), (F1,), (F1,), (F1,))))[1] == []
    assert reasons(facts([F13], weekly((F13,), (F1,), (F1,), (F1,))))[1] == ["group_share"]


def test_a_rule_for_one_class_of_target_leaves_the_others_alone():
    rule = house(scheme=Scheme.FRAC, code="3", max_in_a_row=1, target_classes=frozenset({"oomycetes"}))
    history = [past("2026-07-27", lines=targeted([F4, F1], target)) for target in ("powdery_mildew", "downy_mildew")]
    answers = []
    for event, target in zip(history, ("powdery_mildew", "downy_mildew"), strict=True):
        given = changed(facts([], [event]), lines=targeted([F4, F1], target), policy=rule)
        answers.append(reasons(given)[1])

    assert answers == [[], ["group_consec"]]


def test_the_numbers_of_a_window_are_said():
    given = facts([("F2", "3.2")], weekly((("F6", "18.5"),), (F1,)))

    assert said(given, "group_window") == ["FRAC 11: 2 of 3 sprays in a row on Long Field 2; advised is at most 1."]
    assert said(facts([F13], weekly((F13,), (F1,))), "group_share") == [
        "FRAC 49: 2 of 3 sprays on Long Field 2; advised is a share of at most 1/3."
    ]
