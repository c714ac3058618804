"""The sprayer as facts, and whether its calibration counts on a given day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from apps.equipment.rules.catch import Verdict
from apps.equipment.rules.zone import DropletClass, Method
from farmops.errors import Finding, Severity, gettext_noop

# A sprayer is calibrated at least once a season: common practice, no source. The farm sets it per sprayer.
LIFE_DAYS = 365
SOURCE = "project rule: a calibration counts through its last day, and not after a nozzle change"


@dataclass(frozen=True, kw_only=True)
class CalibrationFacts:
    """One measured calibration. ``good_until`` is its last day, inclusive."""

    gpa: Decimal
    speed_mph: Decimal
    pressure_psi: Decimal
    measured_on: date
    good_until: date
    verdict: Verdict = Verdict.GOOD
    void_on: date | None = None
    void_because: str = ""
    id: int | None = None


@dataclass(frozen=True, kw_only=True)
class SprayerFacts:
    """A sprayer as others judge it. ``calibration`` is None unless one counts on the day; ``why`` then says why not."""

    name: str
    tank_gal: Decimal
    usable_gal: Decimal
    swath_ft: Decimal
    method: Method
    droplet_class: DropletClass | None
    release_height_in: Decimal | None
    calibration: CalibrationFacts | None
    why: Finding | None = None
    id: int | None = None
    pump_gpm: Decimal | None = None


def good_until(measured_on: date, life_days: int = LIFE_DAYS) -> date:
    """Last day on which a calibration measured then counts."""
    return measured_on + timedelta(days=life_days)


def latest(calibrations: Iterable[CalibrationFacts], on_date: date) -> CalibrationFacts | None:
    """The newest calibration measured on or before the day, whether it counts or not."""
    before = [c for c in calibrations if c.measured_on <= on_date]
    return max(before, key=lambda c: (c.measured_on, c.id or 0), default=None)


def why_not(calibration: CalibrationFacts | None, on_date: date) -> Finding | None:
    """Why this calibration does not count on the day; None when it counts."""
    if calibration is None:
        return _no("calibration_missing", gettext_noop("This sprayer has no calibration on {day}."), day=on_date)
    if calibration.void_on is not None and calibration.void_on <= on_date:
        return _no(
            "calibration_void",
            gettext_noop("The calibration of {measured} is void since {void}: {because}. Calibrate again."),
            measured=calibration.measured_on,
            void=calibration.void_on,
            because=calibration.void_because,
        )
    if calibration.verdict is Verdict.FAIL:
        return _no(
            "calibration_failed",
            gettext_noop(
                "The catch test of {measured} failed: the boom does not spread evenly. Mend it and calibrate."
            ),
            measured=calibration.measured_on,
        )
    if calibration.good_until < on_date:
        return _no(
            "calibration_expired",
            gettext_noop("The calibration of {measured} counted until {until}. Calibrate again."),
            measured=calibration.measured_on,
            until=calibration.good_until,
        )
    return None


def in_force(calibrations: Iterable[CalibrationFacts], on_date: date) -> tuple[CalibrationFacts | None, Finding | None]:
    """The calibration that counts on the day, or None and the reason.

    Only the newest one is asked: an older good one does not come back when the newest fails.
    """
    newest = latest(calibrations, on_date)
    finding = why_not(newest, on_date)
    return (newest, None) if finding is None else (None, finding)


def _no(code: str, template: str, **numbers: object) -> Finding:
    filled = {slot: value.isoformat() if isinstance(value, date) else str(value) for slot, value in numbers.items()}
    return Finding(
        code=code, severity=Severity.REFUSE, template=template, numbers=filled, source=SOURCE, field="sprayer"
    )


REMIND_DAYS = (90, 30, 7, 0)


def reminder_mark(left: int, life_days: int) -> int | None:
    """The reminder stage reached with ``left`` days to go (90, 30, 7, 0); none that a fresh one would reach at once."""
    return min((mark for mark in REMIND_DAYS if 0 <= left <= mark < life_days), default=None)
