"""What to do instead: the nearest lawful change, worked out and checked again before it is offered.

A suggestion is a set of changes under which the check has no refusal left. What still asks for a reason
stays with it, so nobody is surprised later.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import ROUND_DOWN, Decimal
from enum import StrEnum
from fractions import Fraction
from math import ceil, floor

from apps.products.rules import phi_days, rei_hours
from apps.safety.rules import entry_end, harvest_opens
from apps.spraying.rules.checking import check
from apps.spraying.rules.facts import CheckFacts, StockFact, Worker
from apps.spraying.rules.mix import Judged, MixLine
from apps.spraying.rules.openings import Mover
from apps.spraying.rules.saying import plain
from farmops.errors import Finding, gettext_noop, refusals
from farmops.units import CONTEXT, Quantity
from farmops.wording import fill

STEP = Decimal("0.01")  # rates are offered in hundredths of their unit, acres in hundredths
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


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change: a sentence with its numbers, and the value a form can be filled with."""

    turn: Turn
    template: str
    numbers: dict[str, str]
    value: str
    product_id: int | str | None = None

    @property
    def sentence(self) -> str:
        return fill(self.template, self.numbers, "en")


@dataclass(frozen=True, kw_only=True)
class Suggestion:
    """Changes that together leave no refusal; ``answers`` are the codes refused before, ``left`` what is still said."""

    changes: tuple[Change, ...]
    answers: tuple[str, ...]
    facts: CheckFacts
    left: tuple[Finding, ...]


@dataclass(frozen=True, kw_only=True)
class OnShelf:
    """A product in the shed: the line it would go out as, and how much of it is free."""

    line: MixLine
    available: Quantity


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What may be changed on this farm.

    ``mover`` gives the facts of the same job started at another instant (bloom, nights, crop stage and so on of that
    day; no forecast where none is known). ``starts`` are the instants to try, in order. ``acres`` of the whole job;
    without them no other product is offered where the shed is looked at.
    """

    mover: Mover | None = None
    starts: Sequence[datetime] = ()
    workers: Sequence[Worker] = ()
    shed: Sequence[OnShelf] = ()
    acres: Decimal | None = None


@dataclass(frozen=True)
class _Edit:
    """One screw turned: what it does to the facts, and how to tell it once everything else stands."""

    turn: Turn
    apply: Apply
    tell: Callable[[CheckFacts], Change]
    product_id: int | str | None = None


@dataclass(frozen=True)
class _Plan:
    """Facts under a set of edits, one per screw; the start is moved first and the rest done again on top."""

    base: CheckFacts
    start_at: datetime | None
    edits: tuple[_Edit, ...]
    mover: Mover | None

    def facts(self) -> CheckFacts:
        given = self.base if self.start_at is None or self.mover is None else self.mover(self.start_at)
        for edit in self.edits:
            given = edit.apply(given)
        return given

    def refused(self) -> list[str]:
        return [f.code for f in refusals(check(self.facts()))]

    def but(self, edit: _Edit) -> _Plan:
        kept = [old for old in self.edits if (old.turn, old.product_id) != (edit.turn, edit.product_id)]
        return replace(self, edits=(*kept, edit))

    def with_change(self, change: Change, apply: Apply) -> _Plan:
        return self.but(_Edit(change.turn, apply, lambda _: change, change.product_id))


def alternatives(facts: CheckFacts, choices: Choices) -> list[Suggestion]:
    """Complete ways out, the fewest changes first; empty when none of these changes makes the job lawful."""
    before = tuple(dict.fromkeys(f.code for f in refusals(check(facts))))
    if not before:
        return []
    plan = _Plan(facts, None, (), choices.mover)
    found: dict[tuple[object, ...], Suggestion] = {}
    for first in Turn:
        solved = _solve(plan, choices, [first, *(turn for turn in Turn if turn is not first)])
        if solved is not None:
            final = solved.facts()
            changes = tuple(edit.tell(final) for edit in solved.edits)
            key = tuple(sorted((c.turn, str(c.product_id), c.value) for c in changes))
            found.setdefault(key, Suggestion(changes=changes, answers=before, facts=final, left=tuple(check(final))))
    return sorted(found.values(), key=lambda s: len(s.changes))


def nothing_helps(facts: CheckFacts, choices: Choices) -> bool:
    """Whether the job is refused and no change known here would make it lawful: to be said plainly."""
    return bool(refusals(check(facts))) and not alternatives(facts, choices)


def _solve(plan: _Plan, choices: Choices, order: Sequence[Turn]) -> _Plan | None:
    """Turn each screw in order as long as it helps; then undo every change that turns out not to be needed."""
    refused = plan.refused()
    for turn in order:
        if not refused:
            break
        for candidate in _TURNS[turn](plan, choices):
            after = candidate.refused()
            if len(after) < len(refused) and set(after) <= set(refused):
                plan, refused = candidate, after
                break
    return None if refused else _needed_only(plan)


def _needed_only(plan: _Plan) -> _Plan:
    for edit in plan.edits:
        start_at = None if edit.turn is Turn.START else plan.start_at
        without = replace(plan, start_at=start_at, edits=tuple(kept for kept in plan.edits if kept is not edit))
        if not without.refused():
            plan = without
    return plan


def _same(facts: CheckFacts) -> CheckFacts:
    return facts


def _starts(plan: _Plan, choices: Choices) -> Iterator[_Plan]:
    """Other starts, later ones first tried in order; the first that helps most is found by the caller's order."""
    if plan.mover is None:
        return
    tried: list[tuple[int, _Plan]] = []
    for start_at in choices.starts:
        change = Change(
            turn=Turn.START,
            template=gettext_noop("Start at {start} instead."),
            numbers={"start": plan.base.local(start_at)},
            value=start_at.isoformat(),
        )
        moved = replace(plan.with_change(change, _same), start_at=start_at)
        left = len(moved.refused())
        if left == 0:
            yield moved
            return
        tried.append((left, moved))
    yield from (moved for _, moved in sorted(tried, key=lambda row: row[0])[:1])


def _rates(plan: _Plan, choices: Choices) -> Iterator[_Plan]:
    """For each line the highest rate, within the label's range, that takes a refusal away."""
    for j in plan.facts().judged:
        if j.rate_amount is None or j.line.rate.basis is not j.use.rate_basis:
            continue
        highest = min(j.rate_amount, Fraction(j.use.rate_max))
        steps, least = floor(highest / Fraction(STEP)), ceil(Fraction(j.use.rate_min or STEP) / Fraction(STEP))
        if steps < least:
            continue
        best = len(_at_rate(plan, j, least).refused())
        if best >= len(plan.refused()):
            continue
        low, high = least, steps
        while low < high:
            middle = (low + high + 1) // 2
            if len(_at_rate(plan, j, middle).refused()) == best:
                low = middle
            else:
                high = middle - 1
        yield _at_rate(plan, j, low)


def _at_rate(plan: _Plan, j: Judged, steps: int) -> _Plan:
    quantity = Quantity(STEP * steps, j.use.rate_unit)
    rate = replace(j.line.rate, quantity=quantity)
    change = Change(
        turn=Turn.RATE,
        template=gettext_noop("{product} at {rate}, the highest that fits."),
        numbers={"product": j.line.name, "rate": str(rate)},
        value=str(quantity.amount),
        product_id=j.line.product_id,
    )
    return plan.with_change(
        change, lambda facts: _with_line(facts, j.line.product_id, lambda line: replace(line, rate=rate))
    )


def _with_line(facts: CheckFacts, product_id: int | str, edit: Callable[[MixLine], MixLine]) -> CheckFacts:
    """One line edited; what the job needs of it in the shed follows the rate."""
    lines, stock = [], dict(facts.stock or {})
    for line in facts.lines:
        new = edit(line) if line.product_id == product_id else line
        lines.append(new)
        held = stock.get(line.product_id)
        if new is not line and held is not None and new.rate.quantity.dimension is line.rate.quantity.dimension:
            share = CONTEXT.divide(new.rate.quantity.to(line.rate.quantity.unit).amount, line.rate.quantity.amount)
            stock[line.product_id] = replace(held, needed=held.needed * share)
    return replace(facts, lines=tuple(lines), stock=None if facts.stock is None else stock)


def _volumes(plan: _Plan, choices: Choices) -> Iterator[_Plan]:
    """The spray volume that the most demanding label asks for."""
    needs = [n for j in plan.facts().judged if (n := j.use.min_spray_gpa or j.label.min_spray_gpa) is not None]
    if not needs:
        return
    gpa = max(needs)
    change = Change(
        turn=Turn.VOLUME,
        template=gettext_noop("Spray {gpa} gal/acre, with a calibration to match."),
        numbers={"gpa": plain(gpa)},
        value=plain(gpa),
    )
    yield plan.with_change(change, lambda facts: replace(facts, spray_gpa=gpa))


def _products(plan: _Plan, choices: Choices) -> Iterator[_Plan]:
    """A line swapped for a product in the shed of the same kind, another group, labelled here for the same targets."""
    for j in plan.facts().judged:
        for shelf in choices.shed:
            other = shelf.line
            if other.label is None or other.label.kind is not j.label.kind or other.product_id == j.line.product_id:
                continue
            if set(other.label.groups) & set(j.label.groups):
                continue
            swap = replace(other, targets=j.line.targets)
            change = Change(
                turn=Turn.PRODUCT,
                template=gettext_noop("{other} at {rate} instead of {product}."),
                numbers={"other": other.name, "rate": str(other.rate), "product": j.line.name},
                value=str(other.product_id),
                product_id=j.line.product_id,
            )
            yield plan.with_change(change, _swapping(j.line.product_id, swap, shelf.available, choices.acres))


def _swapping(product_id: int | str, swap: MixLine, available: Quantity, acres: Decimal | None) -> Apply:
    """The line exchanged; the shed is asked for the new product. What is not known to be enough is short."""

    def swapped(facts: CheckFacts) -> CheckFacts:
        lines = tuple(swap if line.product_id == product_id else line for line in facts.lines)
        if facts.stock is None:
            return replace(facts, lines=lines)
        stock = {key: held for key, held in facts.stock.items() if key != product_id}
        per_acre = swap.rate.per_acre(facts.spray_gpa)
        if acres is not None and per_acre is not None:
            stock[swap.product_id] = StockFact(available=available, needed=per_acre * acres)
        return replace(facts, lines=lines, stock=stock)

    return swapped


def _applicators(plan: _Plan, choices: Choices) -> Iterator[_Plan]:
    for worker in choices.workers:
        change = Change(
            turn=Turn.APPLICATOR,
            template=gettext_noop("{who} as applicator."),
            numbers={"who": worker.name},
            value=worker.name,
        )
        yield plan.with_change(change, _applying(worker))


def _applying(worker: Worker) -> Apply:
    return lambda facts: replace(facts, applicator=worker, supervisor=None, supervised=False)


def _areas(plan: _Plan, choices: Choices) -> Iterator[_Plan]:
    """As many acres as the scarcest product is enough for."""
    facts = plan.facts()
    shares = [
        Fraction(held.available.to(held.needed.unit).amount) / Fraction(held.needed.amount)
        for held in (facts.stock or {}).values()
        if held.needed.amount > 0 and held.needed.dimension is held.available.dimension
    ]
    if choices.acres is None or not shares or min(shares) >= 1 or len(shares) < len(facts.lines):
        return
    exact = CONTEXT.divide(Decimal(min(shares).numerator), Decimal(min(shares).denominator)) * choices.acres
    acres = exact.quantize(STEP, rounding=ROUND_DOWN)
    if acres <= 0:
        return
    share = CONTEXT.divide(acres, choices.acres)
    change = Change(
        turn=Turn.AREA,
        template=gettext_noop("Spray {acres} acres with what is in the shed."),
        numbers={"acres": plain(acres)},
        value=plain(acres),
    )
    yield plan.with_change(change, lambda given: _smaller(given, share))


def _smaller(facts: CheckFacts, share: Decimal) -> CheckFacts:
    stock = {
        product_id: StockFact(available=held.available, needed=held.needed * share)
        for product_id, held in (facts.stock or {}).items()
    }
    return replace(facts, stock=stock)


def _opens_at(facts: CheckFacts) -> datetime | None:
    """When picking may begin after this spray; ``None`` while an interval of the tank is not known."""
    opens = [harvest_opens(facts.end_at, phi_days(j.use, j.rate_amount), facts.zone) for j in facts.judged]
    opens += [entry_end(facts.end_at, rei_hours(j.label, j.use)) for j in facts.judged]
    known = [instant for instant in opens if instant is not None]
    return max(known) if known and len(known) == len(opens) else None


def _harvests(plan: _Plan, choices: Choices) -> Iterator[_Plan]:
    """The harvest put off until every pre-harvest and entry interval of the tank has run."""
    if _opens_at(plan.facts()) is not None:
        yield plan.but(_Edit(Turn.HARVEST, _later_harvest, _tell_harvest))


def _tell_harvest(facts: CheckFacts) -> Change:
    opens_at = _opens_at(facts) or facts.end_at
    template = gettext_noop("Harvest not before {at}.")
    numbers = {"at": facts.local(opens_at)}
    return Change(turn=Turn.HARVEST, template=template, numbers=numbers, value=opens_at.isoformat())


def _later_harvest(facts: CheckFacts) -> CheckFacts:
    opens_at = _opens_at(facts)
    if opens_at is None:
        return facts
    entries = tuple(replace(e, at=max(e.at, opens_at)) if e.is_harvest else e for e in facts.entries)
    picked = None if facts.harvest_at is None else max(facts.harvest_at, opens_at)
    return replace(facts, harvest_at=picked, entries=entries)


_TURNS: dict[Turn, Callable[[_Plan, Choices], Iterator[_Plan]]] = {
    Turn.VOLUME: _volumes,
    Turn.RATE: _rates,
    Turn.PRODUCT: _products,
    Turn.APPLICATOR: _applicators,
    Turn.AREA: _areas,
    Turn.START: _starts,
    Turn.HARVEST: _harvests,
}
