"""The sums for the yard, typed as people type them: printed answers, both unit systems, and what is asked back."""

from __future__ import annotations

import math
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.equipment.sums.rules import SUMS, Kind, work_out
from farmops.errors import BadInput
from tests.equipment.worked import SOURCES, rounds_to

# sum, what is typed, which result, printed answer, where it is printed, how the author rounded.
PRINTED = [
    ("nozzle-flow", {"gpa": "20", "speed": "5", "spacing": "30"}, "gpm", "0.505", "S1", "half_up"),
    ("speed-for-rate", {"gpa": "10", "flow": "0.2", "spacing": "24 in"}, "mph", "4.95", "S1", "half_up"),
    ("speed-for-rate", {"gpa": "30 gpa", "flow": "10 gpm", "spacing": "420 in"}, "mph", "4.7", "S2", "half_up"),
    ("nozzle-flow", {"gpa": "30", "speed": "7 mph", "spacing": "30"}, "gpm", "1", "S2", "half_up"),
    ("rate", {"flow": "480 fl oz/min", "speed": "5", "spacing": "222"}, "gpa", "20", "S17", "half_up"),
    ("boom-rate", {"total": "3.75", "speed": "5", "swath": "222 in"}, "gpa", "20", "S17", "half_up"),
    ("ground-speed", {"course": "200", "seconds": "45"}, "mph", "3", "S5", "half_up"),
    ("ground-speed", {"course": "88", "seconds": "16 18"}, "mph", "3.53", "S18", "half_up"),
    ("ground-speed", {"course": "88 ft", "seconds": ["12"]}, "mph", "5", "S26", "half_up"),
    ("ounce-course", {"spacing": "20"}, "course_ft", "204", "S7", "half_up"),
    ("ounce-course", {"spacing": "40 in"}, "course_ft", "102", "S7", "half_up"),
    ("ounces-caught", {"caught": "26 oz", "course": "300", "spacing": "12"}, "gpa", "29.5", "S19", "half_up"),
    ("test-plot", {"used": "4 gal", "plot": "4356 sq ft"}, "gpa", "40", "S4", "half_up"),
    ("dry-spread", {"spread": "20 lb", "course": "435", "swath": "10"}, "lb_per_acre", "200", "S20", "half_up"),
    ("boomless-swath", {"wetted": "30", "share": "80"}, "swath_ft", "24", "S8", "half_up"),
    ("area", {"shape": "rectangle", "length": "1320", "width": "120"}, "acres", "3.6", "S27", "half_up"),
    ("area", {"shape": "triangle", "length": "325", "width": "150"}, "acres", "0.6", "S27", "half_up"),
    ("area", {"shape": "circle", "length": "20"}, "sqft", "314.159", "S28", "half_up"),
    ("area", {"shape": "rectangle", "length": "60", "width": "25"}, "sqft", "1500", "S6", "half_up"),
    ("plants-per-acre", {"row": "2 ft", "plant": "3 ft"}, "plants", "7260", "S29", "half_up"),
    ("plants-per-acre", {"row": "3 in", "plant": "12 in"}, "plants", "174240", "S29", "half_up"),
    ("plants-per-acre", {"row": "3 in", "plant": "7 in"}, "plants", "298697", "S29", "half_up"),
    ("plants-on-course", {"course": "57", "plant": "5"}, "plants", "11", "S18", "half_up"),
    ("loads", {"area": "25", "gpa": "20", "usable": "500"}, "acres_per_tank", "25", "S15", "half_up"),
    ("loads", {"area": "30", "gpa": "40", "usable": "300"}, "acres_per_tank", "7.5", "S2", "half_up"),
    ("loads", {"area": "3.5", "gpa": "15", "usable": "100"}, "total_gal", "52.5", "S21", "half_up"),
    ("work-rate", {"speed": "6", "swath": "40", "efficiency": "70"}, "acres_per_hour", "20.4", "S25", "half_up"),
    ("product-per-load", {"rate": "32 fl oz", "gpa": "15", "spray": "500"}, "product", "1067", "S16", "half_up"),
    ("product-per-load", {"rate": "1 qt", "gpa": "40", "spray": "300"}, "product", "7.5", "S2", "half_up"),
    ("product-per-load", {"rate": "8 fl oz", "gpa": "7.5", "spray": "1"}, "product", "1.06", "S18", "cut"),
    ("per-100-gallons", {"rate": "2 lb", "spray": "300"}, "product", "6", "S30", "half_up"),
    ("per-100-gallons", {"rate": "32 oz wt", "spray": "20"}, "product", "6.4", "S30", "half_up"),
    ("per-100-gallons", {"rate": "32 floz", "spray": "20 gal"}, "product", "6.4", "S30", "half_up"),
    ("per-100-gallons", {"rate": "8 fl oz", "spray": "25"}, "product", "2", "S31", "half_up"),
    ("product-for-ingredient", {"wanted": "1.5", "content": "4"}, "product_gal", "0.375", "S15", "half_up"),
    ("product-for-ingredient", {"wanted": "2", "percent": "80"}, "product_lb", "2.5", "S21", "half_up"),
    ("product-for-ingredient", {"wanted": "10", "percent": "5"}, "product_lb", "200", "S22", "half_up"),
    ("active-ingredient", {"product": "200 lb", "percent": "20"}, "lb_ai", "40", "S20", "half_up"),
    ("liquid-feed", {"density": "10.6", "percent": "28", "feed": "20"}, "lb_per_acre", "59.4", "S23", "half_up"),
    ("liquid-feed", {"density": "10.69", "percent": "10"}, "lb_per_gal", "1.069", "S24", "half_up"),
]  # fmt: skip
SOURCES = {**SOURCES, "S29": "L. H. Bailey, Farm and Garden Rule-Book, spacing table"}


def result(code: str, typed: dict[str, Any], name: str) -> D:
    return next(r.amount for r in work_out(SUMS[code], typed).results if r.code == name)


@pytest.mark.parametrize(
    ("code", "typed", "name", "printed", "source", "how"), PRINTED, ids=[f"{r[0]}-{r[3]}-{r[4]}" for r in PRINTED]
)
def test_printed_answers(code: str, typed: dict[str, Any], name: str, printed: str, source: str, how: str) -> None:
    assert rounds_to(result(code, typed, name), printed, how), SOURCES[source]


# Common practice, no source: 38 GPA, 5 mph, 175 psi, 300 gal, S 30 ft, L 12 ft; each worked from the formulas.
TANK = {"usable": "300", "gpa": "38", "swath": "30", "flow": "11.515151515151515"}
FIELD = {
    "area": "10", "speed": "5", "swath": "30", "row": "600", "turn": "20", "refills": "1", "fill": "20",
}  # fmt: skip
FASTER = {"pressure": "175", "gpa": "38", "wanted": "38", "speed": "5", "new_speed": "6"}
PRACTICE = [
    ("boom-flow", {"gpa": "38", "speed": "5", "swath": "30"}, "gpm", "11.51515"),
    ("boom-flow", {"gpa": "38", "speed": "5", "swath": "30"}, "gpm_per_foot", "0.383838"),
    ("pressure-for-rate", {"pressure": "175", "gpa": "38", "wanted": "30"}, "psi", "109.07"),
    ("pressure-for-rate", FASTER, "psi", "252"),
    ("flow-at-pressure", {"flow": "0.3", "pressure": "40", "new_pressure": "175"}, "gpm", "0.6275"),
    ("denser-liquid", {"flow": "1", "density": "10.6816"}, "chart_gpm", "1.131"),
    ("lanes", {"swath": "30", "lane": "12"}, "spacing_ft", "72"),
    ("lanes", {"swath": "30", "lane": "12", "gross": "5"}, "treated_acres", "4.166667"),
    ("lanes", {"swath": "30", "lane": "12", "spacing": "60"}, "mean_dose", "1.25"),
    ("lanes", {"swath": "30", "lane": "12", "spacing": "60"}, "doubled_ft", "12"),
    ("lanes", {"swath": "30", "lane": "12", "spacing": "80"}, "missed_ft", "8"),
    ("lanes", {"swath": "30", "lane": "12", "field": "217"}, "passes", "8"),
    ("tank-reach", TANK, "feet", "11463"),
    ("tank-reach", TANK, "minutes", "26.0526"),
    ("field-time", FIELD, "total_min", "61.0"),
    ("field-time", FIELD, "efficiency_percent", "54.1"),
    ("pump", {"boom": "11.515151515151515", "tank": "300", "agitation": "5", "reserve": "20"}, "needed_gpm", "31.818"),
    ("loads", {"area": "10", "gpa": "38", "usable": "300"}, "last_gal", "80"),
    ("rinse-water", {"container": "2.5", "containers": "2"}, "rinse_gal", "3.75"),
    ("boom-height", {"angle": "80", "spacing": "20", "overlap": "100", "meaning": "of_spacing"}, "height_in", "23.84"),
    ("boom-height", {"angle": "80", "spacing": "20", "overlap": "50", "meaning": "of_pattern"}, "height_in", "23.84"),
    ("overlap", {"height": "20", "angle": "80", "spacing": "20"}, "of_spacing", "68"),
    ("clearance", {"boom": "30", "crop": "10", "growth": "0.5", "days": "10", "wanted": "12"}, "then_in", "15"),
    ("clearance", {"boom": "30", "crop": "10", "growth": "0.5", "days": "10", "wanted": "12"}, "days_left", "16"),
    ("exclusion-zone", {"method": "boom", "droplets": "fine"}, "distance_ft", "100"),
    ("exclusion-zone", {"method": "boom", "droplets": "medium", "height": "20"}, "distance_ft", "25"),
    ("exclusion-zone", {"method": "boom", "droplets": "medium", "height": "12"}, "distance_ft", "0"),
    ("exclusion-zone", {"method": "boom"}, "distance_ft", "100"),
    ("refill", {"refill": "6.5", "course": "660", "swath": "21.7"}, "gpa", "19.7696"),
    ("wear", {"flow": "0.44", "new_flow": "0.4"}, "over_new_percent", "10"),
    ("spread", {"catches": "44 45 43", "seconds": "60"}, "mean_floz", "44"),
    ("share-of-volume", {"share": "0.25", "spray": "100"}, "product_floz", "32"),
    ("convert", {"have": "2.5 gal", "to": "L"}, "amount", "9.463529"),
    ("convert", {"have": "19.4 lb", "to": "qt", "density": "9.7"}, "amount", "8"),
]  # fmt: skip


@pytest.mark.parametrize(("code", "typed", "name", "worked"), PRACTICE, ids=[f"{r[0]}-{r[2]}-{r[3]}" for r in PRACTICE])
def test_common_practice(code: str, typed: dict[str, Any], name: str, worked: str) -> None:
    assert rounds_to(result(code, typed, name), worked)


def test_every_sum_is_looked_at() -> None:
    assert {row[0] for row in PRINTED} | {row[0] for row in PRACTICE} == set(SUMS)


@pytest.mark.parametrize("code", sorted(SUMS))
def test_every_sum_shows_formula_working_and_source(code: str) -> None:
    typed = next(row[1] for row in (*PRINTED, *PRACTICE) if row[0] == code)
    worked = work_out(SUMS[code], typed)
    assert SUMS[code].formula and SUMS[code].source and worked.working and worked.results
    assert all(str(r) for r in worked.results)


METRIC = [
    (
        "rate",
        {"flow": "1.6 L/min", "speed": "8 km/h", "spacing": "50 cm"},
        "gpa_in_l_per_ha",
        "240",
    ),  # 600 x 1.6/(8 x 0.5)
    ("boom-rate", {"total": "20 L/min", "speed": "10 km/h", "swath": "12 m"}, "gpa_in_l_per_ha", "100"),
    ("ground-speed", {"course": "100 m", "seconds": "45"}, "mph_in_km_per_h", "8"),  # 100 x 3.6 / 45
    ("boom-flow", {"gpa": "100 L/ha", "speed": "10 km/h", "swath": "12 m"}, "gpm_in_l_per_min", "20"),
    ("product-per-load", {"rate": "300 mL", "gpa": "20", "spray": "100"}, "product", "1500"),
]


@pytest.mark.parametrize(("code", "typed", "name", "worked"), METRIC, ids=[r[0] for r in METRIC])
def test_the_same_sums_in_metric_units(code: str, typed: dict[str, Any], name: str, worked: str) -> None:
    # L/ha = 600 x L/min / (km/h x m): 10,000 m2 over 1000 m in 60 min.
    assert rounds_to(result(code, typed, name), f"{worked}.0000000000")


BAD = [
    ("rate", {"flow": "1", "speed": "0", "spacing": "20"}, {"speed": "Must be more than 0."}),
    ("rate", {"flow": "", "speed": "5", "spacing": "20"}, {"flow": "Enter this; the sum cannot be done without it."}),
    ("ounces-caught", {"caught": "0", "course": "204", "spacing": "20"}, {"caught": "Must be more than 0."}),
    ("spread", {"catches": "44 0 43", "seconds": "60"}, {"catches": "Must be more than 0."}),
    ("flow-at-pressure", {"flow": "1", "pressure": "0", "new_pressure": "40"}, {"pressure": "Must be more than 0."}),
    ("lanes", {"swath": "30", "lane": "12", "spacing": "40"}, {"swath": "The swath reaches past the next lane."}),
    ("lanes", {"swath": "30", "lane": "12", "spacing": "12"},
     {"spacing": "Lanes must stand further apart than they are wide."}),
    ("loads", {"area": "10", "gpa": "38", "usable": "30"},
     {"usable": "The tank holds less than one acre takes (38 gal). Check tank and rate."}),
    ("denser-liquid", {"flow": "1"}, {"density": "Enter the density: water is 8.345 lb/gal. It stands on the label."}),
    ("active-ingredient", {"product": "3 lb", "content": "4"},
     {"density": "Enter the density: a weight becomes a volume only through it."}),
    ("active-ingredient", {"product": "3 lb"},
     {"content": "Give one of the two: lb in a gallon for a liquid, or % by weight for a dry product."}),
    ("product-per-load", {"rate": "8 oz", "gpa": "30", "spray": "100"},
     {"rate": "An ounce can be a fluid ounce or a weight: write “fl oz” or “oz wt”."}),
    ("product-per-load", {"rate": "8", "gpa": "30", "spray": "100"},
     {"rate": "Write the unit too, like 2 pt or 8 fl oz."}),
    ("pressure-for-rate", {"pressure": "40", "gpa": "20", "wanted": "25", "speed": "5"},
     {"new_speed": "Give both speeds, or neither if the speed stays."}),
    ("boom-height", {"angle": "180", "spacing": "20", "overlap": "50", "meaning": "of_spacing"},
     {"angle": "A fan is less than 180 degrees wide."}),
    ("boom-height", {"angle": "80", "spacing": "20", "overlap": "100", "meaning": "of_pattern"},
     {"overlap": "Counted from the pattern, an overlap is less than 100 %."}),
    ("area", {"shape": "triangle", "length": "30"}, {"width": "Enter the width: only a circle needs none."}),
    ("rinse-water", {"container": "2.5", "containers": "1.5"}, {"containers": "Must be a whole number."}),
    ("nozzle-flow", {"gpa": "1,5", "speed": "5 kg", "spacing": "x"},
     {"gpa": "Use a point for decimals, like 1.5, and no thousands mark.",
      "speed": "“kg” cannot be used here. Use one of: mph, km/h, m/s.",
      "spacing": "“x” must be a number, like 1.5."}),
    ("exclusion-zone", {"method": "kite"},
     {"method": "Use one of: boom, handheld, air_blast, aerial, fumigant, fog, drip, soil_injection."}),
]  # fmt: skip


@pytest.mark.parametrize(("code", "typed", "said"), BAD, ids=[f"{r[0]}-{'-'.join(r[2])}" for r in BAD])
def test_bad_input_names_the_box_and_what_would_be_right(
    code: str, typed: dict[str, Any], said: dict[str, str]
) -> None:
    with pytest.raises(BadInput) as caught:
        work_out(SUMS[code], typed)
    assert caught.value.errors == {name: [sentence] for name, sentence in said.items()}


def test_a_weak_pump_is_named() -> None:
    typed = {"boom": "11.5", "tank": "300", "agitation": "5", "reserve": "20", "have": "25"}
    assert [f.code for f in work_out(SUMS["pump"], typed).findings] == ["pump_short"]
    assert work_out(SUMS["pump"], {**typed, "have": "40"}).findings == ()


@given(
    angle=st.integers(20, 150), spacing=st.decimals(min_value=5, max_value=60, places=1),
    overlap=st.decimals(min_value=0, max_value=200, places=1),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_overlap_by_a_second_derivation(angle: int, spacing: D, overlap: D) -> None:
    """Two neighbours at the found height: their inner edges, followed down as straight lines, lie ``overlap`` apart."""
    typed = {"angle": str(angle), "spacing": str(spacing), "overlap": str(overlap), "meaning": "of_spacing"}
    height = float(result("boom-height", typed, "height_in"))
    slope = 1 / math.tan(math.radians(90 - angle / 2))
    left_edge_of_right, right_edge_of_left = float(spacing) - height * slope, height * slope
    covered_twice = right_edge_of_left - left_edge_of_right
    assert math.isclose(covered_twice, float(spacing) * float(overlap) / 100, rel_tol=1e-9, abs_tol=1e-9)
    back = {"height": str(D(height).quantize(D("0.00000001"))), "angle": str(angle), "spacing": str(spacing)}
    of_spacing, of_pattern = float(result("overlap", back, "of_spacing")), float(result("overlap", back, "of_pattern"))
    assert math.isclose(of_spacing, float(overlap), rel_tol=1e-6, abs_tol=1e-5)
    assert math.isclose(of_pattern, of_spacing / (1 + of_spacing / 100), rel_tol=1e-6, abs_tol=1e-5)


# ---- doors ----------------------------------------------------------------------------------


@pytest.mark.parametrize("code", ["boom-rate", "product-per-load", "lanes"])
def test_the_interface_gives_the_same_answer(cast: Any, api: Any, code: str) -> None:
    typed = next(row[1] for row in (*PRINTED, *PRACTICE) if row[0] == code)
    answer = api(cast.staff).post(f"/api/v1/farms/alder-bend/sums/{code}/", typed, format="json")
    worked = work_out(SUMS[code], typed)
    body = answer.json()
    assert [D(r["amount"]) for r in body["results"]] == [r.amount for r in worked.results]
    assert (body["formula"], body["working"], body["source"]) == (SUMS[code].formula, worked.working, SUMS[code].source)


def test_the_interface_names_the_box(cast: Any, api: Any) -> None:
    answer = api(cast.staff).post(
        "/api/v1/farms/alder-bend/sums/rate/", {"flow": 1, "speed": 0, "spacing": 20}, format="json"
    )
    assert (answer.status_code, answer.json()["errors"]) == (400, {"speed": ["Must be more than 0."]})


def test_units_beside_the_number(cast: Any, api: Any) -> None:
    typed = {"flow": 1.6, "flow_unit": "l/min", "speed": 8, "speed_unit": "km/h", "spacing": 50, "spacing_unit": "cm"}
    body = api(cast.staff).post("/api/v1/farms/alder-bend/sums/rate/", typed, format="json").json()
    assert round(D(body["results"][1]["amount"]), 12) == 240


def test_every_page_asks_what_its_sum_asks(cast: Any, browser_client: Any) -> None:
    client = browser_client(cast.staff)
    listed = client.get("/f/alder-bend/sums/").content.decode()
    for code, made in SUMS.items():
        assert f"/f/alder-bend/sums/{code}/" in listed
        page = client.get(f"/f/alder-bend/sums/{code}/").content.decode()
        assert [box.name for box in made.asked if f'name="{box.name}"' not in page] == []


def test_a_page_shows_answer_working_and_formula(cast: Any, browser_client: Any) -> None:
    asked = {"swath": "30", "lane": "12", "spacing": "60", "gross": "5"}
    page = browser_client(cast.staff).get("/f/alder-bend/sums/lanes/", asked).content.decode()
    assert "<strong>72 ft</strong>" in page
    assert "2 × 30 ft + 12 ft = 72 ft" in page


def test_a_page_shows_the_fault_at_its_box_and_keeps_what_was_typed(cast: Any, browser_client: Any) -> None:
    answer = browser_client(cast.staff).get("/f/alder-bend/sums/rate/", {"flow": "7.5", "speed": "0", "spacing": "20"})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert '<a href="#id_speed">Ground speed: Must be more than 0.</a>' in page
    assert 'value="7.5"' in page


def test_an_unknown_sum_is_unknown(cast: Any, browser_client: Any) -> None:
    answer = browser_client(cast.staff).get("/f/alder-bend/sums/magic/")
    assert (answer.status_code, "There is no such sum." in answer.content.decode()) == (404, True)


def test_choices_are_offered_in_words(cast: Any, browser_client: Any) -> None:
    boxes = [b for s in SUMS.values() for b in s.asked if b.kind is Kind.CHOICE]
    assert all(words for box in boxes for _, words in box.choices)
    assert "Into the soil" in browser_client(cast.staff).get("/f/alder-bend/sums/exclusion-zone/").content.decode()
