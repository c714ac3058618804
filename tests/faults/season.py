"""A season by a seed: what people do at which hour, and, worked out by itself, what must be told to whom.

Nothing here asks the product. The rules applied are those of the issue: a task is told within two hours of its
start, papers at 90, 30, 7 and 0 days, lots at 30, 7 and 0 days, an opening when it comes, a danger at once and, when
nobody acknowledges it, to the next person after 5 minutes and to all after 15; a change that was undone never.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

ZONE = "America/Chicago"
TZ = ZoneInfo(ZONE)
HOURS = [time(0, 1), time(3), time(5, 20), time(8, 20), time(11, 20), time(14, 20), time(17, 20), time(20, 20)]
ROLLED = timedelta(minutes=11)
"""By then also what had to wait for the next letter is out."""

AROUND = timedelta(hours=2)
DIGEST = time(5, 15)
EVERYBODY = ("ana", "ines", "luis", "otto")
MANAGERS = ("ines", "otto")
Command = tuple[str, dict[str, Any]]


@dataclass
class Task:
    name: str
    planned: int
    starts: list[tuple[int, datetime]]  # (step from which, start)
    called_off: int | None = None


@dataclass
class Season:
    """``steps``: the hours; ``commands``: what is done at each; ``letters`` and ``calls``: what must arrive."""

    seed: int
    steps: list[datetime]
    per_day: int = len(HOURS)
    commands: dict[int, list[Command]] = field(default_factory=dict)
    extra: dict[int, list[tuple[timedelta, list[Command]]]] = field(default_factory=dict)
    letters: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    calls: Counter[tuple[str, str]] = field(default_factory=Counter)

    def instants(self) -> Iterable[tuple[int, datetime]]:
        """Every hour at which the book is looked at, with its step."""
        for n, at in enumerate(self.steps):
            yield n, at
            for after, _ in self.extra.get(n, []):
                yield n, at + after
            yield n, at + ROLLED

    def do(self, step: int, what: str, /, **given: Any) -> None:
        self.commands.setdefault(step, []).append((what, given))

    def tell(self, kind: str, token: str, to: Iterable[str]) -> None:
        """One notice: a letter to each, one call."""
        self.calls[kind, token] += 1
        for person in to:
            self.letters[person, kind, token] += 1


def make(seed: int, *, first: date, days: int, hours: list[time] | None = None, events: float = 1.0) -> Season:
    """A season of ``days``, with a last morning on which nothing new is done, so that every digest is out."""
    local = [
        datetime.combine(first + timedelta(days=n), at, tzinfo=TZ) for n in range(days + 1) for at in hours or HOURS
    ]
    per_day = len(hours or HOURS)
    season = Season(seed=seed, steps=[at.astimezone(UTC) for at in local], per_day=per_day)
    chance = random.Random(seed)
    last = len(season.steps) - per_day  # commands end a day before the end
    for step in range(1, last):
        if chance.random() < 0.10 * events:
            _danger(season, chance, step)
    tasks = [_task(season, chance, step, n) for n, step in enumerate(_some(chance, last, 0.55 * events))]
    _papers(season, chance, first, days)
    _lots(season, chance, days, last, 0.12 * events)
    _closures(season, chance, last, 0.10 * events)
    _undone(season, chance, last, 0.12 * events)
    _tell_tasks(season, tasks)
    return season


def _some(chance: random.Random, last: int, rate: float) -> list[int]:
    return [step for step in range(last) if chance.random() < rate]


# ---- tasks -----------------------------------------------------------------------------


def _task(season: Season, chance: random.Random, step: int, number: int) -> Task:
    """Planned for some hours or days ahead; perhaps moved, perhaps called off, at a step that leaves no doubt."""
    name = f"T{number}"
    start = season.steps[step] + timedelta(minutes=chance.randrange(30, 60 * 60))
    task = Task(name=name, planned=step, starts=[(step, start)])
    season.do(step, "plan_task", name=name, starts_at=start.isoformat(), block=0)
    change, what = step + chance.randrange(1, max(3, season.per_day * 3 // 2)), chance.random()
    if what < 0.55 or not _clear(season, task, change):
        return task
    if what < 0.75:
        again = season.steps[change] + timedelta(minutes=chance.randrange(30, 60 * 60))
        task.starts.append((change, again))
        season.do(change, "move_task", name=name, starts_at=again.isoformat())
    else:
        task.called_off = change
        season.do(change, "call_off_task", name=name)
    return task


def _clear(season: Season, task: Task, change: int) -> bool:
    """Whether it cannot matter if a sweep comes a moment before or after the change: it was told, or is far off.

    A task is changed only while it can be: before it has begun.
    """
    if change >= len(season.steps) - season.per_day:
        return False
    start = task.starts[0][1]
    at = season.steps[change]
    known = [at for n, at in season.instants() if task.planned <= n < change - 1]
    told_before = any(start - AROUND <= instant < start + AROUND for instant in known)
    return at < start and (told_before or at < start - AROUND)


def _tell_tasks(season: Season, tasks: list[Task]) -> None:
    for task in tasks:
        for index, (since, start) in enumerate(task.starts):
            season.tell("task_assigned", task.name, ["ana"])
            ends = [since for since, _ in task.starts[index + 1 :]] + ([task.called_off] if task.called_off else [])
            until = min(ends, default=len(season.steps))
            if any(since <= n < until and start - AROUND <= at < start + AROUND for n, at in season.instants()):
                season.tell("task_coming", task.name, ["ana"])
        if task.called_off is not None:
            season.tell("task_called_off", task.name, ["ana"])


# ---- papers and lots -------------------------------------------------------------------


def _marks(days: range, end: date, first: date, marks: tuple[int, ...], after: int) -> list[int]:
    """The stages reached on the days of the season."""
    found = []
    for n in days:
        left = (end - (first + timedelta(days=n))).days
        mark = min((m for m in marks if left <= m), default=None) if left >= -after else None
        if mark is not None and mark not in found:
            found.append(mark)
    return found


def _papers(season: Season, chance: random.Random, first: date, days: int) -> None:
    for number in range(max(3, days // 4)):
        end = first + timedelta(days=chance.randrange(1, days + 95))
        season.do(0, "certificate", number=f"C{number}", valid_to=end.isoformat())
        for _ in _marks(range(days + 1), end, first, (90, 30, 7, 0), after=30):
            season.tell("certificate", f"C{number}", ["luis", *MANAGERS])


def _lots(season: Season, chance: random.Random, days: int, last: int, rate: float) -> None:
    first = season.steps[0].astimezone(TZ).date()
    for number, step in enumerate(_some(chance, last, rate)):
        on = season.steps[step].astimezone(TZ).date()
        end = on + timedelta(days=chance.randrange(1, 45))
        season.do(step, "lot", name=f"L{number}", expires_on=end.isoformat())
        stages = (30, 7, 0)
        marks = _marks(range((on - first).days, days + 1), end, first, stages, after=10_000)
        tomorrow = min((m for m in stages if (end - on).days - 1 <= m), default=None)
        for mark in marks:
            season.tell("lot_expiring", f"L{number}", MANAGERS)
            # A stage that is over before the next morning's e-mail gives way to the next stage in it.
            told_on = on if mark == marks[0] and (end - on).days <= mark else None
            if told_on and season.steps[step].astimezone(TZ).time() > DIGEST and tomorrow != mark:
                season.letters.subtract({(person, "lot_expiring", f"L{number}"): 1 for person in MANAGERS})


# ---- openings, dangers, what was undone ------------------------------------------------


def _closures(season: Season, chance: random.Random, last: int, rate: float) -> None:
    for block, step in enumerate(_some(chance, last, rate)[:29], start=1):
        opens = season.steps[step] + timedelta(minutes=chance.randrange(20, 12 * 60))
        season.do(step, "closure", block=block, ends_at=opens.isoformat())
        season.tell("entry_opens", f"B{block}", EVERYBODY)


def _danger(season: Season, chance: random.Random, step: int) -> None:
    """Told at once; acknowledged after three minutes, or never: then the next person, then all."""
    name, answered = f"D{step}", chance.random() < 0.4
    season.do(step, "danger", name=name)
    acknowledge: list[Command] = [("acknowledge", {"name": name})] if answered else []
    minutes = [(3, acknowledge), (6, []), (16, [])]
    season.extra[step] = [(timedelta(minutes=n), commands) for n, commands in minutes]
    season.tell("danger", name, ["luis"] if answered else ["luis", *MANAGERS])


def _undone(season: Season, chance: random.Random, last: int, rate: float) -> None:
    for number, step in enumerate(_some(chance, last, rate)):
        if chance.random() < 0.5:
            season.do(step, "danger", name=f"U{number}", undo=True)
        else:
            start = season.steps[step] + timedelta(hours=1)
            season.do(step, "plan_task", name=f"U{number}", starts_at=start.isoformat(), block=0, undo=True)
