"""A program followed on one block: its windows one after the other, moved by what was really done.

The walk takes sprays and decisions in the order of their days. A window that closes without a spray is *missed*: it
stays in the list for good, and the pass is due again from the next day, for as many days as the program's longest
interval. A spray before a window opens is still that pass. Nothing is ever guessed: a program whose trigger has not
come has no window.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from apps.spraying.programs.rules.facts import (
    Choice,
    Decision,
    EndReason,
    Ground,
    Program,
    Spray,
)
from apps.spraying.programs.rules.raining import Ask, asks
from apps.spraying.programs.rules.starting import reckoned_day, trigger_day
from apps.spraying.rules.interval import Phase
from farmops.errors import gettext_noop


class State(StrEnum):
    """What became of a window."""

    AHEAD = "ahead"
    DONE = "done"
    MISSED = "missed"
    SKIPPED = "skipped"


STATE_NAMES: dict[State, str] = {
    State.AHEAD: gettext_noop("Ahead"),
    State.DONE: gettext_noop("Sprayed"),
    State.MISSED: gettext_noop("Missed"),
    State.SKIPPED: gettext_noop("Skipped"),
}


@dataclass(frozen=True, kw_only=True)
class Window:
    """From the first through the last day for one pass.

    ``again`` = the pass was missed before and is overdue. ``cut`` = why it closes earlier than the interval says.
    ``other_mix`` = sprayed with other products than the program has for this pass. ``reckoned`` = laid from an
    expected day, not from one that came.
    """

    pass_no: int
    opens_on: date
    closes_on: date
    state: State = State.AHEAD
    spray: Spray | None = None
    decision: Decision | None = None
    again: bool = False
    respray: bool = False
    other_mix: bool = False
    cut: EndReason | None = None
    reckoned: bool = False

    def phase(self, today: date) -> Phase | None:
        """``None`` before it opens or once it is over; closing on its last day and the day before."""
        if self.state is not State.AHEAD or today > self.closes_on or today < self.opens_on:
            return None
        return Phase.CLOSING if today >= self.closes_on - timedelta(days=1) else Phase.OPEN


@dataclass(frozen=True, kw_only=True)
class End:
    """Why no further window opens, from which day on, and who decided if somebody did."""

    reason: EndReason
    on: date
    decision: Decision | None = None


@dataclass(frozen=True, kw_only=True)
class Course:
    """Where the program stands on a block: windows behind, the next one, those to come, questions, the end."""

    behind: tuple[Window, ...]
    next: Window | None
    ahead: tuple[Window, ...]
    end: End | None
    asks: tuple[Ask, ...]
    booked: tuple[Spray, ...]

    @property
    def begun(self) -> bool:
        return bool(self.behind) or (self.next is not None and not self.next.reckoned)

    @property
    def open_asks(self) -> tuple[Ask, ...]:
        return tuple(ask for ask in self.asks if ask.answered is None)

    @property
    def missed(self) -> tuple[Window, ...]:
        return tuple(w for w in self.behind if w.state is State.MISSED)

    @property
    def booked_on(self) -> date | None:
        """The first day from now on for which a spray of the program is booked."""
        return min(self.booked_days, default=None)

    @property
    def booked_days(self) -> tuple[date, ...]:
        """The days from now on for which sprays of the program are booked."""
        return tuple(sorted({s.on for s in self.booked}))

    @property
    def unbooked(self) -> tuple[Window, ...]:
        """Windows to come that no booked spray stands for."""
        return self.planned[len(self.booked_days) :]

    @property
    def planned(self) -> tuple[Window, ...]:
        """Every window that is still to come, the next one first."""
        return ((self.next,) if self.next else ()) + self.ahead


def follow(program: Program, ground: Ground, today: date) -> Course:
    """Walk the program over the block up to ``today`` and lay what is left of it over the days to come.

    A program that has no pass yet has no window.
    """
    if not program.passes:
        return Course(behind=(), next=None, ahead=(), end=None, asks=(), booked=())
    return _Walk(program, ground, today).course()


class _Walk:
    """The state of the walk: the windows behind, the one that waits, and why there is none."""

    def __init__(self, program: Program, ground: Ground, today: date) -> None:
        self.program, self.ground, self.today = program, ground, today
        self.behind: list[Window] = []
        self.waiting: Window | None = None
        self.parked: Window | None = None
        self.end: End | None = None
        self.last: Window | None = None
        self.still_pays = False
        days: dict[date, Spray] = {}
        for spray in sorted(ground.sprays, key=lambda s: s.ended_at):
            if spray.done and spray.on <= today and self._of_this_crop(spray.on):
                days[spray.on] = _one_day(days.get(spray.on), spray)
        self.sprays = tuple(days.values())

    def _of_this_crop(self, day: date) -> bool:
        planted = self.ground.planted_on
        return planted is not None and day >= planted

    def course(self) -> Course:
        for day, move in self._moves():
            self._roll(day)
            if isinstance(move, Spray):
                self._sprayed(move)
            elif isinstance(move, Decision):
                self._decided(move)
            elif self.waiting is None and not self.behind and self.end is None:
                self._await(self._first(day))
        self._roll(self.today)
        if not self.behind and self.waiting is None and self.end is None and self.today > self.program.last_on:
            self.end = End(reason=EndReason.LAST_DAY, on=self.program.last_on)
        booked = tuple(s for s in self.ground.sprays if not s.done and s.on >= self.today)
        waiting = self.waiting or self._reckoned()
        asked = asks(self.program, self.sprays[-1], self.ground.rains, self.ground.decisions) if self.sprays else ()
        return Course(
            behind=tuple(self.behind),
            next=waiting,
            ahead=tuple(self._ahead(waiting)),
            end=self.end,
            asks=asked,
            booked=booked,
        )

    def _moves(self) -> list[tuple[date, Spray | Decision | None]]:
        """Day by day: the trigger first, then sprays and decisions in the order of their instants."""
        decisions = [d for d in self.ground.decisions if d.on <= self.today and self._of_this_crop(d.on)]
        rows: list[tuple[date, float, Spray | Decision | None]] = [(d.on, d.at.timestamp(), d) for d in decisions]
        rows += [(s.on, s.ended_at.timestamp(), s) for s in self.sprays]
        if (trigger := self._trigger()) is not None:
            rows.append((trigger, float("-inf"), None))
        return [(day, move) for day, _, move in sorted(rows, key=lambda row: row[:2])]

    def _trigger(self) -> date | None:
        day = trigger_day(self.program.start, self.ground)
        return day if day is None else max(day, self.program.set_up_on or day)

    # ---- time passes -------------------------------------------------------------------

    def _roll(self, day: date) -> None:
        """Everything that closed before ``day`` without a spray is missed, and the pass is due again."""
        while self.waiting is not None and self.waiting.closes_on < day:
            gone = self.waiting
            self.behind.append(replace(gone, state=State.MISSED))
            opens_on = gone.closes_on + timedelta(days=1)
            self._await(
                Window(
                    pass_no=gone.pass_no,
                    opens_on=opens_on,
                    closes_on=gone.closes_on + timedelta(days=max(self.program.to_days, 1)),
                    again=True,
                    respray=gone.respray,
                )
            )

    def _await(self, window: Window) -> None:
        """Wait for this window, cut to what the crop leaves; past that the program has ended."""
        mix = self.program.mix(window.pass_no)
        if mix is None:
            self.waiting, self.end = None, End(reason=EndReason.ALL_DONE, on=window.opens_on)
            return
        cut, reason = self._limit(window)
        if cut is not None and cut < window.opens_on:
            self.waiting, self.parked = None, window
            self.end = End(reason=reason or EndReason.LAST_DAY, on=cut)
        elif cut is not None and cut < window.closes_on:
            self.waiting = replace(window, closes_on=cut, cut=reason)
        else:
            self.waiting = window

    def _limit(self, window: Window) -> tuple[date | None, EndReason | None]:
        """The last day for a window's pass and what sets it."""
        ground, mix = self.ground, self.program.mix(window.pass_no)
        rows = [(self.program.last_on, EndReason.LAST_DAY)]
        if ground.ended_on is not None:
            rows.append((ground.ended_on, EndReason.CROP_ENDED))
        if ground.harvest_to is not None:
            rows.append((ground.harvest_to, EndReason.CROP_ENDED))
        if ground.harvest_from is not None:
            if mix is not None and mix.phi_days:
                rows.append((ground.harvest_from - timedelta(days=mix.phi_days), EndReason.NO_ROOM))
            if self.program.stop_days is not None and not self.still_pays:
                rows.append((ground.harvest_from - timedelta(days=self.program.stop_days), EndReason.NOT_PAYING))
        if ground.mature_on is not None and not self.still_pays:
            rows.append((ground.mature_on, EndReason.NOT_PAYING))
        return min(rows, key=lambda row: row[0])

    # ---- what was done and decided -----------------------------------------------------

    def _first(self, day: date) -> Window:
        return Window(pass_no=1, opens_on=day, closes_on=day + timedelta(days=self.program.slack))

    def _sprayed(self, spray: Spray) -> None:
        """The spray is the pass that waited; the next is due after it."""
        after_end = self.waiting is None and self.parked is not None
        window = self.waiting or self.parked or self._unforeseen(spray.on)
        if after_end:
            window = replace(window, opens_on=spray.on, closes_on=spray.on, again=False)
        mix = self.program.mix(window.pass_no)
        other = mix is not None and bool(mix.products) and spray.products != mix.products
        self.last = replace(window, state=State.DONE, spray=spray, other_mix=other)
        self.behind.append(self.last)
        self.waiting = self.parked = None
        following = self._after(spray, window.pass_no + 1)
        if self.end is not None and self.end.reason is EndReason.DECIDED:
            self.parked = following
            return
        self.end = None
        self._await(following)

    def _unforeseen(self, day: date) -> Window:
        """A spray that no window waited for: before the trigger, or after the last pass."""
        number = (self.last.pass_no if self.last else 0) + 1
        return Window(pass_no=number, opens_on=day, closes_on=day)

    def _after(self, spray: Spray, pass_no: int) -> Window:
        mix = self.program.mix(pass_no)
        wait = max(self.program.from_days, spray.tank.days_to(mix.tank) if mix else 0)
        opens_on = spray.on + timedelta(days=wait)
        closes_on = max(opens_on, spray.on + timedelta(days=self.program.to_days))
        return Window(pass_no=pass_no, opens_on=opens_on, closes_on=closes_on)

    def _decided(self, decision: Decision) -> None:
        if decision.choice is Choice.START and self.waiting is None and not self.behind and self.end is None:
            self._await(self._first(decision.on))
        elif decision.choice is Choice.SKIP:
            self._skip(decision)
        elif decision.choice is Choice.RESPRAY:
            self._respray(decision)
        elif decision.choice is Choice.END and (self.end is None or self.end.reason is not EndReason.DECIDED):
            self.waiting, self.parked = None, self.waiting or self.parked
            self.end = End(reason=EndReason.DECIDED, on=decision.on, decision=decision)
        elif decision.choice is Choice.RESUME:
            self._resume(decision)

    def _skip(self, decision: Decision) -> None:
        """The window is passed over; the next is counted as if it had been sprayed in it."""
        if self.waiting is None:
            return
        gone = replace(self.waiting, state=State.SKIPPED, decision=decision)
        self.behind.append(gone)
        self._await(self._then(gone))

    def _then(self, window: Window) -> Window:
        """The window after one that was, or will be, sprayed at any time in it: earliest after its opening, latest
        after its closing."""
        opens_on = window.opens_on + timedelta(days=self.program.wait_before(window.pass_no + 1))
        closes_on = max(opens_on, window.closes_on + timedelta(days=self.program.to_days))
        return Window(pass_no=window.pass_no + 1, opens_on=opens_on, closes_on=closes_on, reckoned=window.reckoned)

    def _respray(self, decision: Decision) -> None:
        """The last pass once more, as soon as its labels allow; it takes the place of the window that waited."""
        if self.last is None or self.last.spray is None or (self.end and self.end.reason is EndReason.DECIDED):
            return
        tank = self.last.spray.tank
        soonest = self.last.spray.on + timedelta(days=tank.days_to(tank))
        opens_on = max(decision.on, soonest)
        self.end = self.parked = None
        self._await(
            Window(
                pass_no=self.last.pass_no,
                opens_on=opens_on,
                closes_on=opens_on + timedelta(days=self.program.slack),
                respray=True,
            )
        )

    def _resume(self, decision: Decision) -> None:
        """What waited when the program was ended, or was held not to pay, waits again from this day on."""
        self.still_pays = True
        if self.end is None or self.end.reason not in (EndReason.DECIDED, EndReason.NOT_PAYING):
            return
        window, self.parked, self.end = self.parked, None, None
        trigger = self._trigger()
        if window is None and not self.behind and trigger is not None and trigger <= decision.on:
            window = self._first(decision.on)
        if window is None:
            self.end = End(reason=EndReason.ALL_DONE, on=decision.on) if self.behind else None
            return
        if window.closes_on < decision.on:
            days = timedelta(days=self.program.slack)
            window = replace(window, opens_on=decision.on, closes_on=decision.on + days, again=True)
        self._await(window)

    # ---- ahead -------------------------------------------------------------------------

    def _reckoned(self) -> Window | None:
        """Before the trigger: the first window as it is reckoned, if anybody can."""
        if self.behind or self.end is not None:
            return None
        day = reckoned_day(self.program.start, self.ground)
        if day is None:
            return None
        self._await(replace(self._first(max(day, self.today)), reckoned=True))
        return self.waiting

    def _ahead(self, window: Window | None) -> list[Window]:
        """The windows after the next one, for as long as the crop leaves room; the end of the walk is not theirs."""
        found: list[Window] = []
        kept = (self.waiting, self.parked, self.end)
        while window is not None and len(found) < len(self.program.passes) + 60:
            self._await(self._then(window))
            window = self.waiting if self.end is None else None
            if window is not None:
                found.append(window)
        self.waiting, self.parked, self.end = kept
        return found


def _one_day(before: Spray | None, spray: Spray) -> Spray:
    """Two tanks on one day are one spray: both products, the later end, the longer waits."""
    if before is None:
        return spray
    hours = [s.rain_free_hours for s in (before, spray) if s.rain_free_hours is not None]
    return replace(
        spray,
        products=before.products | spray.products,
        protectant=before.protectant or spray.protectant,
        rain_free_hours=max(hours, default=None),
        rain_free_source="; ".join(dict.fromkeys(t for t in (before.rain_free_source, spray.rain_free_source) if t)),
        tank=before.tank.beside(spray.tank),
    )
