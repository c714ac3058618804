"""A whole calibration from what was measured in the yard: cups, timed course, gauge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from apps.equipment.rules import catch, course, flow
from apps.equipment.rules.catch import CatchTest, Verdict
from apps.equipment.rules.exact import positive
from farmops.errors import BadInput, Finding, Severity, gettext_noop, needing_reason
from farmops.units import Quantity, show

CATCH_UNITS = ("floz", "ml")
# Outside of these somebody most likely typed a wrong number (project rule); a written reason lets it through.
USUAL_SPEED_MPH = (Decimal(1), Decimal(12))
USUAL_GPA = (Decimal(2), Decimal(200))
RUNS_DIFFER = Decimal("0.20")
SWATH_PERCENT = Decimal(10)
BELOW_CHART_PERCENT = Decimal(10)
GAUGE_ABOVE = Fraction(5, 100)


@dataclass(frozen=True, kw_only=True)
class Rig:
    """What of a sprayer decides its rate. ``new_gpm`` at ``new_psi``: output of a new nozzle, from its chart."""

    nozzles: int
    swath_ft: Decimal
    new_gpm: Decimal | None = None
    new_psi: Decimal | None = None
    spacing_in: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class Readings:
    """What was read in the yard: a cup per nozzle in ``catch_unit``, all for ``seconds``; the course, once or more.

    ``pressure_psi`` is read at the far nozzle, ``gauge_psi`` on the machine's own gauge at the same time.
    """

    catches: tuple[Decimal, ...]
    catch_unit: str
    seconds: Decimal
    course_ft: Decimal
    run_seconds: tuple[Decimal, ...]
    pressure_psi: Decimal
    wanted_gpa: Decimal | None = None
    gauge_psi: Decimal | None = None


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
        return Verdict.CHECK if needing_reason([*self.findings, *self.catch.findings]) else Verdict.GOOD


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
    whole = [*_unusual(speed, rate), *_runs(readings), *_swath(rig), *_below_chart(test, new)]
    found = [*test.findings, *whole, *_gauge(readings), *([off] if off else [])]
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


def _runs(readings: Readings) -> list[Finding]:
    """Runs over one course that differ by more than a fifth were not driven or timed alike (project rule)."""
    fast, slow = min(readings.run_seconds), max(readings.run_seconds)
    if slow <= fast * (1 + RUNS_DIFFER):
        return []
    template = gettext_noop("The runs took {fast} to {slow}. Drive and time the course again.")
    return [_look("runs_differ", template, "run_seconds", fast=f"{show(fast, 1)} s", slow=f"{show(slow, 1)} s")]


def _swath(rig: Rig) -> list[Finding]:
    """The swath of a broadcast boom is its nozzles times their spacing."""
    if rig.spacing_in is None or rig.nozzles < 2:
        return []
    made_up = flow.swath_ft(nozzles=rig.nozzles, spacing_in=rig.spacing_in)
    off = catch.off_percent(rig.swath_ft, made_up)
    if abs(off) <= SWATH_PERCENT:
        return []
    template = gettext_noop(
        "{nozzles} nozzles {spacing} apart cover {made}, the swath is {swath}. Check which is right."
    )
    numbers = {"spacing": f"{show(rig.spacing_in, 2)} in", "made": f"{show(made_up, 2)} ft"}
    more = {"nozzles": str(rig.nozzles), "swath": f"{show(rig.swath_ft, 2)} ft"}
    return [_look("swath_odd", template, "catches", **numbers, **more)]


def _below_chart(test: CatchTest, new: Decimal | None) -> list[Finding]:
    """Old nozzles give more than new ones, not less: else pressure, strainers or size are not what is said."""
    if new is None:
        return []
    off = catch.off_percent(test.mean_gpm, new)
    if off >= -BELOW_CHART_PERCENT:
        return []
    template = gettext_noop(
        "On average the nozzles give {off} less than new ones. Check the gauge, the strainers and the nozzle size."
    )
    return [_look("flow_below_chart", template, "pressure_psi", off=f"{show(-off, 1)} %")]


def _gauge(readings: Readings) -> list[Finding]:
    """The machine's gauge reads higher than the far nozzle: what is lost on the way counts (Sprayers101)."""
    if readings.gauge_psi is None:
        return []
    gauge, nozzle = positive(readings.gauge_psi, "gauge_psi"), positive(readings.pressure_psi, "pressure_psi")
    numbers = {"gauge": f"{show(readings.gauge_psi, 1)} psi", "nozzle": f"{show(readings.pressure_psi, 1)} psi"}
    if nozzle > gauge * (1 + GAUGE_ABOVE):
        template = gettext_noop("The far nozzle shows {nozzle}, the machine's gauge only {gauge}: one gauge is wrong.")
        return [_look("gauge_wrong", template, "gauge_psi", **numbers)]
    template = gettext_noop(
        "The machine's gauge shows {gauge} while the far nozzle has {nozzle}. Set it by the nozzle."
    )
    return [
        Finding(
            code="pressure_lost",
            severity=Severity.NOTE,
            template=template,
            numbers=numbers,
            source="Sprayers101, “Measuring pressure drop”",
            field="gauge_psi",
        )
    ]


def _look(code: str, template: str, field: str, **numbers: str) -> Finding:
    return Finding(
        code=code,
        severity=Severity.JUSTIFY,
        template=template,
        numbers=numbers,
        source="project rule: plausible readings",
        field=field,
    )
