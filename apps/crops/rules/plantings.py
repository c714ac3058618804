"""Plantings on one block: what they are, when they live, and how they follow each other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from farmops.errors import BadInput, Finding, Severity, gettext_noop

RULE = gettext_noop("project rule")
EARLIEST, LATEST = date(1990, 1, 1), date(2099, 12, 31)


class Purpose(StrEnum):
    """Grown for sale or harvest, or to cover the ground."""

    CASH = "cash"
    COVER = "cover"


class StartedAs(StrEnum):
    """Sown as seed, or set out as young plants, which flower sooner."""

    SEED = "seed"
    TRANSPLANT = "transplant"


class EventKind(StrEnum):
    """What can happen to a planting and is written down with its day."""

    SOWN = "sown"
    EMERGED = "emerged"
    BLOOM_START = "bloom_start"
    BLOOM_END = "bloom_end"
    TERMINATED = "terminated"
    HARVEST_START = "harvest_start"
    HARVEST_END = "harvest_end"


EVENT_NAMES: dict[EventKind, str] = {
    EventKind.SOWN: gettext_noop("Sown"),
    EventKind.EMERGED: gettext_noop("Emerged"),
    EventKind.BLOOM_START: gettext_noop("Bloom started"),
    EventKind.BLOOM_END: gettext_noop("Bloom over"),
    EventKind.TERMINATED: gettext_noop("Terminated"),
    EventKind.HARVEST_START: gettext_noop("Harvest started"),
    EventKind.HARVEST_END: gettext_noop("Harvest over"),
}
REPEATED = frozenset({EventKind.BLOOM_START, EventKind.BLOOM_END})  # flowers can come back after mowing
HARVESTS = frozenset({EventKind.HARVEST_START, EventKind.HARVEST_END})
OPENED_BY = {EventKind.BLOOM_END: EventKind.BLOOM_START, EventKind.HARVEST_END: EventKind.HARVEST_START}


@dataclass(frozen=True, kw_only=True)
class Event:
    """One thing that happened on a day (farm-local date)."""

    kind: EventKind
    on: date


@dataclass(frozen=True, kw_only=True)
class PlantingFact:
    """One planting as planned and as it went. All dates are farm-local."""

    id: int
    crop_code: str
    crop_name: str
    variety_name: str = ""
    purpose: Purpose
    started_as: StartedAs = StartedAs.SEED
    planned_on: date
    first_flower_on: date | None = None  # the earliest day flowers are expected; None = nobody said
    terminate_planned_on: date | None = None
    harvest_from: date | None = None  # expected
    harvest_to: date | None = None
    events: tuple[Event, ...] = ()

    def happened(self, kind: EventKind) -> date | None:
        """The latest day ``kind`` was recorded for, or ``None``."""
        return max((e.on for e in self.events if e.kind is kind), default=None)

    @property
    def sown_on(self) -> date | None:
        """The recorded sowing or setting-out day."""
        return self.happened(EventKind.SOWN)

    @property
    def starts_on(self) -> date:
        """The recorded sowing day, else the planned one."""
        return self.sown_on or self.planned_on

    @property
    def ended_on(self) -> date | None:
        """The recorded last day: terminated, or harvested to the end."""
        ends = (self.happened(EventKind.TERMINATED), self.happened(EventKind.HARVEST_END))
        return min((on for on in ends if on), default=None)

    @property
    def expected_end_on(self) -> date | None:
        """The recorded end, else the last planned day, else ``None``: nobody said."""
        if self.ended_on:
            return self.ended_on
        return max((on for on in (self.harvest_to, self.terminate_planned_on) if on), default=None)

    def lives_on(self, day: date, *, today: date | None = None) -> bool:
        """Whether it stands in the ground on ``day``, its first and last day included.

        Only a recorded end counts, because ground that should be bare by plan may still be green.
        With ``today`` a planned termination still ahead of ``today`` is believed, and a sowing that
        should have happened before ``today`` but was never recorded is not.
        """
        if day < self.starts_on or (self.ended_on is not None and day > self.ended_on):
            return False
        if today is None:
            return True
        if self.sown_on is None and self.planned_on < today:
            return False
        planned_end = self.terminate_planned_on
        return not (planned_end is not None and today <= planned_end < day)


@dataclass(frozen=True, kw_only=True)
class Step:
    """One link of a block's sequence, e.g. rye cover, sown 20 Sep, ended 12 May."""

    planting_id: int
    crop_name: str
    variety_name: str
    purpose: Purpose
    starts_on: date
    sown: bool  # False: only planned
    ends_on: date | None
    ended: bool  # False: only expected


def sequence(plantings: Iterable[PlantingFact]) -> tuple[Step, ...]:
    """What stood, stands and shall stand on a block, in order: cover crop -> cash crop on one line."""
    ordered = sorted(plantings, key=lambda p: (p.starts_on, p.purpose is Purpose.CASH, p.id))
    return tuple(
        Step(
            planting_id=p.id,
            crop_name=p.crop_name,
            variety_name=p.variety_name,
            purpose=p.purpose,
            starts_on=p.starts_on,
            sown=p.sown_on is not None,
            ends_on=p.expected_end_on,
            ended=p.ended_on is not None,
        )
        for p in ordered
    )


def first_flower(
    stated: date | None, *, planned_on: date, starts_on: date, started_as: StartedAs, crop_days: int | None
) -> date | None:
    """The earliest day flowers are expected: as stated, else counted from sowing; ``None`` = nobody said.

    Sown earlier than planned, a stated day comes forward by as much; sown later, it stays. The crop's
    days run from seed; a transplant is older than its planting day, so they tell nothing of it.
    """
    if stated is not None:
        return stated - max(planned_on - starts_on, timedelta(0))
    if crop_days is None or started_as is StartedAs.TRANSPLANT:
        return None
    return starts_on + timedelta(days=crop_days)


def harvest_window(planting: PlantingFact) -> tuple[date | None, date | None]:
    """First and last harvest day: what was recorded, else what is expected, else ``None``."""
    return (
        planting.happened(EventKind.HARVEST_START) or planting.harvest_from,
        planting.happened(EventKind.HARVEST_END) or planting.harvest_to,
    )


def check_plan(planting: PlantingFact) -> None:
    """The planned dates make sense together, or ``BadInput`` that names each that does not."""
    errors: dict[str, str] = {}
    stated = {
        "planned_on": planting.planned_on,
        "first_flower_on": planting.first_flower_on,
        "terminate_planned_on": planting.terminate_planned_on,
        "harvest_from": planting.harvest_from,
        "harvest_to": planting.harvest_to,
    }
    for name, on in stated.items():
        if on is None:
            continue
        if not EARLIEST <= on <= LATEST:
            errors[name] = gettext_noop("Date must be between 1990 and 2099.")
        elif name != "planned_on" and on <= planting.planned_on:
            errors[name] = gettext_noop("Must be after the sowing date.")
    first, last = planting.harvest_from, planting.harvest_to
    if last and not first:
        errors.setdefault("harvest_from", gettext_noop("Enter the first harvest day too."))
    if first and last and last < first:
        errors.setdefault("harvest_to", gettext_noop("The last harvest day must not be before the first."))
    if planting.purpose is Purpose.COVER and (first or last):
        errors["harvest_from"] = gettext_noop(
            "A cover crop is not harvested. If it will be cut for grain, straw or feed, make it a cash crop."
        )
    if errors:
        raise BadInput(errors)


def block_taken(planting: PlantingFact, others: Iterable[PlantingFact]) -> list[Finding]:
    """Refusals when another cash crop stands on the block in the same days.

    A block is one site to every label, so it has one cash crop at a time; two crops side by side
    are two blocks. A cover crop may stand before, under or after.
    """
    if planting.purpose is Purpose.COVER:
        return []
    taken = [
        other
        for other in others
        if other.id != planting.id and other.purpose is Purpose.CASH and _days_shared(planting, other)
    ]
    return [
        Finding(
            code="block_taken",
            severity=Severity.REFUSE,
            template=gettext_noop(
                "{crop} has this block from {start} to {end} and would share days with {new}. A block carries one "
                "cash crop at a time: give the earlier one an end (harvest or termination), or make a second block."
            ),
            numbers={
                "crop": other.crop_name,
                "start": other.starts_on.isoformat(),
                "end": other.expected_end_on.isoformat() if other.expected_end_on else "?",
                "new": planting.crop_name,
            },
            source=RULE,
            field="planned_on",
        )
        for other in taken
    ]


def _days_shared(one: PlantingFact, other: PlantingFact) -> bool:
    """Both stand on at least one whole day; handing over on the same day is no clash."""
    one_end = one.expected_end_on or LATEST
    other_end = other.expected_end_on or LATEST
    return one.starts_on < other_end and other.starts_on < one_end


def check_event(planting: PlantingFact, kind: EventKind, on: date, *, today: date) -> list[Finding]:
    """Everything that speaks against recording ``kind`` on ``on``; a day still to come is ``BadInput``."""
    if on > today:
        raise BadInput({"on": gettext_noop("The day must be today or earlier.")})
    if on < EARLIEST:
        raise BadInput({"on": gettext_noop("Date must be between 1990 and 2099.")})
    if planting.purpose is Purpose.COVER and kind in HARVESTS:
        return [
            _against("cover_not_harvested", gettext_noop("A cover crop is not harvested. Change its purpose first."))
        ]
    if kind is not EventKind.SOWN and planting.sown_on is None:
        return [_against("not_sown", gettext_noop("Record the sowing first."))]
    found = [*_order(planting, kind, on), *_ends(planting, kind, on)]
    again = planting.happened(kind)
    if again is not None and kind not in REPEATED:
        template = gettext_noop("Already recorded for {on}. Withdraw that entry first if it is wrong.")
        found.append(_against("event_twice", template, on=again.isoformat()))
    return found


def _order(planting: PlantingFact, kind: EventKind, on: date) -> Iterable[Finding]:
    """Nothing before the sowing, and no end before its start."""
    if kind is EventKind.SOWN:
        return
    sown = planting.sown_on
    if sown is not None and on < sown:
        yield _against("before_sowing", gettext_noop("Sown on {sown}; this cannot be earlier."), sown=sown.isoformat())
    started = planting.happened(OPENED_BY[kind]) if kind in OPENED_BY else None
    if started is not None and on < started:
        yield _against(
            "end_before_start", gettext_noop("Started on {start}; it cannot end earlier."), start=started.isoformat()
        )


def _ends(planting: PlantingFact, kind: EventKind, on: date) -> Iterable[Finding]:
    """Nothing after the end, and no end before what already happened."""
    dead = planting.happened(EventKind.TERMINATED)
    if dead is not None and on > dead:
        yield _against(
            "after_termination", gettext_noop("Terminated on {on}; nothing can follow."), on=dead.isoformat()
        )
    if kind is EventKind.TERMINATED:
        last = max(e.on for e in planting.events)  # it was sown, else nobody asks
        if on < last:
            template = gettext_noop("Something was recorded for {on}; it cannot have been terminated earlier.")
            yield _against("terminated_too_early", template, on=last.isoformat())


def _against(code: str, template: str, **numbers: str) -> Finding:
    return Finding(code=code, severity=Severity.REFUSE, template=template, numbers=numbers, source=RULE, field="on")
