"""Sprayers, calibrations and calculators over HTTP."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from apps.equipment.models import Calibration, Sprayer
from tests.factories.equipment import CalibrationFactory, SprayerFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("june")]
HOME = "/api/v1/farms/alder-bend/"
MACHINE = {
    "name": "Yellow boom",
    "method": "boom",
    "tank_gal": "110",
    "usable_gal": "100",
    "swath_ft": "6.6",
    "nozzles": 4,
}
READINGS = {
    "catches": ["64", "64", "64", "64"],
    "seconds": "60",
    "course_ft": "88",
    "run_seconds": ["12"],
    "pressure_psi": "40",
}


def send(client, address, body, method="post", **headers):
    return getattr(client, method)(HOME + address, body, format="json", headers=headers)


def test_from_a_new_sprayer_to_a_calibration_that_counts(cast, api):
    client = api(cast.applicator)
    made = send(client, "sprayers/", MACHINE)
    assert (made.status_code, made["ETag"]) == (201, '"v1"')
    assert made.json()["calibration"] is None
    assert made.json()["why_none"]["sentence"] == "This sprayer has no calibration on Mon, Jun 1, 2026."
    one = f"sprayers/{made.json()['id']}/"
    recorded = send(client, one + "calibrations/", {**READINGS, "measured_on": "2026-06-01", "gear": "3rd"})
    assert recorded.status_code == 201
    body = recorded.json()
    assert (D(body["gpa"]), D(body["speed_mph"]), body["verdict"], body["gear"]) == (D(30), D(5), "good", "3rd")
    assert [(c["position"], D(c["off_mean_percent"])) for c in body["cups"]] == [(n, D(0)) for n in (1, 2, 3, 4)]
    shown = client.get(HOME + one).json()
    assert (D(shown["calibration"]["gpa"]), shown["age_days"], shown["days_left"]) == (D(30), 0, 365)
    assert shown["why_none"] is None
    assert [r["id"] for r in client.get(HOME + "calibrations/").json()["results"]] == [body["id"]]


def test_catches_are_judged_without_recording(cast, api):
    sprayer = SprayerFactory(farm=cast.farm)
    uneven = {**READINGS, "catches": ["64", "64", "64", "40"]}
    answer = send(api(cast.applicator), f"sprayers/{sprayer.pk}/catches/", uneven)
    body = answer.json()
    assert (answer.status_code, body["verdict"], D(body["mean_floz"])) == (200, "fail", D(58))
    assert [c["verdict"] for c in body["cups"]] == ["fail"] * 4
    assert body["findings"][-1]["sentence"] == "Nozzle 4 gives 31 % less than the average. Clean it and catch again."
    assert Calibration.rows.count() == 0


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"catches": ["64", "64"]}, "catches"),
        ({"catches": ["64", "64", "64", "0"]}, "catches"),
        ({"catches": []}, "catches"),
        ({"catches": ["64", "64", "64", "1,5"]}, "catches.3"),
        ({"seconds": "0"}, "seconds"),
        ({"pressure_psi": "0"}, "pressure_psi"),
        ({"run_seconds": ["0"]}, "run_seconds"),
        ({"course_ft": "-5"}, "course_ft"),
        ({"catch_unit": "oz"}, "catch_unit"),
        ({"measured_on": "2026-06-02"}, "measured_on"),
        ({"measured_on": "2026-02-30"}, "measured_on"),
    ],
)
def test_bad_readings_name_the_field_and_save_nothing(cast, api, body, field):
    sprayer = SprayerFactory(farm=cast.farm)
    asked = {**READINGS, "measured_on": "2026-06-01", **body}
    answer = send(api(cast.applicator), f"sprayers/{sprayer.pk}/calibrations/", asked)
    assert (answer.status_code, list(answer.json()["errors"])) == (400, [field])
    assert Calibration.rows.count() == 0


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"usable_gal": "200"}, "usable_gal"),
        ({"method": "catapult"}, "method"),
        ({"nozzles": 0}, "nozzles"),
        ({"tank_gal": "NaN"}, "tank_gal"),
        ({"swath_ft": "0"}, "swath_ft"),
        ({"spacing_in": "0"}, "spacing_in"),
        ({"nozzle_new_gpm": "0", "nozzle_new_psi": "40"}, "nozzle_new_gpm"),
        ({"nozzle_new_gpm": "0.4"}, "nozzle_new_psi"),
    ],
)
def test_bad_sprayers_name_the_field(cast, api, body, field):
    answer = send(api(cast.manager), "sprayers/", {**MACHINE, **body})
    assert (answer.status_code, list(answer.json()["errors"])) == (400, [field])
    assert Sprayer.rows.count() == 0


def test_the_same_calibration_sent_twice_is_recorded_once(cast, api):
    sprayer = SprayerFactory(farm=cast.farm)
    asked = {**READINGS, "measured_on": "2026-06-01"}
    for _ in range(2):
        answer = send(
            api(cast.applicator), f"sprayers/{sprayer.pk}/calibrations/", asked, **{"Idempotency-Key": "yard-0001"}
        )
        assert answer.status_code == 201
    assert answer["Idempotent-Replay"] == "true"
    assert Calibration.rows.count() == 1


def test_edit_needs_the_version_and_new_nozzles_void(cast, api):
    sprayer = SprayerFactory(farm=cast.farm)
    CalibrationFactory(sprayer=sprayer)
    client, address = api(cast.manager), f"sprayers/{sprayer.pk}/"
    assert send(client, address, {"nozzles": 5}, "patch").status_code == 428
    assert send(client, address, {"nozzles": 5}, "patch", **{"If-Match": '"v4"'}).status_code == 412
    saved = send(client, address, {"note": "tyres"}, "patch", **{"If-Match": '"v1"'})
    assert (saved["ETag"], saved.json()["note"], saved.json()["life_days"]) == ('"v2"', "tyres", 365)
    assert saved.json()["why_none"] is None
    changed = send(client, address + "nozzles/", {"changed_on": "2026-06-01", "note": "new set", "version": 2})
    assert changed.json()["why_none"]["code"] == "calibration_void"
    assert [r["void_because"] for r in client.get(HOME + "calibrations/?void=true").json()["results"]] == ["new set"]
    assert client.get(HOME + "calibrations/?void=false").json()["results"] == []


def test_striking_and_retiring(cast, api):
    row = CalibrationFactory(sprayer=SprayerFactory(farm=cast.farm))
    client = api(cast.applicator)
    struck = send(client, f"calibrations/{row.pk}/void/", {"because": "wrong cups"})
    assert (struck.json()["void_on"], struck.json()["void_because"]) == ("2026-05-01", "wrong cups")
    retired = send(client, f"sprayers/{row.sprayer_id}/retire/", {"retired": True, "version": 1})
    assert retired.json()["retired_at"].startswith("2026-06-01T14:00:00")
    assert client.get(HOME + "sprayers/?retired=false").json()["results"] == []
    refused = send(client, f"sprayers/{row.sprayer_id}/calibrations/", {**READINGS, "measured_on": "2026-06-01"})
    assert (refused.status_code, refused.json()["findings"][0]["code"]) == (409, "sprayer_retired")


@pytest.mark.parametrize(
    ("method", "address"),
    [
        ("get", "sprayers/{sprayer}/"),
        ("patch", "sprayers/{sprayer}/"),
        ("post", "sprayers/{sprayer}/nozzles/"),
        ("post", "sprayers/{sprayer}/retire/"),
        ("post", "sprayers/{sprayer}/catches/"),
        ("post", "sprayers/{sprayer}/calibrations/"),
        ("get", "calibrations/{calibration}/"),
        ("post", "calibrations/{calibration}/void/"),
    ],
)
def test_another_farms_machine_does_not_exist_here(cast, api, method, address):
    theirs = CalibrationFactory(sprayer=SprayerFactory(farm=cast.other_farm, name="Secret"))
    body = {**READINGS, "measured_on": "2026-06-01", "changed_on": "2026-06-01", "version": 1, "retired": True}
    path = address.format(sprayer=theirs.sprayer_id, calibration=theirs.pk)
    answer = send(api(cast.manager), path, {**body, "because": "x"}, method, **{"If-Match": "v1"})
    assert (answer.status_code, answer.json()["detail"]) == (404, "No such entry in this farm's book.")
    assert "Secret" not in answer.content.decode()
    theirs.refresh_from_db()
    assert (theirs.void_on, Calibration.rows.count(), theirs.sprayer.version) == (None, 1, 1)


def test_staff_may_work_sums_out_but_not_see_or_change_sprayers(cast, api):
    client = api(cast.staff)
    for answer in (client.get(HOME + "sprayers/"), send(client, "sprayers/", MACHINE)):
        assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: manager / applicator.")
    assert send(client, "calculators/mph/", {"distance": "88", "seconds": ["12"]}).status_code == 200


def test_rate_of_one_nozzle_and_of_a_boom(cast, api):
    client = api(cast.staff)
    one = send(client, "calculators/gpa/", {"flow": "0.4", "speed": "4", "width": "20"}).json()
    # 5940 x 0.4 / (4 x 20), University of Missouri Extension G1270
    assert D(one["gpa"]) == D("29.7")
    assert one["working"] == "5940 × 0.4 gal/min ÷ (4 mph × 20 in) = 29.7 gal/ac"
    # Albany County (Wyoming) Weed and Pest District: 480 fl oz/min, 222 in, 5 mph -> 20 GPA
    boom = {"flow": "480", "flow_unit": "floz/min", "speed": "5", "width": "18.5", "width_unit": "ft"}
    assert round(D(send(client, "calculators/gpa/", boom).json()["gpa"])) == 20
    metric = {"flow": "2", "flow_unit": "l/min", "speed": "8", "speed_unit": "km/h", "width": "50", "width_unit": "cm"}
    # 600 x 2 / (8 x 0.5) = 300 L/ha, worked by hand
    assert D(send(client, "calculators/gpa/", metric).json()["litres_per_hectare"]) == D(300)


def test_speed_of_several_runs(cast, api):
    # 88 ft in 12 s is 5 mph; the mean of 11 and 13 s too
    body = send(api(cast.staff), "calculators/mph/", {"distance": "88", "seconds": ["11", "13"]}).json()
    assert (D(body["mph"]), D(body["km_h"])) == (D(5), D("8.04672"))
    assert body["working"] == "88 ft × 60 ÷ (12 s × 88) = 5 mph"


def test_loads_with_products_on_all_three_bases(cast, api):
    asked = {
        "area": "10",
        "gpa": "38",
        "usable_gal": "300",
        "products": [
            {"name": "A", "rate": "2", "rate_unit": "pt", "rate_basis": "per_acre"},
            {"name": "B", "rate": "2", "rate_unit": "lb", "rate_basis": "per_100_gal"},
            {"name": "C", "rate": "0.25", "rate_unit": "%vv", "rate_basis": "percent_vv"},
        ],
    }
    body = send(api(cast.staff), "calculators/loads/", asked).json()
    assert (body["loads"], body["refills"], D(body["last_gal"]), D(body["even_gal"])) == (2, 1, D(80), D(190))
    # common practice, no source: 10 ac at 38 gal/ac is 380 gal; worked by hand
    found = [(p["name"], p["unit"], D(p["total"]), D(p["even"])) for p in body["products"]]
    assert found == [
        ("A", "pt", D(20), D(10)),
        ("B", "lb", D("7.6"), D("3.8")),
        ("C", "gal", D("0.95"), D("0.475")),
    ]
    assert body["working"] == "10 ac × 38 gal/ac = 380 gal; ÷ 300 gal a load = 2 loads"


@pytest.mark.parametrize(
    ("sum_of", "body", "field"),
    [
        ("gpa", {"flow": "0", "speed": "4", "width": "20"}, "flow"),
        ("gpa", {"flow": "1", "speed": "0", "width": "20"}, "speed"),
        ("gpa", {"flow": "1", "speed": "4", "width": "20", "width_unit": "furlong"}, "width_unit"),
        ("gpa", {"flow": "1e400000", "speed": "4", "width": "20"}, "flow"),
        ("mph", {"distance": "88", "seconds": ["0"]}, "seconds"),
        ("mph", {"distance": "88", "seconds": []}, "seconds"),
        ("loads", {"area": "10", "gpa": "38", "usable_gal": "0"}, "usable_gal"),
        ("loads", {"area": "-1", "gpa": "38", "usable_gal": "300"}, "area"),
        ("loads", {"area": "100000", "gpa": "38", "usable_gal": "3"}, "usable_gal"),
        (
            "loads",
            {
                "area": "1",
                "gpa": "38",
                "usable_gal": "300",
                "products": [{"name": "A", "rate": "0", "rate_unit": "pt", "rate_basis": "per_acre"}],
            },
            "products.0.rate",
        ),
        (
            "loads",
            {
                "area": "1",
                "gpa": "38",
                "usable_gal": "300",
                "products": [{"name": "A", "rate": "1", "rate_unit": "pt", "rate_basis": "percent_vv"}],
            },
            "unit",
        ),
    ],
)
def test_impossible_sums_name_the_field(cast, api, sum_of, body, field):
    answer = send(api(cast.staff), f"calculators/{sum_of}/", body)
    assert (answer.status_code, list(answer.json()["errors"])) == (400, [field])
