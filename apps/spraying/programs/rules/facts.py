"""What a season spray program is, and what is known of a block that follows it. Days are farm-local."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from farmops.errors import gettext_noop

HEAVY_RAIN_IN = Decimal(1)
"""Inches within a day after a spray that ask for a decision: common practice, no source. A farm may set its own."""

STOP_DAYS = 7
"""Last days before harvest in which a spray seldom pays: Michigan State University, "Pumpkin management in the final
stretch" (keep going until 7 to 10 days before harvest). A farm may set its own, or none."""

HORIZON = 60
"""No program has more passes than this (project rule)."""


class StartKind(StrEnum):
    """What a program begins with."""

    DATE = "date"
    DAYS_AFTER_PLANTING = "days_after_planting"
    FIRST_BLOOM = "first_bloom"
    GROWTH_STAGE = "growth_stage"
    THRESHOLD = "threshold"


START_NAMES: dict[StartKind, str] = {
    StartKind.DATE: gettext_noop("On a day"),
    StartKind.DAYS_AFTER_PLANTING: gettext_noop("Days after planting"),
    StartKind.FIRST_BLOOM: gettext_noop("Days after the first bloom"),
    StartKind.GROWTH_STAGE: gettext_noop("Days after a growth stage"),
    StartKind.THRESHOLD: gettext_noop("When scouting reaches a threshold"),
}


class Choice(StrEnum):
    """What somebody decided about a program on one block."""

    START = "start"
    CONTINUE = "continue"
    RESPRAY = "respray"
    SKIP = "skip"
    END = "end"
    RESUME = "resume"


CHOICE_NAMES: dict[Choice, str] = {
    Choice.START: gettext_noop("Start the program now"),
    Choice.CONTINUE: gettext_noop("Continue: the rain changes nothing"),
    Choice.RESPRAY: gettext_noop("Respray because of the rain"),
    Choice.SKIP: gettext_noop("Skip this window"),
    Choice.END: gettext_noop("End the program on this block"),
    Choice.RESUME: gettext_noop("Go on: the crop still pays for it"),
}


class EndReason(StrEnum):
    """Why no further window opens."""

    ALL_DONE = "all_done"
    LAST_DAY = "last_day"
    CROP_ENDED = "crop_ended"
    NO_ROOM = "no_room"
    NOT_PAYING = "not_paying"
    DECIDED = "decided"


END_NAMES: dict[EndReason, str] = {
    EndReason.ALL_DONE: gettext_noop("Every pass is done."),
    EndReason.LAST_DAY: gettext_noop("The program's last day is past."),
    EndReason.CROP_ENDED: gettext_noop("The crop has ended."),
    EndReason.NO_ROOM: gettext_noop("The days before harvest leave no room for the next pass."),
    EndReason.NOT_PAYING: gettext_noop("The crop no longer pays for a spray: harvest is near, or all fruit is ripe."),
    EndReason.DECIDED: gettext_noop("It was decided."),
}


@dataclass(frozen=True, kw_only=True)
class Start:
    """The trigger. ``days`` are counted from planting, bloom or stage. ``reckoned_on``: the day the program is laid
    over the calendar from while a trigger that no calendar knows has not come."""

    kind: StartKind
    on: date | None = None
    days: int = 0
    stage: str = ""
    threshold: str = ""
    reckoned_on: date | None = None


@dataclass(frozen=True, kw_only=True)
class Tank:
    """What labels count days between sprays by: the products and ingredients a tank ``holds``, and for each of them
    the days its label asks for before the next (``waits``)."""

    holds: frozenset[str] = frozenset()
    waits: Mapping[str, int] = field(default_factory=dict)

    def days_to(self, other: Tank) -> int:
        """The days labels ask for between this tank and another: those of what both hold, either side asking."""
        asked = [days for what, days in self.waits.items() if what in other.holds]
        asked += [days for what, days in other.waits.items() if what in self.holds]
        return max(asked, default=0)

    def beside(self, other: Tank) -> Tank:
        """Both tanks as one, the longer waits counting."""
        names = self.waits.keys() | other.waits.keys()
        waits = {name: max(self.waits.get(name, 0), other.waits.get(name, 0)) for name in names}
        return Tank(holds=self.holds | other.holds, waits=waits)


@dataclass(frozen=True, kw_only=True)
class Pass:
    """One mix of the sequence. ``phi_days``: the longest days before harvest in the tank (``None`` = not known, which
    is never zero). ``tank``: what its labels count by."""

    products: frozenset[int]
    phi_days: int | None = None
    tank: Tank = Tank()


@dataclass(frozen=True, kw_only=True)
class Program:
    """A season program: ``from_days`` to ``to_days`` after each spray the next is due, up to ``last_on``.

    ``set_up_on``: the day it was written down; a trigger that came before opens the first window on that day.
    """

    site_code: str
    targets: frozenset[str]
    start: Start
    from_days: int
    to_days: int
    last_on: date
    passes: tuple[Pass, ...]
    repeats: bool = False
    rain_inches: Decimal = HEAVY_RAIN_IN
    stop_days: int | None = STOP_DAYS
    set_up_on: date | None = None

    @property
    def slack(self) -> int:
        """Days between the opening and the closing of a window that no spray stands before."""
        return self.to_days - self.from_days

    def mix(self, pass_no: int) -> Pass | None:
        """The mix of the ``pass_no``-th pass, counted from 1; ``None`` when the sequence is over."""
        if not self.passes or pass_no > HORIZON or (pass_no > len(self.passes) and not self.repeats):
            return None
        return self.passes[(pass_no - 1) % len(self.passes)]

    def wait_before(self, pass_no: int) -> int:
        """Days from one planned pass to the next: the interval, or what the labels of the two mixes ask for."""
        one, other = self.mix(pass_no - 1), self.mix(pass_no)
        return max(self.from_days, one.tank.days_to(other.tank) if one and other else 0)


@dataclass(frozen=True, kw_only=True)
class Spray:
    """A spray that counts for the program, done or booked. ``protectant``: a multi-site product was in the tank.
    ``rain_free_hours``: the longest that a label in the tank asks for."""

    on: date
    ended_at: datetime
    products: frozenset[int]
    job_ref: str = ""
    done: bool = True
    protectant: bool = False
    rain_free_hours: Decimal | None = None
    rain_free_source: str = ""
    tank: Tank = Tank()


@dataclass(frozen=True, kw_only=True)
class Rain:
    """Inches a gauge caught between two instants; nobody knows when in between."""

    from_at: datetime
    until_at: datetime
    inches: Decimal
    recorded_at: datetime
    own: bool = False  # the block's own gauge, not the farm's


@dataclass(frozen=True, kw_only=True)
class Decision:
    """What somebody decided for the block, and when."""

    choice: Choice
    on: date
    at: datetime
    by: str = ""
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Ground:
    """One block that follows the program: its crop, what was seen, sprayed, rained and decided.

    ``planted_on`` ``None`` = the crop does not stand and is not planned there. ``ended_on``: recorded end of the crop.
    ``stages``: day and stage code of each look (``first_flower``, ``z37``, ``b61``). ``mature_on``: the
    day of the last look at the fruit, if it found all of it ripe.
    """

    planted_on: date | None = None
    bloom_seen_on: date | None = None
    bloom_expected_on: date | None = None
    stages: tuple[tuple[date, str], ...] = ()
    reached: tuple[tuple[date, str], ...] = ()
    ended_on: date | None = None
    mature_on: date | None = None
    harvest_from: date | None = None
    harvest_to: date | None = None
    sprays: tuple[Spray, ...] = ()
    rains: tuple[Rain, ...] = ()
    decisions: tuple[Decision, ...] = ()
