"""A season's trainings from one list: first every row is answered, then all that are new are written, or none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db import transaction

from apps.audit import services as audit
from apps.people import queries as people
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.training import queries
from apps.training.lists.rules import Answer, Outcome, Typed, read
from apps.training.models import TrainingRecord
from apps.training.services import record_training
from farmops import wording
from farmops.csv_read import Fault
from farmops.errors import BadInput, gettext_noop

Key = tuple[int, str, str, date]


@dataclass(frozen=True, kw_only=True)
class Examined:
    """The answer to every row, and the person of each row that can be written."""

    answers: list[Answer]
    people: Mapping[int, int]  # row -> person id

    @property
    def good(self) -> bool:
        return not any(a.faults for a in self.answers)

    def count(self, outcome: Outcome) -> int:
        return sum(a.outcome is outcome for a in self.answers)


def examine(farm: Farm, text: str, now: datetime) -> Examined:
    """Answer every row and write nothing: the dry run. ``BadInput`` on ``file`` for what is no such list."""
    known = _names(farm)
    rows = TrainingRecord.objects.for_farm(farm).filter(struck_at=None)
    on_record = set(rows.values_list("person_id", "kind", "topic", "trained_on"))
    today, seen, found, who = queries.today(farm, now), {}, [], {}
    for answer in read(text):
        if answer.typed is None:
            found.append(answer)
            continue
        faults, person_id = _held(answer.typed, known, today)
        if person_id is not None:
            key: Key = (person_id, answer.typed.kind.value, answer.typed.topic, answer.typed.trained_on)
            if (first := seen.setdefault(key, answer.row)) != answer.row:
                faults.append(Fault(column="", template=_TWICE, numbers={"row": str(first)}))
            answer, who[answer.row] = replace(answer, there=key in on_record), person_id
        found.append(replace(answer, faults=tuple(faults)))
    return Examined(answers=found, people=who)


_TWICE = gettext_noop("The same training stands in row {row} of this list.")
_NOBODY = gettext_noop("Nobody of this name works on this farm: {typed}. Write the full name or the log-in name.")
_SEVERAL = gettext_noop("Several people here are called {typed}. Write the log-in name.")
_NOT_YET = gettext_noop("Must be today or earlier.")


def _names(farm: Farm) -> dict[str, set[int]]:
    """Full name and log-in name as they may be written -> the people who have it."""
    found: dict[str, set[int]] = {}
    for place in people.members(farm):
        for name in (place.person.full_name, place.person.username):
            found.setdefault(_plain(name), set()).add(place.person_id)
    return found


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _held(row: Typed, known: Mapping[str, set[int]], today: date) -> tuple[list[Fault], int | None]:
    """A row held against the farm: its faults, and whom it is about if that is one person."""
    faults, ids = [], known.get(_plain(row.person), set())
    if len(ids) != 1:
        template = _SEVERAL if ids else _NOBODY
        faults.append(Fault(column="person", template=template, numbers={"typed": row.person}))
    if row.trained_on > today:
        faults.append(Fault(column="date", template=_NOT_YET))
    return faults, next(iter(ids)) if len(ids) == 1 else None


@transaction.atomic
def record_list(*, member: Member, name: str, text: str, now: datetime) -> Examined:
    """Record every training of the list that is not on record yet, or none: ``BadInput`` names each row that cannot be.

    The same list again writes nothing.
    """
    member.require(Can.EDIT_CERTIFICATES)
    farm = Farm.objects.select_for_update(no_key=True).get(pk=member.farm.pk)
    found = examine(farm, text, now)
    if not found.good:
        raise BadInput({f"row {a.row}": [plain(f) for f in a.faults] for a in found.answers if a.faults})
    new = [a for a in found.answers if a.outcome is Outcome.NEW]
    for answer in new:
        typed = answer.typed
        assert typed is not None
        record_training(
            member=member,
            person_id=found.people[answer.row],
            kind=typed.kind.value,
            trained_on=typed.trained_on,
            topic=typed.topic,
            trainer=typed.trainer,
            note=typed.note,
            now=now,
        )
    if new:
        after = {
            "file": " ".join(name.split())[:200],
            "trainings": len(new),
            "on record already": len(found.answers) - len(new),
        }
        audit.record(farm=farm, actor=member, verb="brought in trainings to", subject=farm, now=now, after=after)
    return found


def plain(fault: Fault) -> str:
    """A fault in English, with its column."""
    said = wording.fill(fault.template, fault.numbers, "en")
    return f"{fault.column}: {said}" if fault.column else said
