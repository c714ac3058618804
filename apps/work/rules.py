"""What may happen to a task, who may do it, and when it may begin. Plain Python.

A task sends a person onto ground. It can begin only while the field board says yes for its kind
of work, and for a harvest also that the crop may be picked. Nobody can override the board.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from apps.people.rules import Can
from apps.reminders.rules import Level, register
from apps.safety.rules import Activity, Answer, Because, Word
from farmops import wording
from farmops.errors import Finding, Severity, gettext_noop, refuse

TITLE_LENGTH = 120
NOTES_LENGTH = 2000
LONGEST = timedelta(hours=24)
FARTHEST = timedelta(days=730)
LATEST_ENTRY = timedelta(hours=1)
"""A start so long ago is still taken for 'now' when a task is written down (project rule)."""
COMING = timedelta(hours=2)
"""How long before its start a person is reminded of a task (project rule)."""
OPEN_ENDED = timedelta(hours=12)
"""A task without an end is expected to be over so long after its start (project rule)."""

ASSIGNED = register("task_assigned", Level.INFORMATION)
COMING_UP = register("task_coming", Level.DO_TODAY)
CALLED_OFF = register("task_called_off", Level.DO_TODAY)


class State(StrEnum):
    PLANNED = "planned"
    STARTED = "started"
    DONE = "done"
    CALLED_OFF = "called_off"


STATE_NAMES: Mapping[State, str] = {
    State.PLANNED: gettext_noop("planned"),
    State.STARTED: gettext_noop("started"),
    State.DONE: gettext_noop("done"),
    State.CALLED_OFF: gettext_noop("called off"),
}
OPEN = frozenset({State.PLANNED, State.STARTED})
"""States in which somebody may still walk onto the ground."""


class Step(StrEnum):
    """What can be done to a task; every step leaves a line in its history."""

    PLAN = "plan"
    EDIT = "edit"
    START = "start"
    FINISH = "finish"
    CALL_OFF = "call_off"


STEP_NAMES: Mapping[Step, str] = {
    Step.PLAN: gettext_noop("planned"),
    Step.EDIT: gettext_noop("changed"),
    Step.START: gettext_noop("started"),
    Step.FINISH: gettext_noop("finished"),
    Step.CALL_OFF: gettext_noop("called off"),
}


@dataclass(frozen=True, kw_only=True)
class Move:
    """From which states a step leads where, and who may take it for themselves and for others."""

    out_of: frozenset[State]
    to: State
    own: Can
    others: Can
    refusal: str


MOVES: Mapping[Step, Move] = {
    Step.EDIT: Move(
        out_of=frozenset({State.PLANNED}),
        to=State.PLANNED,
        own=Can.PLAN_TASKS,
        others=Can.PLAN_TASKS,
        refusal=gettext_noop("Only a planned task can be changed; this one is {state}."),
    ),
    Step.START: Move(
        out_of=frozenset({State.PLANNED}),
        to=State.STARTED,
        own=Can.DO_TASKS,
        others=Can.PLAN_TASKS,
        refusal=gettext_noop("Only a planned task can be started; this one is {state}."),
    ),
    Step.FINISH: Move(
        out_of=frozenset({State.STARTED}),
        to=State.DONE,
        own=Can.DO_TASKS,
        others=Can.PLAN_TASKS,
        refusal=gettext_noop("Only a started task can be finished; this one is {state}."),
    ),
    Step.CALL_OFF: Move(
        out_of=OPEN,
        to=State.CALLED_OFF,
        own=Can.PLAN_TASKS,
        others=Can.PLAN_TASKS,
        refusal=gettext_noop("Only an open task can be called off; this one is {state}."),
    ),
}


def after(state: State | str, step: Step) -> State:
    """The state ``step`` leads to from ``state``, or ``Refused`` with code ``wrong_state``."""
    move = MOVES[step]
    if State(state) not in move.out_of:
        raise refuse("wrong_state", move.refusal, state=STATE_NAMES[State(state)])
    return move.to


def capability(step: Step, *, own: bool) -> Can:
    """What a member must be able to do for this step on an own task, or on somebody else's."""
    return MOVES[step].own if own else MOVES[step].others


def is_harvest(activity: Activity | str, ticked: bool) -> bool:
    """Picking is harvest whether or not anybody ticked it: the wait before harvest must not be skipped."""
    return ticked or activity == Activity.PICKING_BY_HAND


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What the field board says about a task at one instant."""

    entry: Answer
    harvest: Answer | None = None

    @property
    def answers(self) -> list[Answer]:
        return [self.entry] if self.harvest is None else [self.entry, self.harvest]

    @property
    def may_start(self) -> bool:
        """Only a plain yes to every question the task asks."""
        return all(a.answer is Word.YES for a in self.answers)

    @property
    def word(self) -> Word:
        """The gravest answer: unknown, else no, else yes."""
        words = {a.answer for a in self.answers}
        return next(w for w in (Word.UNKNOWN, Word.NO, Word.YES) if w in words)

    @property
    def opens_at(self) -> datetime | None:
        """When the task may begin, if every answer that is against it names a time."""
        against = [a for a in self.answers if a.answer is not Word.YES]
        ends = [a.opens_at for a in against if a.opens_at is not None]
        return max(ends) if ends and len(ends) == len(against) else None

    @property
    def good_until(self) -> datetime:
        return min(a.good_until for a in self.answers)

    @property
    def because(self) -> list[Because]:
        """Every reason once, those of entry first."""
        said = {(b.code, b.closure_id): b for a in self.answers for b in a.because}
        return list(said.values())

    @property
    def against(self) -> list[Because]:
        """The reasons why the task cannot begin."""
        return [b for b in self.because if b.answer is not Word.YES]


def check_times(starts_at: datetime, ends_at: datetime | None, *, now: datetime) -> dict[str, str]:
    """What is wrong with a task's times: field -> sentence. Empty when they can be used."""
    wrong: dict[str, str] = {}
    if starts_at < now - LATEST_ENTRY:
        wrong["starts_at"] = gettext_noop("The start must be now or later.")
    elif starts_at > now + FARTHEST:
        wrong["starts_at"] = gettext_noop("The start must be within two years.")
    if ends_at is not None and ends_at <= starts_at:
        wrong["ends_at"] = gettext_noop("The end must be after the start.")
    elif ends_at is not None and ends_at - starts_at > LONGEST:
        wrong["ends_at"] = gettext_noop("A task lasts 24 hours at most; write one for each day.")
    return wrong


@dataclass(frozen=True, kw_only=True)
class PlannedEntry:
    """Somebody is going to be in a block. ``at`` is when, never before the time asked from.

    ``started`` means that ``person`` is on the ground now, as far as anybody has said.
    """

    block_id: int
    at: datetime
    activity: Activity
    is_harvest: bool
    task_id: int
    started: bool
    person: str


def expected_end(starts_at: datetime, ends_at: datetime | None) -> datetime:
    """When a task is expected to be over, for reckoning who is where."""
    return ends_at or starts_at + OPEN_ENDED


def still_ahead(state: State | str, starts_at: datetime, ends_at: datetime | None, from_at: datetime) -> bool:
    """Whether the task may put somebody into its block at ``from_at`` or later.

    A started one does until somebody says that it is finished, whatever its planned end.
    """
    if state == State.STARTED:
        return True
    return state == State.PLANNED and expected_end(starts_at, ends_at) > from_at


def findings(standing: Standing, *, block: str, zone: str) -> list[Finding]:
    """The board's reasons as findings: those against refuse, the others are for information.

    Instants are stamped with ``zone`` and worded by the door. When the task may not begin, the
    first finding says so in plain words.
    """
    said = [_finding(b, zone) for b in standing.because]
    if standing.may_start:
        return said
    unknown = standing.word is Word.UNKNOWN
    head = Finding(
        code="board_unknown" if unknown else "board_no",
        severity=Severity.REFUSE,
        template=gettext_noop("Not confirmed: keep out of {block}. Do not start this task.")
        if unknown
        else gettext_noop("Keep out of {block}. Do not start this task."),
        numbers={"block": block},
        source="project rule",
    )
    return [head, *said]


def _finding(because: Because, zone: str) -> Finding:
    return Finding(
        code=because.code,
        severity=Severity.NOTE if because.answer is Word.YES else Severity.REFUSE,
        template=because.template,
        numbers={**because.numbers, **{name: wording.stamp(at, zone) for name, at in because.times.items()}},
        source=because.source,
    )
