"""Wind, heat and rain, planning and at the start. Limits of the invented library."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from apps.spraying.rules import FarmPolicy, Weather

from .mixes import changed, facts, notes, reasons, relabelled, said

F1 = ("F1", 3)


def dec(value):
    return None if value is None else Decimal(str(value))


WIND = [
    ("at_the_maximum", 15, [], []),
    ("above", "15.1", ["wind_high"], []),
    ("at_three", 3, [], []),
    ("below_three", "2.9", [], ["wind_low_inversion"]),
    ("calm", 0, [], ["wind_low_inversion"]),
    ("none", None, [], ["data_missing_wind"]),
]


@pytest.mark.parametrize(("wind", "refusing", "asking"), [r[1:] for r in WIND], ids=[r[0] for r in WIND])
def test_wind_while_planning(wind, refusing, asking):
    assert reasons(facts([F1], wind=wind)) == (refusing, asking)


def starting(given, *, minutes_ago=0, wind=6, temperature=80, taken=True):
    taken_at = given.start_at - timedelta(minutes=minutes_ago) if taken else None
    reading = Weather(wind_mph=dec(wind), temperature_f=dec(temperature), taken_at=taken_at)
    return changed(given, at_start=True, weather=reading)


START = [
    ("just_taken", {}, [], []),
    ("thirty_minutes_old", {"minutes_ago": 30}, [], []),
    ("thirty_one", {"minutes_ago": 31}, ["data_missing_wind"], []),
    ("a_forecast_is_no_reading", {"taken": False}, ["data_missing_wind"], []),
    ("no_wind", {"wind": None}, ["data_missing_wind"], []),
    ("too_much", {"wind": 16}, ["wind_high"], []),
    ("calm", {"wind": 2}, [], ["wind_low_inversion"]),
]


@pytest.mark.parametrize(("reading", "refusing", "asking"), [r[1:] for r in START], ids=[r[0] for r in START])
def test_at_the_start_a_field_reading_is_needed(reading, refusing, asking):
    assert reasons(starting(facts([F1]), **reading)) == (refusing, asking)


def test_no_reading_at_all():
    assert reasons(changed(facts([F1]), at_start=True, weather=None)) == (["data_missing_wind"], [])


OWN_WIND = [
    ("label_silent_house_limit", {"wind_max_mph": None}, 16, [], ["wind_high"]),
    ("label_silent_within", {"wind_max_mph": None}, 15, [], []),
    ("floor", {"wind_min_mph": 3}, "2.5", ["wind_low"], ["wind_low_inversion"]),
    ("on_the_floor", {"wind_min_mph": 3}, 3, [], []),
]


@pytest.mark.parametrize(
    ("label", "wind", "refusing", "asking"), [r[1:] for r in OWN_WIND], ids=[r[0] for r in OWN_WIND]
)
def test_wind_words_of_the_label(label, wind, refusing, asking):
    given = changed(facts([], wind=wind), lines=(relabelled("F1", 3, **label),), policy=FarmPolicy())

    assert reasons(given) == (refusing, asking)


@pytest.mark.parametrize(("gust", "asking"), [(15, []), (18, ["gust_high"])])
def test_gusts_above_the_label(gust, asking):
    given = changed(facts([F1]), weather=Weather(wind_mph=Decimal(10), gust_mph=Decimal(gust)))

    assert reasons(given) == ([], asking)


HEAT = [
    # F10 at most 90 F; N1 care above 85 F
    ("sulfur_at_90", ("F10", 4), 90, [], []),
    ("sulfur_at_90.5", ("F10", 4), "90.5", ["temp_high"], []),
    ("nutrient_at_85", ("N1", 3), 85, [], []),
    ("nutrient_at_86", ("N1", 3), 86, [], ["phyto_heat"]),
    ("no_limit", F1, 110, [], []),
]


@pytest.mark.parametrize(("row", "high", "refusing", "asking"), [r[1:] for r in HEAT], ids=[r[0] for r in HEAT])
def test_heat(row, high, refusing, asking):
    assert reasons(facts([row], temp=high)) == (refusing, asking)


def test_the_hotter_of_forecast_and_reading_counts():
    """A cool morning does not undo a hot afternoon on fresh sulfur."""
    hot_day = starting(facts([("F10", 4)], temp=93), temperature=70)
    hot_hour = starting(facts([("F10", 4)], temp=80), temperature=91)

    assert (reasons(hot_day)[0], reasons(hot_hour)[0]) == (["temp_high"], ["temp_high"])


UNKNOWN_HEAT = [
    ("planning", ("F10", 4), False, [], [], ["data_missing_temperature"]),
    ("start_with_a_limit", ("F10", 4), True, ["data_missing_temperature"], [], []),
    ("start_with_a_care", ("N1", 3), True, [], ["data_missing_temperature"], []),
    ("no_limit", F1, True, [], [], []),
]


@pytest.mark.parametrize(
    ("row", "at_start", "refusing", "asking", "noted"), [r[1:] for r in UNKNOWN_HEAT], ids=[r[0] for r in UNKNOWN_HEAT]
)
def test_temperature_not_known(row, at_start, refusing, asking, noted):
    given = facts([row], temp=None)
    given = starting(given, temperature=None) if at_start else given

    assert reasons(given) == (refusing, asking)
    assert [code for code in notes(given) if code.startswith("data_missing")] == noted


RAIN = [
    ("in_4_h", 4, False, [], []),
    ("in_3.9_h", "3.9", False, ["rain_soon"], []),
    ("unknown_planning", None, False, [], ["data_missing_rain"]),
    ("unknown_at_start", None, True, ["data_missing_rain"], []),
]


@pytest.mark.parametrize(("hours", "at_start", "asking", "noted"), [r[1:] for r in RAIN], ids=[r[0] for r in RAIN])
def test_rain(hours, at_start, asking, noted):
    """H3 asks for 4 hours without rain."""
    given = facts([("H3", "0.66")], rain_h=hours, start="2026-06-20T07:00", end="2026-06-20T08:00")
    given = starting(given) if at_start else given

    assert reasons(given) == ([], asking)
    assert [code for code in notes(given) if code.startswith("data_missing")] == noted


def test_the_sentence():
    assert said(facts([F1], wind=16), "wind_high") == ["F1: wind 16 mph is above 15 mph."]


AROUND = [(30, []), (31, ["data_missing_wind"])]


@pytest.mark.parametrize(("minutes", "refusing"), AROUND)
def test_a_reading_from_after_the_start_is_as_far_off_as_one_from_before(minutes, refusing):
    assert reasons(starting(facts([F1]), minutes_ago=-minutes))[0] == refusing


INVERSION = [
    # nights 20:10 to 06:10; an hour before is project rule, two hours after sunrise: DPIRD Western Australia, 2023
    ("ends_an_hour_before_sunset", "18:10", "19:10", False),
    ("a_minute_into_it", "18:10", "19:11", True),
    ("two_hours_after_sunrise", "08:10", "09:10", False),
    ("a_minute_less", "08:09", "09:10", True),
]


@pytest.mark.parametrize(("start", "end", "noted"), [r[1:] for r in INVERSION], ids=[r[0] for r in INVERSION])
def test_hours_in_which_the_air_is_often_inverted(start, end, noted):
    given = facts([F1], start=f"2026-08-04T{start}", end=f"2026-08-04T{end}")

    assert ("inversion_hours" in notes(given)) is noted


def test_gusts_of_no_known_speed_and_wind_above_the_label():
    above = changed(facts([F1]), weather=Weather(wind_mph=Decimal(16), gust_mph=Decimal(20)))

    assert reasons(above) == (["wind_high"], [])
