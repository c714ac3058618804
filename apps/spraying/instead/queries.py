"""What could be done instead of a refused job: the farm's choices read once, every way out checked again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from apps.inventory.queries import stocks
from apps.people import queries as people
from apps.people.rules import Role
from apps.products.models import Product
from apps.products.rules import Label, LabelUse, Rate, use_on
from apps.spraying import checking
from apps.spraying.facts import Moment, Situation
from apps.spraying.instead.adopting import plan_of
from apps.spraying.models import Job
from apps.spraying.rules import CheckFacts, MixLine, Worker, check
from apps.spraying.rules.ahead import nights_around
from apps.spraying.rules.alternatives import Change, Choices, OnShelf, Suggestion, WaysOut, ways_out
from apps.spraying.rules.openings import Mover, Tried, later_starts, tried_starts
from apps.weather.rules import sun_times
from farmops.errors import Finding, refusals
from farmops.units import Quantity

DAYS_AHEAD = 21
"""How far a later start is looked for among the ways out."""
MOST_EVENINGS = 120
SHORTEST = timedelta(hours=1)
"""A night that leaves less than this of a window is no evening to spray (project rule)."""


@dataclass(frozen=True, kw_only=True)
class RefusalAnswered:
    """One refusal of the job, on which blocks, and the changes that take it away; none = nothing known here does."""

    finding: Finding
    blocks: tuple[str, ...]
    changes: tuple[Change, ...]


@dataclass(frozen=True, kw_only=True)
class Instead:
    """Refusal by refusal what takes it away, and the complete ways out, fewest changes first."""

    ways: WaysOut
    by_refusal: tuple[RefusalAnswered, ...]
    blocks: tuple[str, ...]
    plans: tuple[dict[str, Any] | None, ...] = ()

    @property
    def offered(self) -> list[tuple[Suggestion, dict[str, Any] | None]]:
        """Each way out with the changes of the plan it asks for (``adopting.plan_of``)."""
        return list(zip(self.suggestions, self.plans, strict=True))

    @property
    def refused(self) -> bool:
        return self.ways.refused

    @property
    def nothing_helps(self) -> bool:
        return self.ways.nothing_helps

    @property
    def suggestions(self) -> tuple[Suggestion, ...]:
        return self.ways.suggestions


@dataclass(frozen=True, kw_only=True)
class FirstEvening:
    """The first evening the mix may go on all the blocks, and what stood against each evening before it."""

    opening: Tried | None
    tried: tuple[Tried, ...]
    blocks: tuple[str, ...]

    @property
    def starts_at(self) -> datetime | None:
        return self.opening.start_at if self.opening else None

    @property
    def ends_at(self) -> datetime | None:
        return self.opening.facts.end_at if self.opening else None


class Elsewhen:
    """The same job at other starts: each is worked out once for all its blocks."""

    def __init__(self, situation: Situation) -> None:
        self.situation = situation
        self._found: dict[datetime, dict[int, CheckFacts]] = {}

    def movers(self) -> list[Mover]:
        return [partial(self._block, row.pk) for row in self.situation.rows]

    def _block(self, row_id: int, start_at: datetime) -> CheckFacts:
        if start_at not in self._found:
            moment = Moment(start_at=start_at, end_at=self._end(start_at), now=self.situation.moment.now)
            self._found[start_at] = self.situation.facts(moment)
        return self._found[start_at][row_id]

    def _end(self, start_at: datetime) -> datetime:
        """As long a window as planned; one that begins in the dark ends with the night."""
        job, farm, zone = self.situation.job, self.situation.farm, self.situation.zone
        end_at = start_at + (job.window_ends_at - job.window_starts_at)
        day = start_at.astimezone(zone).date()
        for night in nights_around(float(farm.latitude), float(farm.longitude), day, zone):
            if night.starts_at <= start_at and start_at + SHORTEST <= night.ends_at < end_at:
                return night.ends_at
        return end_at

    def sunset_on(self, day: date) -> datetime | None:
        farm = self.situation.farm
        return sun_times(float(farm.latitude), float(farm.longitude), day, self.situation.zone).sunset_at


def instead_of(job: Job, now: datetime, *, days: int = DAYS_AHEAD) -> Instead:
    """What could be done instead of a job as it is planned. Nothing is written."""
    planned = checking.planned(job, now)
    staff = [m for m in people.members(job.farm).filter(active=True) if Role.APPLICATOR in m.roles]
    stocked = {row.product_id: row.product for row in stocks(job.farm) if row.on_hand > row.reserved}
    situation = Situation(job, planned, also=sorted(stocked), people=[m.person_id for m in staff])
    facts = situation.facts()
    blocks = [facts[row.pk] for row in situation.rows]
    names = tuple(str(row.block) for row in situation.rows)
    beside = _beside(situation)
    if not beside and not any(refusals(check(given)) for given in blocks):
        return Instead(ways=WaysOut(refused=False), by_refusal=(), blocks=names)
    elsewhen = Elsewhen(situation)
    last = situation.day(planned) + timedelta(days=days)
    choices = Choices(
        movers=elsewhen.movers(),
        starts=later_starts(max(job.window_starts_at, now), elsewhen.sunset_on, days, situation.zone),
        workers=_workers(situation, [m.person_id for m in staff], last),
        shed=_shelf(situation, stocked, blocks, last),
        acres=situation.acres,
        block_acres=[row.planned_acres for row in situation.rows],
    )
    ways = ways_out(blocks, choices)
    if beside:
        ways = WaysOut(refused=True, stuck=(*ways.stuck, *beside))
    plans = tuple(plan_of(way, job) for way in ways.suggestions)
    return Instead(ways=ways, by_refusal=_by_refusal(ways, blocks, names), blocks=names, plans=plans)


def _beside(situation: Situation) -> list[tuple[int, Finding]]:
    """A block no longer in use, a boom that failed its test: refusals that no change tried here answers."""
    sprayer = situation.sprayer(situation.day(situation.moment))
    return [
        (place, finding)
        for place, row in enumerate(situation.rows)
        for finding in refusals(checking.beside_the_check(row.block, sprayer))
    ]


def _workers(situation: Situation, person_ids: Sequence[int], last: date) -> list[Worker]:
    """Who else may be asked; somebody whose papers are suspended within the days looked at is not offered."""
    day, found = situation.day(situation.moment), []
    for person_id in person_ids:
        now, then = situation.worker(person_id, day), situation.worker(person_id, last)
        if person_id == situation.job.applicator_id or now is None or then is None:
            continue
        if [c.suspended for c in now.certificates] == [c.suspended for c in then.certificates]:
            found.append(now)
    return found


def _shelf(
    situation: Situation, stocked: dict[int, Product], blocks: Sequence[CheckFacts], last: date
) -> list[OnShelf]:
    """Products with something free whose checked label names every block's crop, each at its highest rate there."""
    day, found = situation.day(situation.moment), []
    for product_id, product in sorted(stocked.items(), key=lambda row: row[1].name):
        version = situation.version(product_id, day)
        if product.retired_at is not None or version is None or version.checked_at is None:
            continue
        if situation.version(product_id, last) != version:  # another label comes into force while we look ahead
            continue
        label = situation.labels.facts(version)
        rate = _highest_rate(label, situation.job.targets, blocks)
        if rate is not None:
            line = MixLine(
                product_id=product_id,
                name=product.name,
                rate=rate,
                label=label,
                label_ref=f"label version {version.number}",
                label_checked=True,
            )
            found.append(OnShelf(line=line, available=situation.have[product_id]))
    return found


def _highest_rate(label: Label, targets: Sequence[str], blocks: Sequence[CheckFacts]) -> Rate | None:
    """The highest rate that is within the label on every block; ``None`` where it does not name a crop."""
    uses = [use_on(label, facts.site_code, targets) or use_on(label, facts.site_code) for facts in blocks]
    named: list[LabelUse] = [use for use in uses if use is not None]
    alike = {(use.rate_unit, use.rate_basis) for use in named}
    if len(named) < len(blocks) or len(alike) != 1:
        return None
    highest: Decimal = min(use.rate_max for use in named)
    return Rate(quantity=Quantity(highest, named[0].rate_unit), basis=named[0].rate_basis)


def _by_refusal(ways: WaysOut, blocks: Sequence[CheckFacts], names: Sequence[str]) -> tuple[RefusalAnswered, ...]:
    """Each refusal once, with the blocks it holds on and the changes that answer it."""
    where: dict[tuple[str, str], list[int]] = {}
    said: dict[tuple[str, str], Finding] = {}
    everything = [(n, f) for n, facts in enumerate(blocks) for f in refusals(check(facts))]
    known = {(n, f.code, f.subject) for n, f in everything}
    everything += [(n, f) for n, f in ways.stuck if (n, f.code, f.subject) not in known]
    for place, finding in everything:
        key = (finding.code, finding.subject)
        said.setdefault(key, finding)
        where.setdefault(key, []).append(place)
    return tuple(
        RefusalAnswered(
            finding=finding,
            blocks=tuple(names[n] for n in dict.fromkeys(where[key])),
            changes=_answering(ways, finding.code),
        )
        for key, finding in said.items()
    )


def _answering(ways: WaysOut, code: str) -> tuple[Change, ...]:
    """The changes that hold a refusal off; where several do so together, all of the first way out."""
    found = [c for way in ways.suggestions for c in way.changes if code in c.answers]
    if not found and ways.suggestions:
        found = list(ways.suggestions[0].changes)
    return tuple({(c.turn, c.product_id, c.value): c for c in found}.values())


def first_evening(job: Job, now: datetime, *, days: int = DAYS_AHEAD) -> FirstEvening:
    """When is the first evening this mix may go on these blocks? From the planned day on, ``days`` sunsets."""
    situation = Situation(job, checking.planned(job, now))
    elsewhen = Elsewhen(situation)
    since = max(job.window_starts_at, now).astimezone(situation.zone).date()
    sunsets = [elsewhen.sunset_on(since + timedelta(days=n)) for n in range(days)]
    tried = tried_starts(elsewhen.movers(), [s for s in sunsets if s is not None and s > now])
    names = tuple(str(row.block) for row in situation.rows)
    opening = tried[-1] if tried and not tried[-1].refused and not _beside(situation) else None
    return FirstEvening(opening=opening, tried=tuple(tried), blocks=names)
