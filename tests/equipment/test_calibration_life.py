"""Which calibration counts on a day."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D

import pytest

from apps.equipment.rules.calibration import CalibrationFacts, good_until, in_force
from apps.equipment.rules.catch import Verdict


def measured(on: date, **kw: object) -> CalibrationFacts:
    facts: dict[str, object] = {
        "gpa": D(38), "speed_mph": D(5), "pressure_psi": D(60), "measured_on": on, "good_until": good_until(on),
    }  # fmt: skip
    return CalibrationFacts(**{**facts, **kw})  # type: ignore[arg-type]


SPRING, SUMMER = date(2026, 4, 1), date(2026, 7, 1)


def test_life_is_a_year_by_default_and_the_last_day_counts() -> None:
    # project rule: through the last day, inclusive; once a season is common practice, no source
    spring = measured(SPRING)
    assert spring.good_until == date(2027, 4, 1)
    assert in_force([spring], date(2027, 4, 1)) == (spring, None)
    found, why = in_force([spring], date(2027, 4, 2))
    assert (found, why and why.code) == (None, "calibration_expired")
    assert why is not None
    assert why.sentence == "The calibration of Wed, Apr 1, 2026 counted until Thu, Apr 1, 2027. Calibrate again."


@pytest.mark.parametrize(
    ("calibrations", "on", "code"),
    [
        ([], SUMMER, "calibration_missing"),
        ([measured(SUMMER)], SPRING, "calibration_missing"),
        (
            [measured(SPRING, void_on=date(2026, 6, 1), void_because="new nozzles")],
            date(2026, 6, 1),
            "calibration_void",
        ),
        ([measured(SPRING, verdict=Verdict.FAIL)], SUMMER, "calibration_failed"),
        ([measured(SPRING), measured(SUMMER, verdict=Verdict.FAIL)], SUMMER, "calibration_failed"),
    ],
    ids=["none", "only later", "void", "failed", "newest failed, older good"],
)
def test_does_not_count(calibrations: list[CalibrationFacts], on: date, code: str) -> None:
    found, why = in_force(calibrations, on)
    assert (found, why and why.code) == (None, code)


def test_counts_until_the_nozzles_were_changed_and_again_after_a_new_one() -> None:
    old = measured(SPRING, void_on=date(2026, 6, 1), void_because="new nozzles", id=1)
    new = measured(date(2026, 6, 1), id=2)
    assert in_force([old], date(2026, 5, 31)) == (old, None)
    assert in_force([new, old], date(2026, 6, 1)) == (new, None)


def test_check_verdict_still_counts() -> None:
    checked = measured(SPRING, verdict=Verdict.CHECK)
    assert in_force([checked], SUMMER) == (checked, None)
