"""The catch test: average, deviation and what to do about each nozzle."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from apps.equipment.rules.catch import Verdict, judge_catches, off_target
from apps.equipment.rules.flow import flow_at_pressure, gpa_whole_boom
from farmops.errors import BadInput, Severity


def codes(caught: list[str], new: str | None = None) -> list[tuple[str, str]]:
    test = judge_catches([D(c) for c in caught], seconds=60, new_nozzle_gpm=None if new is None else D(new))
    return [(f.code, f.subject) for f in test.findings]


def test_an_even_boom() -> None:
    # Worked by hand: four cups of 64 fl oz in a minute are half a gallon a minute each.
    test = judge_catches([D(64)] * 4, seconds=60)
    assert (test.mean_floz, test.mean_gpm, test.total_gpm) == (D(64), D("0.5"), D(2))
    assert (test.verdict, test.findings) == (Verdict.GOOD, ())
    assert gpa_whole_boom(total_gpm=test.total_gpm, speed_mph=5, swath_ft=D("6.6")) == D(30)


def test_seconds_count() -> None:
    half, whole = judge_catches([D(32)], seconds=30), judge_catches([D(64)], seconds=60)
    assert half.total_gpm == whole.total_gpm == D("0.5")


# ten cups, nine of 100: the tenth moves the average too, so the limits are not at 95 and 105
@pytest.mark.parametrize(
    ("tenth", "verdict", "said"),
    [
        ("100", Verdict.GOOD, []),
        ("105.5", Verdict.GOOD, []),  # 4.92 % over 100.55
        ("106", Verdict.CHECK, [("nozzle_high", "10")]),  # 5.37 % over 100.6
        ("94", Verdict.CHECK, [("nozzle_low", "10")]),  # 5.43 % under 99.4
        ("111", Verdict.CHECK, [("nozzle_high", "10")]),  # 9.79 % over 101.1
        ("112", Verdict.FAIL, [("nozzle_high", "10")]),  # 10.67 % over 101.2
        ("88", Verdict.FAIL, [("nozzle_low", "10")]),  # 10.93 % under 98.8
    ],
)
def test_spread_over_the_boom(tenth: str, verdict: Verdict, said: list[tuple[str, str]]) -> None:
    # 5 % of average: Montana State MT 2000-14; 10 % of average: University of Georgia SB-16.
    test = judge_catches([D(100)] * 9 + [D(tenth)], seconds=60)
    assert test.cups[9].verdict is verdict
    assert test.verdict is verdict
    assert [(f.code, f.subject) for f in test.findings] == said


def test_exactly_at_the_limit_is_not_outside() -> None:
    test = judge_catches([D(95), D(105)], seconds=60)
    assert [c.off_mean_percent for c in test.cups] == [D(-5), D(5)]
    assert test.verdict is Verdict.GOOD


def test_failing_refuses_and_checking_asks_for_a_reason() -> None:
    failing = judge_catches([D(100)] * 9 + [D(80)], seconds=60)
    checking = judge_catches([D(100)] * 9 + [D(94)], seconds=60)
    assert [f.severity for f in failing.findings] == [Severity.REFUSE]
    assert [f.severity for f in checking.findings] == [Severity.JUSTIFY]
    assert failing.findings[0].sentence == "Nozzle 10 gives 18.4 % less than the average. Clean it and catch again."


def test_wear_is_more_than_ten_percent_over_a_new_nozzle() -> None:
    # Ohio State University Extension, E. Ozkan, 7 May 2019. New: 0.5 gal/min is 64 fl oz a minute.
    assert codes(["70.4", "70.4"], new="0.5") == []  # exactly 10 %
    assert codes(["70.5", "70.0"], new="0.5") == [("nozzle_worn", "1")]
    assert codes(["71", "71"], new="0.5") == [("nozzle_worn", "1"), ("nozzle_worn", "2"), ("nozzle_set_worn", "")]
    assert codes(["71", "71"]) == []  # without the new output wear cannot be told


def test_new_output_is_taken_at_the_pressure_of_the_test() -> None:
    # A 0.4 gal/min nozzle at 40 psi gives twice that at 160 psi (four times the pressure, twice the flow).
    assert flow_at_pressure(gpm=D("0.4"), pressure_psi=40, new_pressure_psi=160) == D("0.8")


@pytest.mark.parametrize(
    ("cups", "seconds", "field"),
    [
        ([], 60, "catches"),
        ([D(0)], 60, "catches"),
        ([D(40), D(-1)], 60, "catches"),
        ([D(40)], 0, "seconds"),
    ],
)
def test_empty_cups_and_no_time_name_the_field(cups: list[D], seconds: int, field: str) -> None:
    with pytest.raises(BadInput) as caught:
        judge_catches(cups, seconds=seconds)
    assert list(caught.value.errors) == [field]


def test_off_the_wanted_rate_by_more_than_five_percent() -> None:
    # USDA and EPA recommendation as reported by Ohio State University, 17 April 2012.
    assert off_target(gpa=D("39.9"), wanted_gpa=D(38)) is None  # exactly 5 %
    finding = off_target(gpa=D(40), wanted_gpa=D(38))
    assert finding is not None
    assert finding.sentence == "The sprayer puts on 40 gal/ac, 5.3 % off the wanted 38 gal/ac."
