"""A whole calibration from what was measured in the yard: cups, timed course, gauge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from apps.equipment.rules import catch, course, flow
from apps.equipment.rules.catch import CatchTest, Verdict
from apps.equipment.rules.exact import positive
from farmops.errors import BadInput, Finding, Severity, gettext_noop
from farmops.units import Quantity, show

CATCH_UNITS = ("floz", "ml")
# Outside of these somebody most likely typed a wrong number (project rule); a written reason lets it through.
USUAL_SPEED_MPH = (Decimal(1), Decimal(12))
USUAL_GPA = (Decimal(2), Decimal(200))


@dataclass(frozen=True, kw_only=True)
class Rig:
    """What of a sprayer decides its rate. ``new_gpm`` at ``new_psi``: output of a new nozzle, from its chart."""

    nozzles: int
    swath_ft: Decimal
    new_gpm: Decimal | None = None
    new_psi: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class Readings:
    """What was read in the yard: a cup per nozzle in ``catch_unit``, all for ``seconds``; the course, once or more."""

    catches: tuple[Decimal, ...]
    catch_unit: str
    seconds: Decimal
    course_ft: Decimal
    run_seconds: tuple[Decimal, ...]
    pressure_psi: Decimal
    wanted_gpa: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class Measured:
    """What the readings come to."""

    catch: CatchTest
    new_nozzle_gpm: Decimal | None
    speed_mph: Decimal
    gpa: Decimal
    findings: tuple[Finding, ...]

    @property
    def verdict(self) -> Verdict:
        """Fail when the boom spreads unevenly; check when anything else asks for a look."""
        if self.catch.verdict is Verdict.FAIL:
            return Verdict.FAIL
        return Verdict.CHECK if self.findings else Verdict.GOOD


def measure(rig: Rig, readings: Readings) -> Measured:
    """Rate, speed and verdict. ``BadInput`` names the reading that cannot be: every nozzle needs its cup."""
    floz = _in_floz(rig, readings)
    psi = positive(readings.pressure_psi, "pressure_psi")
    new = None
    if rig.new_gpm is not None and rig.new_psi is not None:
        new = flow.flow_at_pressure(gpm=rig.new_gpm, pressure_psi=rig.new_psi, new_pressure_psi=psi)
    test = catch.judge_catches(floz, seconds=readings.seconds, new_nozzle_gpm=new)
    seconds = course.mean(readings.run_seconds, field="run_seconds")
    speed = course.speed_mph(distance_ft=positive(readings.course_ft, "course_ft"), seconds=seconds)
    rate = flow.gpa_whole_boom(total_gpm=test.total_gpm, speed_mph=speed, swath_ft=rig.swath_ft)
    off = None if readings.wanted_gpa is None else catch.off_target(gpa=rate, wanted_gpa=readings.wanted_gpa)
    found = [*test.findings, *_unusual(speed, rate), *([off] if off else [])]
    return Measured(catch=test, new_nozzle_gpm=new, speed_mph=speed, gpa=rate, findings=tuple(found))


def _in_floz(rig: Rig, readings: Readings) -> Sequence[Decimal]:
    if readings.catch_unit not in CATCH_UNITS:
        raise BadInput({"catch_unit": gettext_noop("Cups are read in fl oz or mL.")})
    if len(readings.catches) != rig.nozzles:
        said = f"This sprayer has {rig.nozzles} nozzles: give one catch for each, from left to right."
        raise BadInput({"catches": said})
    for caught in readings.catches:
        positive(caught, "catches")
    return [Quantity(c, readings.catch_unit).to("floz").amount for c in readings.catches]


def _unusual(speed: Decimal, rate: Decimal) -> list[Finding]:
    found = []
    if not USUAL_SPEED_MPH[0] <= speed <= USUAL_SPEED_MPH[1]:
        template = gettext_noop("A ground speed of {speed} is unusual. Check the course and the times.")
        found.append(_look("speed_unusual", template, "run_seconds", speed=f"{show(speed, 2)} mph"))
    if not USUAL_GPA[0] <= rate <= USUAL_GPA[1]:
        template = gettext_noop("{rate} is an unusual rate. Check cups, seconds and swath.")
        found.append(_look("rate_unusual", template, "catches", rate=f"{show(rate, 2)} gal/ac"))
    return found


def _look(code: str, template: str, field: str, **numbers: str) -> Finding:
    return Finding(
        code=code,
        severity=Severity.JUSTIFY,
        template=template,
        numbers=numbers,
        source="project rule: plausible readings",
        field=field,
    )
