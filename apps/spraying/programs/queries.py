"""Reading season programs: rows to facts, and where each stands on each of its blocks.

One reading for any number of programs and blocks; the number of queries depends on neither, nor on the history.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import Prefetch, QuerySet

from apps.crops import counts
from apps.crops.models import ScoutCount
from apps.crops.queries import looks_at, planting_facts
from apps.crops.rules import EventKind, Look, PlantingFact, Seen
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import one
from apps.products.models import LabelVersion
from apps.products.queries import label_versions
from apps.products.rules import IntervalScope, Kind, phi_days
from apps.spraying.history import Labels, events_on, mix_line, planned_rate
from apps.spraying.models import Program, ProgramBlock, ProgramDecision, ProgramPass, ProgramProduct
from apps.spraying.programs import rules
from apps.spraying.programs.rules import Choice, Course, Decision, Ground, Pass, Rain, Spray, Start, StartKind, Tank
from apps.spraying.rules import Event, MixLine
from apps.spraying.rules.mix import Judged, judge_all
from apps.spraying.rules.saying import on_label
from apps.weather import queries as weather
from farmops import clock

RAIN_MATTERS = timedelta(days=60)
"""Rain this long ago asks nothing any more: the program has moved on (project rule)."""

COUNT_FRESH = timedelta(days=7)
"""A count older than a week proposes nothing any more (scouting is weekly: Purdue, Penn State, UConn)."""


def programs(farm: Farm) -> QuerySet[Program]:
    """The farm's programs that were not put away, by name, with blocks and mixes: five queries."""
    return every(farm).filter(put_away_at=None)


def every(farm: Farm) -> QuerySet[Program]:
    """Every program, those put away last."""
    blocks = ProgramBlock.objects.for_farm(farm).select_related("block").order_by("block__code", "pk")
    products = ProgramProduct.objects.for_farm(farm).select_related("product").order_by("position", "pk")
    mixes = ProgramPass.objects.for_farm(farm).order_by("position").prefetch_related(Prefetch("products", products))
    return (
        Program.objects.for_farm(farm)
        .select_related("crop", "created_by", "farm")
        .prefetch_related(Prefetch("program_blocks", blocks), Prefetch("passes", mixes))
        .order_by("name", "pk")
    )


def program(farm: Farm, program_id: int) -> Program:
    """One program, put away or not; ``Unknown`` for another farm's."""
    row: Program = one(every(farm).filter(pk=program_id))
    return row


def decisions(row: Program) -> QuerySet[ProgramDecision]:
    """What was decided, newest first."""
    found = ProgramDecision.objects.for_farm(row.farm).filter(program=row)
    return found.select_related("block", "decided_by").order_by("-decided_at", "-pk")


@dataclass(frozen=True, kw_only=True)
class Followed:
    """A program on one block: the facts and where it stands today."""

    program: Program
    facts: rules.Program
    block: Block
    ground: Ground
    planting: PlantingFact | None
    course: Course
    events: tuple[Event, ...]
    counts: tuple[ScoutCount, ...]
    """Counts of this planting that reached the threshold of a pest the program is aimed at, oldest first."""

    def open_count(self, today: date) -> ScoutCount | None:
        """The newest count of the last week that reached its threshold and that no spray, done or booked, followed."""
        fresh = [c for c in self.counts if today - COUNT_FRESH < c.looked_on]
        last = max(fresh, key=lambda c: (c.looked_on, c.pk), default=None)
        return None if last is None or any(s.on >= last.looked_on for s in self.ground.sprays) else last

    @property
    def stands(self) -> bool:
        """Whether the crop stands or is planned there."""
        return self.planting is not None


def followed(farm: Farm, now: datetime, rows: Iterable[Program] | None = None) -> list[Followed]:
    """Where every program (or each of ``rows``) stands on each of its blocks."""
    wanted = list(programs(farm) if rows is None else rows)
    if not wanted:
        return []
    return _Reading(farm, now, wanted).followed()


@dataclass
class Versions:
    """Label versions of some products, read once: which one is in force on a day (see ``products.queries``)."""

    farm: Farm
    product_ids: frozenset[int]
    labels: Labels = field(default_factory=Labels)

    @cached_property
    def _rows(self) -> dict[int, list[LabelVersion]]:
        found: dict[int, list[LabelVersion]] = defaultdict(list)
        usable = label_versions(self.farm).filter(
            product__in=self.product_ids, checked_at__isnull=False, withdrawn_at=None
        )
        for row in usable.order_by("effective_on", "number"):
            found[row.product_id].append(row)
        return found

    def on(self, product_id: int, day: date) -> LabelVersion | None:
        """The checked version in force on a day: the latest effective date, then number."""
        rows = [row for row in self._rows.get(product_id, []) if row.effective_on <= day]
        return rows[-1] if rows else None

    def lines(self, mix: ProgramPass, row: Program, day: date) -> tuple[MixLine, ...]:
        """A mix as the check reads it, by the labels in force on a day."""
        return tuple(
            mix_line(
                p,  # type: ignore[arg-type]
                version=self.on(p.product_id, day),
                rate=planned_rate(p),  # type: ignore[arg-type]
                labels=self.labels,
                targets=row.targets,
                site_code=row.crop.code,
            )
            for p in mix.products.all()
        )


def versions_for(farm: Farm, rows: Iterable[Program], labels: Labels | None = None) -> Versions:
    """The label versions of everything in the programs."""
    ids = frozenset(p.product_id for row in rows for mix in row.passes.all() for p in mix.products.all())
    return Versions(farm, ids, labels or Labels())


def facts_of(row: Program, versions: Versions, today: date) -> rules.Program:
    """A program row -> the facts the rules read, with the waits of its mixes by the labels in force today."""
    return rules.Program(
        site_code=row.crop.code,
        targets=frozenset(row.targets),
        start=Start(
            kind=StartKind(row.start_kind),
            on=row.start_on,
            days=row.start_days,
            stage=row.start_stage,
            threshold=row.start_threshold,
            reckoned_on=row.reckoned_on,
        ),
        from_days=row.from_days,
        to_days=row.to_days,
        last_on=row.last_on,
        passes=tuple(_pass(mix, row, versions, today) for mix in row.passes.all()),
        repeats=row.repeats,
        rain_inches=row.rain_inches,
        stop_days=row.stop_days,
        set_up_on=row.set_up_on,
    )


def _pass(mix: ProgramPass, row: Program, versions: Versions, today: date) -> Pass:
    judged = judge_all(versions.lines(mix, row, today), row.crop.code, row.spray_gpa)
    waits = [phi_days(j.use, j.rate_amount) for j in judged]
    known = [days for days in waits if days is not None]
    return Pass(
        products=frozenset(p.product_id for p in mix.products.all()),
        phi_days=max(known) if known and len(known) == len(waits) else None,
        tank=_tank(judged),
    )


def _tank(judged: Sequence[Judged]) -> Tank:
    """What the labels in a tank count days between sprays by: the product, or its ingredients where one says so."""
    holds, waits = set(), {}
    for j in judged:
        names = [f"product {j.line.product_id}"]
        holds |= {*names, *j.label.ingredient_names}
        if j.use.interval_scope is IntervalScope.INGREDIENT:
            names += sorted(j.label.ingredient_names)
        waits |= {name: max(waits.get(name, 0), j.use.min_interval_days or 0) for name in names}
    return Tank(holds=frozenset(holds), waits=waits)


class _Reading:
    """Everything around the programs of a farm, each part read once."""

    def __init__(self, farm: Farm, now: datetime, rows: Sequence[Program]) -> None:
        self.farm, self.now, self.rows = farm, now, rows
        self.today = clock.to_local(now, farm.time_zone).date()
        self.blocks: dict[int, Block] = {}
        for row in rows:
            for line in row.program_blocks.all():
                self.blocks.setdefault(line.block_id, line.block)

    def followed(self) -> list[Followed]:
        blocks = list(self.blocks.values())
        self.planted, self.looks = planting_facts(blocks), looks_at(blocks)
        self.counted = counts.reached(self.farm, self.blocks)
        self.rain = weather.rain_since(self.farm, self.now - RAIN_MATTERS)
        self.decided = self._decisions()
        versions = versions_for(self.farm, self.rows)
        self.events = events_on(self.farm, self.blocks, labels=versions.labels, since=self._since())
        found = []
        for row in self.rows:
            facts = facts_of(row, versions, self.today)
            found += [self._one(row, facts, line.block) for line in row.program_blocks.all()]
        return found

    def _since(self) -> datetime:
        """Sprays before the first planting that any program may follow are none of its."""
        starts = [p.starts_on for row in self.rows for p in self._plantings(row)]
        first = min(starts, default=self.today) - timedelta(days=1)
        return datetime.combine(first, time(), tzinfo=clock.zone(self.farm.time_zone))

    def _plantings(self, row: Program) -> list[PlantingFact]:
        found = (planting_of(row, self.planted[line.block_id], self.today) for line in row.program_blocks.all())
        return [planting for planting in found if planting is not None]

    def _decisions(self) -> dict[tuple[int, int], list[Decision]]:
        found: dict[tuple[int, int], list[Decision]] = defaultdict(list)
        rows = ProgramDecision.objects.for_farm(self.farm).filter(program__in=[row.pk for row in self.rows])
        for d in rows.select_related("decided_by").order_by("decided_at", "pk"):
            found[(d.program_id, d.block_id)].append(
                Decision(
                    choice=Choice(d.choice),
                    on=d.decided_on,
                    at=d.decided_at,
                    by=d.decided_by.full_name,
                    reason=d.reason,
                )
            )
        return found

    def _one(self, row: Program, facts: rules.Program, block: Block) -> Followed:
        planting = planting_of(row, self.planted[block.pk], self.today)
        events = self.events.get(block.pk, ())
        counted = tuple(
            c for c in self.counted.get(block.pk, []) if planting is not None and _about(c, planting, facts.last_on)
        )
        ground = Ground(
            **_crop(planting, self.looks[block.pk]),
            reached=tuple((c.looked_on, c.threshold_code) for c in counted),
            sprays=tuple(as_spray(e) for e in events if counts_for(facts, e)),
            rains=tuple(_rain(r, block) for r in self.rain if r.block_id in (None, block.pk)),
            decisions=tuple(self.decided[(row.pk, block.pk)]),
        )
        return Followed(
            program=row,
            facts=facts,
            block=block,
            ground=ground,
            planting=planting,
            course=rules.follow(facts, ground, self.today),
            events=events,
            counts=tuple(c for c in counted if c.pest in facts.targets),
        )


def planting_of(row: Program, planted: Iterable[PlantingFact], today: date) -> PlantingFact | None:
    """The planting a program follows on a block: the last of its crop that has begun, else the next that will.

    One that ended before the program was set up, or begins after its last day, is none of its.
    """
    mine = [
        p
        for p in planted
        if p.crop_code == row.crop.code
        and p.starts_on <= row.last_on
        and (p.ended_on is None or p.ended_on >= row.set_up_on)
    ]
    begun = [p for p in mine if p.starts_on <= today]
    if begun:
        return max(begun, key=lambda p: (p.starts_on, p.id))
    return min(mine, key=lambda p: (p.starts_on, p.id), default=None)


def _about(row: ScoutCount, planting: PlantingFact, last_on: date) -> bool:
    """Whether a count was made on this planting, while it stood, and is not held by a seed treatment."""
    if row.planting_id not in (None, planting.id) or not planting.starts_on <= row.looked_on <= last_on:
        return False
    held = counts.held_until(counts.from_json(row.rule), planting)
    return held is None or row.looked_on > held


def _crop(planting: PlantingFact | None, looks: Sequence[Look]) -> dict[str, Any]:
    if planting is None:
        return {}
    about = [look for look in looks if look.is_about(planting)]
    bloom = [e.on for e in planting.events if e.kind is EventKind.BLOOM_START]
    bloom += [look.on for look in about if look.crop_in_bloom is Seen.YES]
    return {
        "planted_on": planting.starts_on,
        "bloom_seen_on": min(bloom, default=None),
        "bloom_expected_on": planting.first_flower_on,
        "stages": tuple((look.on, code) for look in about for code in _codes(look)),
        "mature_on": _mature(about),
        "ended_on": planting.ended_on,
        "harvest_from": planting.harvest_from,
        "harvest_to": planting.harvest_to,
    }


def _codes(look: Look) -> list[str]:
    """The stages a look named: Zadoks, and by name or BBCH."""
    zadoks = [] if look.stage is None else [f"z{look.stage}"]
    return [*zadoks, *([look.stage_code] if look.stage_code else [])]


def _mature(looks: Iterable[Look]) -> date | None:
    """The day of the last look at the fruit, if it found all of it ripe."""
    seen = [look for look in looks if look.all_mature is not Seen.NOT_LOOKED]
    last = max(seen, key=lambda look: look.on, default=None)
    return last.on if last is not None and last.all_mature is Seen.YES else None


def counts_for(facts: rules.Program, event: Event) -> bool:
    """Whether a spray is one of the program's: on its crop, against its target or with a product of its mixes."""
    if event.site_code != facts.site_code:
        return False
    mine = {product for mix in facts.passes for product in mix.products}
    aimed = {target for line in event.lines for target in line.targets}
    return bool(aimed & facts.targets) or bool(event.product_ids & mine)


def as_spray(event: Event) -> Spray:
    """An event of the history -> the fact the program reads."""
    rain_free = [
        (line.label.rain_free_hours, on_label(line, "rain_free_hours", "hours without rain"))
        for line in event.lines
        if line.label is not None and line.label.rain_free_hours
    ]
    hours, source = max(rain_free, default=(None, ""), key=lambda row: row[0] or Decimal(0))
    assert event.ends_at is not None, "every event of the history has an end"
    return Spray(
        on=event.on_date,
        ended_at=event.ends_at,
        products=frozenset(int(p) for p in event.product_ids),
        job_ref=event.job_ref,
        done=event.done,
        protectant=any(g.multisite for line in event.lines if line.label for g in line.label.groups),
        rain_free_hours=hours,
        rain_free_source=source,
        tank=_tank(event.judged),
    )


def _rain(row: weather.Rainfall, block: Block) -> Rain:
    return Rain(
        from_at=row.from_at,
        until_at=row.until_at,
        inches=row.inches,
        recorded_at=row.recorded_at,
        own=row.block_id == block.pk,
    )


def fungicide_in(row: Program) -> bool:
    """Whether the program is (also) a disease program."""
    return any(p.product.kind == Kind.FUNGICIDE.value for mix in row.passes.all() for p in mix.products.all())


def diseases_followed(found: Iterable[Followed]) -> set[int]:
    """Ids of blocks whose disease sprays a program counts: the plain interval reminder leaves these to it."""
    return {f.block.pk for f in found if f.stands and fungicide_in(f.program) and (f.course.begun or f.course.end)}


def mix_of(row: Program, pass_no: int) -> ProgramPass | None:
    """The mix of the ``pass_no``-th pass."""
    mixes = list(row.passes.all())
    if not mixes or (pass_no > len(mixes) and not row.repeats):
        return None
    return mixes[(pass_no - 1) % len(mixes)]


def amounts(found: Sequence[Followed]) -> Mapping[int, list[tuple[ProgramProduct, Decimal]]]:
    """program id -> (product line, acres) for every pass still to come on every block that is not booked yet."""
    needed: dict[int, list[tuple[ProgramProduct, Decimal]]] = defaultdict(list)
    for f in found:
        for window in f.course.unbooked:
            mix = mix_of(f.program, window.pass_no)
            needed[f.program.pk] += [(p, f.block.planted_acres) for p in (mix.products.all() if mix else ())]
    return needed
