"""A job under changes: which screws are turned, and what the check says about every block then."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from enum import StrEnum

from apps.spraying.rules.checking import check
from apps.spraying.rules.facts import CheckFacts, Worker
from apps.spraying.rules.mix import MixLine
from apps.spraying.rules.openings import Mover
from farmops.errors import Finding, refusals
from farmops.units import Quantity
from farmops.wording import fill

Apply = Callable[[CheckFacts], CheckFacts]


class Turn(StrEnum):
    """Which screw a change turns."""

    VOLUME = "volume"
    RATE = "rate"
    PRODUCT = "product"
    APPLICATOR = "applicator"
    AREA = "area"
    START = "start"
    HARVEST = "harvest"
    BLOCK = "block"


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change: a sentence with its numbers, and the value a form can be filled with.

    ``product_id`` is the product it is about, ``answers`` the codes that come back without this change.
    """

    turn: Turn
    template: str
    numbers: dict[str, str]
    value: str
    unit: str = ""
    product_id: int | str | None = None
    answers: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        return fill(self.template, self.numbers, "en")


@dataclass(frozen=True, kw_only=True)
class OnShelf:
    """A product in the shed: the line it would go out as, and how much of it is free."""

    line: MixLine
    available: Quantity


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What may be changed on this farm.

    ``movers`` (one per block, in the order of the blocks) give the facts of the same job started at another instant:
    bloom, nights, crop stage and so on of that day; no forecast where none is known. ``starts`` are the instants to
    try, in order. ``acres`` of the whole job; without them no other product is offered where the shed is looked at.
    ``block_acres`` (one per block) let a block be left out; without them none is.
    """

    movers: Sequence[Mover] = ()
    starts: Sequence[datetime] = ()
    workers: Sequence[Worker] = ()
    shed: Sequence[OnShelf] = ()
    acres: Decimal | None = None
    block_acres: Sequence[Decimal] = ()


@dataclass(frozen=True)
class Edit:
    """One screw turned: what it does to a block's facts, and how to tell it once everything else stands.

    ``about`` is the product or block it is about: one edit a screw and product.
    """

    turn: Turn
    value: str
    apply: Apply
    tell: Callable[[Sequence[CheckFacts]], Change]
    about: int | str | None = None

    @property
    def key(self) -> tuple[str, str, str]:
        return (self.turn, str(self.about), self.value)


class Case:
    """A refused job and what may be changed about it; each combination is judged once."""

    def __init__(self, blocks: Sequence[CheckFacts], choices: Choices) -> None:
        self.blocks, self.choices = tuple(blocks), choices
        self._moved: dict[datetime, tuple[CheckFacts, ...]] = {}
        self._said: dict[tuple[object, ...], tuple[tuple[int, Finding], ...]] = {}

    def moved(self, start_at: datetime | None) -> tuple[CheckFacts, ...]:
        if start_at is None:
            return self.blocks
        if start_at not in self._moved:
            self._moved[start_at] = tuple(mover(start_at) for mover in self.choices.movers)
        return self._moved[start_at]

    def refused(self, attempt: Attempt) -> tuple[tuple[int, Finding], ...]:
        """(place of the block, refusal) for everything that still stands against an attempt."""
        key = (attempt.start_at, attempt.left_out, tuple(edit.key for edit in attempt.edits))
        if key not in self._said:
            self._said[key] = tuple(
                (place, finding) for place, facts in attempt.by_place().items() for finding in refusals(check(facts))
            )
        return self._said[key]


@dataclass(frozen=True)
class Attempt:
    """Facts under a set of edits, one per screw; the start is moved first and the rest done again on top."""

    case: Case
    start_at: datetime | None = None
    left_out: frozenset[int] = frozenset()
    edits: tuple[Edit, ...] = ()

    def by_place(self) -> dict[int, CheckFacts]:
        """Place of each block that is still in the job -> its facts."""
        found = {}
        for place, facts in enumerate(self.case.moved(self.start_at)):
            if place in self.left_out:
                continue
            for edit in self.edits:
                facts = edit.apply(facts)
            found[place] = facts
        return found

    def facts(self) -> tuple[CheckFacts, ...]:
        return tuple(self.by_place().values())

    def refusals(self) -> tuple[tuple[int, Finding], ...]:
        return self.case.refused(self)

    def refused(self) -> list[tuple[int, str]]:
        """(place of the block, code) of each refusal."""
        return [(place, finding.code) for place, finding in self.refusals()]

    def but(self, edit: Edit) -> Attempt:
        kept = [old for old in self.edits if (old.turn, old.about) != (edit.turn, edit.about)]
        return replace(self, edits=(*kept, edit))

    def started(self, edit: Edit, start_at: datetime) -> Attempt:
        return replace(self.but(edit), start_at=start_at)

    def leaving_out(self, edit: Edit, place: int) -> Attempt:
        return replace(self.but(edit), left_out=self.left_out | {place})

    def without(self, edit: Edit) -> Attempt:
        """The same attempt with one screw turned back."""
        return replace(
            self,
            start_at=None if edit.turn is Turn.START else self.start_at,
            left_out=self.left_out - {edit.about} if edit.turn is Turn.BLOCK else self.left_out,
            edits=tuple(kept for kept in self.edits if kept is not edit),
        )
