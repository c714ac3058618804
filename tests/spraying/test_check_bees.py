"""Bees: class of the statement, bloom, hours of the day and of the crop, neighbours. Sunset 20:10, sunrise 06:10."""

from __future__ import annotations

from datetime import time
from decimal import Decimal

import pytest

from apps.crops.rules import Bloom
from apps.spraying.rules import PRESETS, BeeHours, BloomNearby, FarmPolicy

from .mixes import at, changed, facts, notes, reasons, relabelled

DIRECT, RESIDUAL, NO_BLOOM, NONE = ("I5", 4), ("I1", "3.84"), ("I8", "5.5"), ("I4", 4)
YES, NO, UNKNOWN = Bloom.YES, Bloom.NO, Bloom.UNKNOWN
DAY = ("2026-08-04T09:30", "2026-08-04T10:30")
SUNSET = ("2026-08-04T20:10", "2026-08-04T21:10")
MINUTE_EARLY = ("2026-08-04T20:09", "2026-08-04T21:09")
BEFORE_DAWN = ("2026-08-04T05:00", "2026-08-04T06:10")
INTO_MORNING = ("2026-08-04T05:00", "2026-08-04T06:11")

BEES = [
    ("direct_by_day", DIRECT, YES, DAY, ["bee_bloom"], []),
    ("direct_at_sunset", DIRECT, YES, SUNSET, [], []),
    ("direct_a_minute_early", DIRECT, YES, MINUTE_EARLY, ["bee_bloom"], []),
    ("direct_until_sunrise", DIRECT, YES, BEFORE_DAWN, [], []),
    ("direct_past_sunrise", DIRECT, YES, INTO_MORNING, ["bee_bloom"], []),
    ("direct_by_day_no_bloom", DIRECT, NO, DAY, [], []),
    ("direct_by_day_bloom_unknown", DIRECT, UNKNOWN, DAY, ["bee_bloom"], ["bloom_unknown"]),
    ("residual_by_day", RESIDUAL, YES, DAY, ["bee_bloom"], []),
    ("residual_at_night", RESIDUAL, YES, SUNSET, [], ["bee_residual"]),
    ("residual_at_night_bloom_unknown", RESIDUAL, UNKNOWN, SUNSET, [], ["bee_residual", "bloom_unknown"]),
    ("no_bloom_at_night", NO_BLOOM, YES, SUNSET, ["bee_bloom"], []),
    ("no_bloom_bloom_unknown", NO_BLOOM, UNKNOWN, SUNSET, ["bee_bloom"], ["bloom_unknown"]),
    ("no_bloom_out_of_bloom", NO_BLOOM, NO, DAY, [], []),
    ("harmless_by_day", NONE, YES, DAY, [], []),
    ("harmless_bloom_unknown", NONE, UNKNOWN, DAY, [], []),
]


@pytest.mark.parametrize(
    ("row", "bloom", "when", "refusing", "asking"), [r[1:] for r in BEES], ids=[r[0] for r in BEES]
)
def test_class_bloom_and_hour(row, bloom, when, refusing, asking):
    given = changed(facts([row], start=when[0], end=when[1]), bloom=bloom)

    assert reasons(given) == (refusing, asking)


def test_a_mix_is_judged_line_by_line():
    assert reasons(facts([DIRECT, RESIDUAL], bloom=True, start=SUNSET[0], end=SUNSET[1])) == ([], ["bee_residual"])


def test_a_statement_nobody_read_off_counts_as_the_strictest():
    silent = relabelled("F1", 3, bee_class=None)
    given = changed(facts([], start=SUNSET[0], end=SUNSET[1], bloom=True), lines=(silent,))

    assert reasons(given) == (["bee_bloom"], [])
    assert "bee_unknown" in notes(given)


def test_without_sun_times_nothing_is_night():
    given = changed(facts([DIRECT], bloom=True, start=SUNSET[0], end=SUNSET[1]), nights=())

    assert reasons(given) == (["bee_bloom"], [])


CORN = {"crop": "sweet_corn", "harvest": "2026-09-20T08:00", "bloom": True}
CORN_HOURS = [
    # quiet 11:00-15:00, night from dusk at 20:40
    ("morning", DIRECT, "09:00", "10:00", ["bee_bloom"], []),
    ("late_morning", DIRECT, "11:00", "12:00", [], ["bee_window"]),
    ("runs_out_of_the_quiet_hours", DIRECT, "14:30", "15:01", ["bee_bloom"], []),
    ("evening_burst", DIRECT, "20:15", "21:00", [], ["bee_window"]),
    ("after_dusk", DIRECT, "20:40", "21:30", [], []),
    ("residual_in_the_quiet_hours", RESIDUAL, "11:00", "12:00", ["bee_bloom"], []),
    ("before_dawn", DIRECT, "04:00", "05:00", [], []),
]


@pytest.mark.parametrize(
    ("row", "start", "end", "refusing", "asking"), [r[1:] for r in CORN_HOURS], ids=[r[0] for r in CORN_HOURS]
)
def test_bees_keep_other_hours_on_corn(row, start, end, refusing, asking):
    """University of Delaware, Weekly Crop Update 2022: late morning to mid-afternoon or after dusk avoids them."""
    given = facts([row], start=f"2026-08-04T{start}", end=f"2026-08-04T{end}", **CORN)
    given = changed(given, policy=PRESETS["extension"], dusk_at=at("2026-08-04T20:40"))

    assert reasons(given) == (refusing, asking)


def test_dusk_not_known_is_not_past_dusk():
    given = facts([DIRECT], start="2026-08-04T21:30", end="2026-08-04T22:00", **CORN)

    assert reasons(changed(given, policy=PRESETS["extension"])) == ([], ["bee_window"])


def test_hours_of_one_crop_do_not_reach_another():
    hours = FarmPolicy(bee_hours={"sweet_corn": BeeHours(quiet=((time(11), time(15)),), source="test")})
    pumpkin = facts([DIRECT], bloom=True, start="2026-08-04T12:00", end="2026-08-04T13:00")

    assert reasons(changed(pumpkin, policy=hours)) == (["bee_bloom"], [])


DRIFT = [
    ("residual_near", RESIDUAL, 300, ["bee_drift"]),
    ("residual_far", RESIDUAL, 301, []),
    ("direct_near", DIRECT, 50, []),
]


@pytest.mark.parametrize(("row", "feet", "asking"), [r[1:] for r in DRIFT], ids=[r[0] for r in DRIFT])
def test_a_neighbour_in_bloom(row, feet, asking):
    near = (BloomNearby(name="Squash 3", distance_ft=Decimal(feet)),)

    assert reasons(changed(facts([row]), bloom_nearby=near)) == ([], asking)


@pytest.mark.parametrize(("feet", "noted"), [(5280, ["hives_near"]), (5281, []), (None, [])])
def test_hives_are_told_of(feet, noted):
    given = changed(facts([RESIDUAL]), hive_ft=feet and Decimal(feet))

    assert [code for code in notes(given) if code == "hives_near"] == noted


def test_evening_inversion_is_a_finding_of_its_own():
    """Never merged with the bees: it is said for a product that harms no bee, too."""
    evening = facts([NONE], start=SUNSET[0], end=SUNSET[1])
    day = facts([NONE], start=DAY[0], end=DAY[1])

    assert ("inversion_hours" in notes(evening), "inversion_hours" in notes(day)) == (True, False)
