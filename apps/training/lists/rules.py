"""A list of trainings from a spreadsheet: which columns it has and what its rows say. Plain Python."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from apps.training.rules import TrainingKind
from farmops.csv_read import Fault, Row, rows_of
from farmops.errors import gettext_noop

NEEDED = ("person", "training", "date")
OPTIONAL = ("topic", "trainer", "note")
LENGTHS = {"topic": 64, "trainer": 120, "note": 300}


class Outcome(StrEnum):
    """The answer to a row."""

    NEW = "new"
    THERE = "there"  # on record already: nothing is written for it
    WRONG = "wrong"


@dataclass(frozen=True, kw_only=True)
class Typed:
    """One row as it was read; ``person`` is a full name or a log-in name."""

    person: str
    kind: TrainingKind
    trained_on: date
    topic: str
    trainer: str
    note: str


@dataclass(frozen=True, kw_only=True)
class Answer:
    """The answer to one row."""

    row: int
    typed: Typed | None = None
    faults: tuple[Fault, ...] = ()
    there: bool = False

    @property
    def outcome(self) -> Outcome:
        return Outcome.WRONG if self.faults else Outcome.THERE if self.there else Outcome.NEW


def read(text: str) -> list[Answer]:
    """Every row of the list, answered. ``BadInput`` on ``file`` for what is no such list at all."""
    return [_answer(place, cells, too_many) for place, cells, too_many in rows_of(text, NEEDED, OPTIONAL)]


def _answer(place: int, cells: Mapping[str, str], too_many: bool) -> Answer:
    row = Row(cells, too_many=too_many)
    person, kind, day = row.needed("person"), _kind(row), row.day()
    topic = row.text("topic").lower()
    if kind is TrainingKind.PRODUCT and not topic:
        row.fault("topic", gettext_noop("Enter the topic the label names, such as paraquat."))
    elif kind is not None and kind is not TrainingKind.PRODUCT and topic:
        row.fault("topic", gettext_noop("Only product training has a topic."))
    row.short(LENGTHS)
    if row.faults or kind is None or day is None:
        return Answer(row=place, faults=tuple(row.faults))
    more = {name: row.text(name) for name in ("trainer", "note")}
    return Answer(row=place, typed=Typed(person=person, kind=kind, trained_on=day, topic=topic, **more))


def _kind(row: Row) -> TrainingKind | None:
    typed = row.needed("training")
    code = "_".join(typed.lower().replace("-", " ").replace("_", " ").split())
    if code in set(TrainingKind):
        return TrainingKind(code)
    if typed:
        row.fault("training", gettext_noop("Use one of: {kinds}."), kinds=", ".join(TrainingKind))
    return None
