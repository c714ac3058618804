"""A whole calibration from cups, course and gauge."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest

from apps.equipment.rules.catch import Verdict
from apps.equipment.rules.measuring import Readings, Rig, measure
from farmops.errors import BadInput

RIG = Rig(nozzles=4, swath_ft=D("6.6"))
GOOD = Readings(
    catches=(D(64),) * 4, catch_unit="floz", seconds=D(60), course_ft=D(88), run_seconds=(D(12),), pressure_psi=D(40)
)


def test_worked_by_hand() -> None:
    # 4 x 64 fl oz in a minute = 2 gal/min; 88 ft in 12 s = 5 mph; 495 x 2 / (5 x 6.6) = 30 gal/ac
    found = measure(RIG, GOOD)
    assert (found.gpa, found.speed_mph, found.catch.total_gpm) == (D(30), D(5), D(2))
    assert (found.verdict, found.findings) == (Verdict.GOOD, ())


def test_cups_read_in_millilitres_come_to_the_same() -> None:
    # 64 fl oz are 1892.705892 mL (29.5735295625 mL each, NIST SP 811)
    found = measure(RIG, replace(GOOD, catches=(D("1892.705892"),) * 4, catch_unit="ml"))
    assert found.gpa == D(30)


def test_runs_are_averaged() -> None:
    found = measure(RIG, replace(GOOD, run_seconds=(D(11), D(13))))
    assert found.speed_mph == D(5)


def test_wear_is_judged_at_the_pressure_of_the_test() -> None:
    # 0.4 gal/min new at 40 psi is 0.8 at 160 psi: at 40 psi 0.5 is 25 % over, at 160 psi it is under
    worn = Rig(nozzles=4, swath_ft=D("6.6"), new_gpm=D("0.4"), new_psi=D(40))
    at_40 = measure(worn, GOOD)
    assert {f.code for f in at_40.findings} == {"nozzle_worn", "nozzle_set_worn"}
    assert (at_40.verdict, at_40.new_nozzle_gpm) == (Verdict.CHECK, D("0.4"))
    at_160 = measure(worn, replace(GOOD, pressure_psi=D(160)))
    assert ([f.code for f in at_160.findings], at_160.new_nozzle_gpm) == (["flow_below_chart"], D("0.8"))


@pytest.mark.parametrize(
    ("rig", "change", "codes", "verdict"),
    [
        ({}, {"run_seconds": (D(10), D(13))}, ["runs_differ"], Verdict.CHECK),
        ({}, {"run_seconds": (D(11), D(13))}, [], Verdict.GOOD),
        ({"spacing_in": D(20)}, {}, [], Verdict.GOOD),
        ({"spacing_in": D(30)}, {}, ["swath_odd"], Verdict.CHECK),
        ({}, {"gauge_psi": D(48)}, ["pressure_lost"], Verdict.GOOD),
        ({}, {"gauge_psi": D(39)}, ["pressure_lost"], Verdict.GOOD),
        ({}, {"gauge_psi": D(38)}, ["gauge_wrong"], Verdict.CHECK),
        ({"new_gpm": D("0.55"), "new_psi": D(40)}, {}, [], Verdict.GOOD),
        ({"new_gpm": D("0.56"), "new_psi": D(40)}, {}, ["flow_below_chart"], Verdict.CHECK),
    ],
    ids=[
        "runs a third apart", "runs that differ a little", "nozzles fit the swath", "nozzles do not fit the swath",
        "pressure lost on the way", "gauges that agree", "nozzle above the gauge", "nine percent under", "far under",
    ],
)  # fmt: skip
def test_whether_the_whole_can_be(
    rig: dict[str, D], change: dict[str, object], codes: list[str], verdict: Verdict
) -> None:
    found = measure(replace(RIG, **rig), replace(GOOD, **change))  # type: ignore[arg-type]
    assert [f.code for f in found.findings] == codes
    assert found.verdict is verdict


def test_the_gauge_on_the_machine_never_changes_the_rate() -> None:
    assert measure(RIG, replace(GOOD, gauge_psi=D(60))).gpa == measure(RIG, GOOD).gpa


@pytest.mark.parametrize(
    ("change", "codes", "verdict"),
    [
        ({"wanted_gpa": D(38)}, ["rate_off_target"], Verdict.CHECK),
        ({"wanted_gpa": D(30)}, [], Verdict.GOOD),
        ({"run_seconds": (D(61),)}, ["speed_unusual"], Verdict.CHECK),
        ({"seconds": D(6)}, ["rate_unusual"], Verdict.CHECK),
        ({"catches": (D(64), D(64), D(64), D(40))}, ["nozzle_high"] * 3 + ["nozzle_low"], Verdict.FAIL),
    ],
    ids=["off the wanted rate", "on it", "too slow", "too much", "one nozzle blocked"],
)
def test_what_asks_for_a_look(change: dict[str, object], codes: list[str], verdict: Verdict) -> None:
    found = measure(RIG, replace(GOOD, **change))  # type: ignore[arg-type]
    assert sorted(f.code for f in found.findings) == codes
    assert found.verdict is verdict


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"catches": (D(64),) * 3}, "catches"),
        ({"catches": (D(64), D(64), D(64), D(0))}, "catches"),
        ({"seconds": D(0)}, "seconds"),
        ({"course_ft": D(0)}, "course_ft"),
        ({"run_seconds": ()}, "run_seconds"),
        ({"run_seconds": (D(0),)}, "run_seconds"),
        ({"pressure_psi": D(0)}, "pressure_psi"),
        ({"gauge_psi": D(0)}, "gauge_psi"),
        ({"wanted_gpa": D(0)}, "wanted_gpa"),
        ({"catch_unit": "oz"}, "catch_unit"),
    ],
)
def test_impossible_readings_name_the_field(change: dict[str, object], field: str) -> None:
    with pytest.raises(BadInput) as caught:
        measure(RIG, replace(GOOD, **change))  # type: ignore[arg-type]
    assert list(caught.value.errors) == [field]
