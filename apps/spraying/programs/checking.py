"""A program checked as a whole before (and during) its season, by the very rules that check a job.

Every pass still to come is laid on its days twice: as early as its windows allow, which is hardest on intervals, runs
and season totals, and as late as they allow, which is hardest on the days before harvest. Each pass is checked with the
history and all passes before it. What depends on the hour (wind, bees, people) is checked with each job.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from apps.crops.queries import looks_at, planting_facts
from apps.crops.rules import Look, PlantingFact, crop_facts_of
from apps.inventory.queries import shortages
from apps.land import queries as land
from apps.land.rules import SensitiveKind
from apps.people.models import Farm
from apps.spraying.facts import policy_of, settings_of
from apps.spraying.history import planned_rate
from apps.spraying.models import Program
from apps.spraying.programs import queries
from apps.spraying.programs.queries import Followed, Versions
from apps.spraying.programs.rules import Window
from apps.spraying.rules import (
    CheckFacts,
    Event,
    harvest_entry,
    intervals,
    labels,
    rates,
    resistance,
    season,
    tank,
)
from apps.spraying.rules import ground as surroundings
from apps.spraying.rules.ahead import expected_harvest
from apps.spraying.rules.outcome import product_needed
from farmops import clock
from farmops.errors import BadInput, Finding, Severity, gettext_noop, worst_first
from farmops.units import Quantity

PARTS = (
    labels.findings,
    rates.findings,
    season.findings,
    intervals.findings,
    harvest_entry.findings,
    resistance.findings,
    surroundings.findings,
    tank.findings,
)
"""The parts of the check that a season ahead can answer; the others belong to the hour of each job."""

NOT_YET = frozenset({"stage_unknown", "gpa_unknown", "method_unknown", "data_missing_ph", "surfactant_unknown"})
"""Not known until the job is planned or the crop stands: no finding of the season (project rule)."""

BEGINS, ENDS = time(8), time(9)
"""The hour a pass is reckoned at: early in the day (project rule; the days before harvest count whole days)."""

PROJECT = "project rule"


@dataclass(frozen=True, kw_only=True)
class PassCheck:
    """One pass on one block: its window, and what the check says on its first and on its last day."""

    window: Window
    findings: tuple[Finding, ...]
    late: tuple[Finding, ...]
    """What it says only when every pass is as late as its window allows."""


@dataclass(frozen=True, kw_only=True)
class BlockCheck:
    """Every pass still to come on one block."""

    followed: Followed
    passes: tuple[PassCheck, ...]
    about: tuple[Finding, ...]
    """About the program on the block: what does not fit, what is not known."""


@dataclass(frozen=True, kw_only=True)
class SeasonCheck:
    """A program checked as a whole: block by block, and what it needs of the shed in all."""

    program: Program
    blocks: tuple[BlockCheck, ...]
    whole: tuple[Finding, ...]

    @property
    def everything(self) -> list[Finding]:
        return worst_first(
            [
                *self.whole,
                *(f for b in self.blocks for f in (*b.about, *(x for p in b.passes for x in (*p.findings, *p.late)))),
            ]
        )


def check_program(row: Program, now: datetime) -> SeasonCheck:
    """Check every pass that is still to come; the number of queries does not grow with passes, blocks or history."""
    found = queries.followed(row.farm, now, [row])
    return _Season(row, found, now).check()


class _Season:
    """What the checks of all blocks share, read once."""

    def __init__(self, row: Program, found: Sequence[Followed], now: datetime) -> None:
        self.row, self.found, self.farm = row, found, row.farm
        self.zone = clock.zone(self.farm.time_zone)
        self.today = clock.to_local(now, self.farm.time_zone).date()
        blocks = [f.block for f in found]
        self.planted: dict[int, list[PlantingFact]] = planting_facts(blocks)
        self.looks: dict[int, list[Look]] = looks_at(blocks)
        self.places = list(land.sensitive_places(self.farm))
        self.house = settings_of(self.farm)
        self.versions: Versions = queries.versions_for(self.farm, [row])

    def check(self) -> SeasonCheck:
        return SeasonCheck(
            program=self.row,
            blocks=tuple(self._block(f) for f in self.found),
            whole=tuple(worst_first(self._stock())),
        )

    def _block(self, f: Followed) -> BlockCheck:
        windows = f.course.unbooked
        early = self._walk(f, windows, late=False)
        late = self._walk(f, windows, late=True)
        passes = tuple(
            PassCheck(window=w, findings=tuple(now), late=tuple(_only(later, now)))
            for w, now, later in zip(windows, early, late, strict=True)
        )
        return BlockCheck(followed=f, passes=passes, about=tuple(about(f)))

    def _walk(self, f: Followed, windows: Sequence[Window], *, late: bool) -> list[list[Finding]]:
        """The findings of each pass, one after the other, each as early or as late as its window allows.

        A pass that the one before leaves no room for on that walk is not laid and says nothing.
        """
        done = sum(1 for w in f.course.behind if w.spray is not None) + len(f.course.booked_days)
        laid: list[Event] = []
        said: list[list[Finding]] = []
        soonest = self.today
        for window in windows:
            day = max(window.closes_on if late else window.opens_on, self.today)
            if soonest > max(window.closes_on, self.today) or (late and soonest > day):
                said.append([])
                continue
            day = max(day, soonest)
            facts = self._facts(f, window, day, laid, sprays=done + len(windows))
            said.append(worst_first(x for part in PARTS for x in part(facts) if x.code not in NOT_YET))
            laid.append(facts.planned_event)
            soonest = day + timedelta(days=f.facts.wait_before(window.pass_no + 1))
        return said

    def _facts(self, f: Followed, window: Window, day: date, laid: Sequence[Event], *, sprays: int) -> CheckFacts:
        mix = queries.mix_of(self.row, window.pass_no)
        start_at, end_at = (
            datetime.combine(day, hour, tzinfo=self.zone).astimezone(clock.zone("UTC")) for hour in (BEGINS, ENDS)
        )
        crop = crop_facts_of(self.planted[f.block.pk], self.looks[f.block.pk], day, today=self.today)
        near = land.nearest_among(f.block, self.places)
        water = [n.distance_ft for n in near if n.kind is SensitiveKind.WATER]
        values: dict[str, Any] = {
            "block_name": str(f.block),
            "zone": self.zone,
            "start_at": start_at,
            "end_at": end_at,
            "lines": self.versions.lines(mix, self.row, day) if mix else (),
            "site_code": self.row.crop.code,
            "crop_name": self.row.crop.name,
            "planted_on": f.planting.starts_on if f.planting else None,
            "history": (*f.events, *laid),
            "history_known_from": self.house.history_known_from,
            "program_sprays": sprays,
            "next_crops": crop.next_crops,
            "bloom": crop.bloom,
            "harvest_at": expected_harvest(
                f.ground.harvest_from, f.ground.harvest_to, entries=(), start_at=start_at, zone=self.zone
            ),
            "spray_gpa": self.row.spray_gpa,
            "water_ft": min(water, default=None),
            "policy": policy_of(self.house),
        }
        return CheckFacts(**values)

    # ---- the shed ----------------------------------------------------------------------

    def _stock(self) -> list[Finding]:
        """Product by product: what every pass on every block still needs in all, against what is free."""
        needs: dict[int, Quantity] = {}
        for line, acres in queries.amounts(self.found).get(self.row.pk, []):
            needed = product_needed(planned_rate(line), acres=acres, spray_gpa=self.row.spray_gpa)  # type: ignore[arg-type]
            before = needs.get(line.product_id)
            if needed is None or (before is not None and before.dimension is not needed.dimension):
                continue
            needs[line.product_id] = needed if before is None else before + needed
        return [replace(x, severity=Severity.JUSTIFY) for x in _short(self.farm, needs, self.today)]


def _short(farm: Farm, needs: dict[int, Quantity], today: date) -> list[Finding]:
    """All at once; product by product when one of them cannot be compared (the check of its job says so)."""
    if not needs:
        return []
    try:
        return shortages(farm, needs, today)
    except BadInput:
        if len(needs) == 1:
            return []
        return [f for pk, needed in needs.items() for f in _short(farm, {pk: needed}, today)]


def about(f: Followed) -> list[Finding]:
    """What the program itself leaves open on a block: no crop, no day, passes that no longer fit."""
    numbers = {"block": str(f.block), "crop": f.program.crop.name}
    if not f.stands:
        template = gettext_noop("{block}: no {crop} stands or is planned there before the program's last day.")
        return [_say("program_no_crop", Severity.JUSTIFY, template, **numbers)]
    course = f.course
    if not f.facts.passes:
        template = gettext_noop("{block}: the program has no pass yet.")
        return [_say("program_empty", Severity.NOTE, template, **numbers)]
    if course.next is None and course.end is None:
        template = gettext_noop(
            "{block}: nobody can say yet when the program begins there. Give an expected day, and it is laid over the "
            "calendar."
        )
        return [_say("program_no_day", Severity.NOTE, template, **numbers)]
    left = len(f.facts.passes) - (course.planned[-1].pass_no if course.planned else _last(f))
    if f.facts.repeats or left <= 0:
        return []
    template = gettext_noop("{block}: {count} of {total} passes find no room before {until}.")
    until = min(day for day in (f.facts.last_on, f.ground.harvest_from, f.ground.ended_on) if day is not None)
    counted = {"count": str(left), "total": str(len(f.facts.passes)), "until": str(until)}
    return [_say("program_cut", Severity.NOTE, template, **numbers, **counted)]


def _last(f: Followed) -> int:
    return f.course.behind[-1].pass_no if f.course.behind else 0


def _say(code: str, severity: Severity, template: str, **numbers: str) -> Finding:
    return Finding(code=code, severity=severity, template=template, numbers=numbers, source=PROJECT)


def _only(later: Sequence[Finding], now: Sequence[Finding]) -> list[Finding]:
    """What is said on the late days and not on the early ones: by code and product."""
    said = {(f.code, f.subject) for f in now}
    return [f for f in later if (f.code, f.subject) not in said]
