"""Rate, volume, method, mix, weather and window: each finding in full. Limits of the invented library."""

from __future__ import annotations

from decimal import Decimal

import pytest

from apps.products.rules import Method, RateBasis
from apps.spraying.rules import FarmPolicy, Span, check

from .mixes import at, changed, line
from .whole import air, given, paged, stated, whole

F3 = paged("F3", 6)
OIL = paged("F11", 1, rate=stated("1", "%vv", RateBasis.PERCENT_VV))
START = {"at_start": True}
LAWFUL = "a lower rate is lawful unless the label forbids it: 7 USC 136(ee)"

RATES = [
    ("other_measure", given(paged("F3", 6, "oz")), "rate_unit", "refuse",
     "F3: 6 oz (weight)/acre cannot be compared with the label, which counts in fl oz/acre.",
     "label of F3, label 1, rate, page 1", "rate", "F3"),
    ("no_volume", given(OIL, spray_gpa=None), "rate_unknown", "refuse",
     "F11: the rate 1 % v/v cannot be judged without the spray volume.",
     "label of F11, label 1, rate, page 1", "spray_gpa", "F11"),
    ("too_much", given(paged("F3", "6.5")), "rate_high", "refuse",
     "F3: 6.5 fl oz/acre is above the label's highest rate, 6 fl oz/acre.",
     "label of F3, label 1, rate, page 1", "rate", "F3"),
    ("per_100_gallons", given(paged("F3", "2.5", use={"rate_basis": "per_100_gal"})), "rate_high", "refuse",
     "F3: 6.25 fl oz/100 gal is above the label's highest rate, 6 fl oz/100 gal.",  # 2.5 fl oz in 40 gal
     "label of F3, label 1, rate, page 1", "rate", "F3"),
    ("percent", given(paged("F11", "0.6", use={"rate_basis": "percent_vv", "rate_unit": "%vv"})), "rate_high", "refuse",
     "F11: 1.5 % v/v is above the label's highest rate, 1 % v/v.",  # 0.6 gal in 40 gal
     "label of F11, label 1, rate, page 1", "rate", "F11"),
    ("too_little", given(paged("F3", "3.5")), "rate_low", "justify",
     "F3: 3.5 fl oz/acre is below the label's lowest rate, 4 fl oz/acre.",
     f"label of F3, label 1, rate, page 1; {LAWFUL}", "rate", "F3"),
    # 2 pt and 1.5 pt of 6 lb/gal: 1.5 lb + 1.125 lb
    ("one_pass", given(paged("F1", 2), paged("F1", "1.5")), "rate_ai_single", "refuse",
     "chlorothalonil: 2.625 lb per acre in this tank, 2.25 lb allowed in one application (F1).",
     "label of F1, label 1, chlorothalonil in one application, page 2", "rate", "F1"),
    ("volume_not_known", given(F3, spray_gpa=None), "gpa_unknown", "justify",
     "F3 needs at least 20 gal/acre and the spray volume is not known.",
     "label of F3, label 1, spray volume, page 3", "spray_gpa", "F3"),
    ("volume_not_known_at_the_start", given(F3, spray_gpa=None, **START), "gpa_unknown", "refuse",
     "F3 needs at least 20 gal/acre and the spray volume is not known.",
     "label of F3, label 1, spray volume, page 3", "spray_gpa", "F3"),
    ("too_little_water", given(F3, spray_gpa=Decimal("19.5")), "gpa_low", "refuse",
     "F3: 19.5 gal/acre is less than the label's 20 gal/acre.",
     "label of F3, label 1, spray volume, page 3", "spray_gpa", "F3"),
    ("less_water_than_recommended", given(F3, spray_gpa=Decimal("29.5")), "gpa_below_recommended", "note",
     "F3: 29.5 gal/acre is less than the 30 gal/acre the label recommends.",
     "label of F3, label 1, spray volume, page 4", "spray_gpa", "F3"),
    ("method_not_known", given(F3, method=None), "method_unknown", "justify",
     "F3 may only go out by ground, and the method is not known.",
     "label of F3, label 1, method, page 5; project rule", "method", "F3"),
    ("method_not_known_at_the_start", given(F3, method=None, **START), "method_unknown", "refuse",
     "F3 may only go out by ground, and the method is not known.",
     "label of F3, label 1, method, page 5; project rule", "method", "F3"),
    ("method", given(paged("F3", 6, methods=["ground", "chemigation"]), method=Method.AIR), "method", "refuse",
     "F3 may not go out by air: the label allows ground, chemigation.",
     "label of F3, label 1, method, page 5", "method", "F3"),
]  # fmt: skip

MIX = [
    ("ph_not_known", given(paged("F12", 1), water_ph=None), "data_missing_ph", "note",
     "F12 needs a spray of pH 6.5 or more, and the pH of the water is not known.",
     "label of F12, label 1, pH of the spray, page 6", "water_ph", "F12"),
    ("ph_not_known_at_the_start", given(paged("F12", 1), water_ph=None, **START), "data_missing_ph", "justify",
     "F12 needs a spray of pH 6.5 or more, and the pH of the water is not known.",
     "label of F12, label 1, pH of the spray, page 6", "water_ph", "F12"),
    ("ph", given(paged("F12", 1), water_ph=Decimal("6.4")), "solution_ph", "refuse",
     "F12: pH 6.4 is below the label's 6.5.",
     "label of F12, label 1, pH of the spray, page 6", "water_ph", "F12"),
    ("surfactant", given(paged("F12", 1), surfactant=True), "copper_surfactant", "justify",
     "F12 with a surfactant may burn leaves.",
     "label of F12, label 1, surfactants, page 7", "products", "F12"),
    ("an_adjuvant_in_the_tank", given(paged("F12", 1), paged("N1", 2, kind="adjuvant")), "copper_surfactant", "justify",
     "F12 with a surfactant may burn leaves.",
     "label of F12, label 1, surfactants, page 7", "products", "F12"),
    ("surfactant_not_known", given(paged("F12", 1), surfactant=None), "surfactant_unknown", "note",
     "F12: the label warns of surfactants. Is none in the tank?",
     "label of F12, label 1, surfactants, page 7; project rule", "products", "F12"),
    ("partner", given(paged("I9", 10), paged("F1", 3)), "mix_caution", "justify",
     "I9: the label warns of mixing with chlorothalonil, which is in F1.",
     "label of I9, label 1, mixing, page 8", "products", "I9"),
]  # fmt: skip

NO_WIND = "No wind reading. A reading taken in the field is needed before spraying starts."
CALM = "Wind 2.5 mph is below 3 mph: the air may be inverted and carry spray far."
STEWARDS = 'pesticidestewardship.org, "Evaluate the weather conditions"'
DRIFT = "precautions against cotton spray drift (secondary copy): aim for 3 to 10 mph, never above 15 mph"
OWN = "; the farm's own number"
SILENT = paged("F3", 6, wind_max_mph=None)
HEAT_UNKNOWN = "has a temperature limit and the temperature is not known."

WEATHER = [
    ("no_wind", given(F3, weather=None), "data_missing_wind", "justify", NO_WIND, "project rule", "wind_mph", ""),
    ("no_wind_at_the_start", given(F3, weather=None, **START), "data_missing_wind", "refuse", NO_WIND,
     "project rule", "wind_mph", ""),
    ("calm", given(F3, weather=air(wind_mph="2.5")), "wind_low_inversion", "justify", CALM, STEWARDS, "wind_mph", ""),
    ("calm_by_the_farm", given(F3, weather=air(wind_mph="2.5"), policy=FarmPolicy(
        own_limits=frozenset({"calm_wind_mph"}))), "wind_low_inversion", "justify", CALM, STEWARDS + OWN,
     "wind_mph", ""),
    ("wind", given(F3, weather=air(wind_mph="15.5")), "wind_high", "refuse", "F3: wind 15.5 mph is above 15 mph.",
     "label of F3, label 1, wind, page 9", "wind_mph", "F3"),
    ("wind_where_the_label_is_silent", given(SILENT, weather=air(wind_mph="15.5"), policy=FarmPolicy()), "wind_high",
     "justify", "F3: wind 15.5 mph is above 15 mph.", DRIFT, "wind_mph", "F3"),
    ("wind_by_the_farm", given(SILENT, weather=air(wind_mph="15.5"), policy=FarmPolicy(
        own_limits=frozenset({"wind_max_mph"}))), "wind_high", "justify", "F3: wind 15.5 mph is above 15 mph.",
     DRIFT + OWN, "wind_mph", "F3"),
    ("gusts", given(F3, weather=air(wind_mph=15, gust_mph="15.5")), "gust_high", "justify",
     "F3: gusts of 15.5 mph are above the label's 15 mph.",
     "label of F3, label 1, wind, page 9; project rule", "gust_mph", "F3"),
    ("too_little_wind", given(paged("F3", 6, wind_min_mph=3), weather=air(wind_mph="2.5")), "wind_low", "refuse",
     "F3: wind 2.5 mph is below the label's lowest, 3 mph.",
     "label of F3, label 1, wind, page 10", "wind_mph", "F3"),
    ("no_wind_at_all", given(paged("F3", 6, wind_min_mph=3), weather=air(wind_mph=0)), "wind_low", "refuse",
     "F3: wind 0 mph is below the label's lowest, 3 mph.", "label of F3, label 1, wind, page 10", "wind_mph", "F3"),
    ("heat_not_known", given(paged("F10", 4), forecast_high_f=None), "data_missing_temperature", "note",
     f"F10 {HEAT_UNKNOWN}", "label of F10, label 1, temperature, page 11", "temperature_f", "F10"),
    ("heat_not_read_at_the_start", given(paged("F10", 4), **START), "data_missing_temperature", "refuse",
     f"F10 {HEAT_UNKNOWN}", "label of F10, label 1, temperature, page 11", "temperature_f", "F10"),
    ("heat_not_read_for_a_caution", given(paged("N1", 4), **START), "data_missing_temperature", "justify",
     f"N1 {HEAT_UNKNOWN}", "label of N1, label 1, temperature, page 12", "temperature_f", "N1"),
    ("heat", given(paged("F10", 4), forecast_high_f=Decimal("90.5")), "temp_high", "refuse",
     "F10: 90.5 °F is above the label's 90 °F.", "label of F10, label 1, temperature, page 11", "temperature_f", "F10"),
    ("leaf_burn", given(paged("N1", 4), forecast_high_f=Decimal("85.5")), "phyto_heat", "justify",
     "N1 may burn leaves: 85.5 °F is above 85 °F.",
     "label of N1, label 1, temperature, page 12", "temperature_f", "N1"),
    ("no_forecast", given(paged("H3", "0.6"), rain_in_hours=None), "data_missing_rain", "note",
     "H3 needs 4 h without rain and no forecast is on record.",
     "label of H3, label 1, hours without rain, page 13", "", "H3"),
    ("no_forecast_at_the_start", given(paged("H3", "0.6"), rain_in_hours=None, **START), "data_missing_rain", "justify",
     "H3 needs 4 h without rain and no forecast is on record.",
     "label of H3, label 1, hours without rain, page 13", "", "H3"),
    ("rain", given(paged("H3", "0.6"), rain_in_hours=Decimal("3.5")), "rain_soon", "justify",
     "H3: rain expected in 3.5 h, the label asks for 4 h without.",
     "label of H3, label 1, hours without rain, page 13", "start_at", "H3"),
    # sunset 20:10 less an hour, sunrise 06:10 and two hours more
    ("evening", given(F3, start="2026-08-04T20:45", end="2026-08-04T21:30"), "inversion_hours", "note",
     "Between Tue, Aug 4, 7:10 PM EDT and Wed, Aug 5, 8:10 AM EDT the air is often inverted: look for hanging smoke or "
     "dust before starting.", "Canola Council of Canada, citing NDSU; DPIRD Western Australia, July 2023",
     "start_at", ""),
    ("no_time_at_all", given(F3, end="2026-08-04T07:00"), "window_backwards", "refuse",
     "The spray would end at Tue, Aug 4, 7:00 AM EDT, not after its start at Tue, Aug 4, 7:00 AM EDT.",
     "project rule", "end_at", ""),
    ("more_than_a_day", given(F3, end="2026-08-05T07:01"), "window_long", "refuse",
     "From Tue, Aug 4, 7:00 AM EDT to Wed, Aug 5, 7:01 AM EDT is more than 24 hours: plan each day as a job of its "
     "own.",
     "project rule", "end_at", ""),
]  # fmt: skip
WHOLE = [*RATES, *MIX, *WEATHER]


@pytest.mark.parametrize(("story", "code", "expected"), [(r[1], r[2], r[3:]) for r in WHOLE], ids=[r[0] for r in WHOLE])
def test_the_whole_finding(story, code, expected):
    assert whole(story, code) == [expected]


def spoken(story):
    return [f.code for f in check(story)]


def test_an_ingredient_that_cannot_be_counted_is_not_over_its_limit():
    """Without the spray volume 1 % v/v is no amount: that is said, and nothing is made up beside it."""
    capped = paged("F11", 1, rate=OIL.rate, caps=[{"ingredient": "mineral oil", "pounds": "0.5", "per": "pass"}])

    assert "rate_unknown" in spoken(given(capped, spray_gpa=None))
    assert "rate_ai_single" not in spoken(given(capped, spray_gpa=None))
    assert "rate_ai_single" in spoken(given(capped))  # 0.4 gal/acre of 7 lb/gal


TOUCHING = [
    # one hour before sunset 20:10, two hours after sunrise 06:10: half open, as every stretch of time
    ("ends_as_it_begins", "2026-08-04T18:00", "2026-08-04T19:10", False),
    ("a_minute_into_it", "2026-08-04T18:00", "2026-08-04T19:11", True),
    ("starts_as_it_ends", "2026-08-04T08:10", "2026-08-04T09:00", False),
    ("a_minute_before_its_end", "2026-08-04T08:09", "2026-08-04T09:00", True),
]


@pytest.mark.parametrize(("start", "end", "told"), [r[1:] for r in TOUCHING], ids=[r[0] for r in TOUCHING])
def test_hours_of_inversion(start, end, told):
    assert ("inversion_hours" in spoken(given(F3, start=start, end=end))) is told


def test_without_nights_on_record_nothing_is_said_of_inversion_hours():
    night = Span(at("2026-08-05T20:10"), at("2026-08-06T06:10"))

    assert "inversion_hours" not in spoken(given(F3, nights=(night,)))


def test_exactly_a_day_is_no_long_window():
    assert [c for c in spoken(given(F3, end="2026-08-05T07:00")) if c.startswith("window")] == []


def test_an_empty_tank_says_nothing_of_the_weather():
    assert not {"data_missing_wind", "inversion_hours"} & set(spoken(given(weather=None)))


def test_each_label_is_judged_and_each_speaks():
    """Two products, both too much, and wind above both labels: nothing hides behind the first."""
    story = changed(given(paged("F3", 7), paged("F1", 4)), weather=air(wind_mph=16), water_ph=Decimal(5))

    assert [row[4] for row in whole(story, "rate_high")] == ["F3", "F1"]
    assert [row[4] for row in whole(story, "wind_high")] == ["F3", "F1"]


def test_a_label_that_warns_of_its_own_ingredient_is_not_its_own_partner():
    itself = paged("F1", 3, mix_cautions=["chlorothalonil"])

    assert "mix_caution" not in spoken(given(itself))
    assert [row[1] for row in whole(given(itself, line("F2", "2.4")), "mix_caution")] == [
        "F1: the label warns of mixing with chlorothalonil, which is in F2."
    ]


def test_ph_exactly_at_the_limit():
    assert "solution_ph" not in spoken(given(paged("F12", 1), water_ph=Decimal("6.5")))


def test_gusts_speak_only_where_the_wind_itself_does_not():
    assert "gust_high" not in spoken(given(F3, weather=air(wind_mph=16, gust_mph=18)))
    assert "gust_high" not in spoken(given(SILENT, weather=air(wind_mph=10, gust_mph=18)))
    assert "gust_high" not in spoken(given(F3, weather=air(wind_mph=10, gust_mph=15)))
