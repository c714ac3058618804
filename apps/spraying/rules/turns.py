"""The screws that can be turned on a refused job: each gives attempts, the most hopeful first."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction
from math import ceil, floor

from apps.products.rules import phi_days, rei_hours, uses_on
from apps.safety.rules import entry_end, harvest_opens
from apps.spraying.rules.attempt import Apply, Attempt, Change, Choices, Edit, OnShelf, Turn
from apps.spraying.rules.facts import CheckFacts, StockFact, Worker
from apps.spraying.rules.mix import Judged, MixLine
from apps.spraying.rules.saying import plain
from farmops.errors import gettext_noop
from farmops.units import CONTEXT, Quantity

STEP = Decimal("0.01")  # rates are offered in hundredths of their unit, acres in hundredths


def _same(facts: CheckFacts) -> CheckFacts:
    return facts


def _fixed(change: Change, apply: Apply, about: int | str | None = None) -> Edit:
    return Edit(change.turn, change.value, apply, lambda _: change, change.product_id if about is None else about)


# ---- when ------------------------------------------------------------------------------


def starts(attempt: Attempt, choices: Choices) -> Iterator[Attempt]:
    """Other starts in order; the first without a refusal, else the one that helps most."""
    if not choices.movers:
        return
    tried: list[tuple[int, Attempt]] = []
    for start_at in choices.starts:
        moved = attempt.started(Edit(Turn.START, start_at.isoformat(), _same, _telling_start(attempt)), start_at)
        tried.append((len(moved.refusals()), moved))
        if not moved.refusals():
            break
    yield from (moved for _, moved in sorted(tried, key=lambda row: row[0])[:1])


def _telling_start(attempt: Attempt) -> Callable[[Sequence[CheckFacts]], Change]:
    was = attempt.case.blocks[0]

    def tell(blocks: Sequence[CheckFacts]) -> Change:
        now = blocks[0]
        numbers = {"start": now.local(now.start_at), "end": now.local(now.end_at)}
        template = gettext_noop("Start at {start} instead.")
        if now.end_at - now.start_at < was.end_at - was.start_at:
            template = gettext_noop("Start at {start} instead, and be done by {end}.")
        return Change(turn=Turn.START, template=template, numbers=numbers, value=now.start_at.isoformat())

    return tell


def _opens_at(facts: CheckFacts) -> datetime | None:
    """When picking may begin after this spray; ``None`` while an interval of the tank is not known."""
    opens = [harvest_opens(facts.end_at, phi_days(j.use, j.rate_amount), facts.zone) for j in facts.judged]
    opens += [entry_end(facts.end_at, rei_hours(j.label, j.use)) for j in facts.judged]
    known = [instant for instant in opens if instant is not None]
    return max(known) if known and len(known) == len(opens) else None


def harvests(attempt: Attempt, choices: Choices) -> Iterator[Attempt]:
    """The harvest put off until every pre-harvest and entry interval of the tank has run."""
    if any(_opens_at(facts) is None for facts in attempt.facts()):
        return
    yield attempt.but(Edit(Turn.HARVEST, "", _later_harvest, _tell_harvest))


def _tell_harvest(blocks: Sequence[CheckFacts]) -> Change:
    opens_at = max(_opens_at(facts) or facts.end_at for facts in blocks)
    template = gettext_noop("Harvest not before {at}.")
    numbers = {"at": blocks[0].local(opens_at)}
    return Change(turn=Turn.HARVEST, template=template, numbers=numbers, value=opens_at.isoformat())


def _later_harvest(facts: CheckFacts) -> CheckFacts:
    opens_at = _opens_at(facts)
    if opens_at is None:
        return facts
    entries = tuple(replace(e, at=max(e.at, opens_at)) if e.is_harvest else e for e in facts.entries)
    picked = None if facts.harvest_at is None else max(facts.harvest_at, opens_at)
    return replace(facts, harvest_at=picked, entries=entries)


# ---- how much --------------------------------------------------------------------------


def rates(attempt: Attempt, choices: Choices) -> Iterator[Attempt]:
    """For each product the highest rate, within every block's label range, that takes a refusal away."""
    for product_id in dict.fromkeys(line.product_id for line in attempt.case.blocks[0].lines):
        rows = [j for facts in attempt.facts() for j in facts.judged if j.line.product_id == product_id]
        amounts = [j.rate_amount for j in rows if j.line.rate.basis is j.use.rate_basis and j.rate_amount is not None]
        if not rows or len(amounts) < len(rows) or len({j.use.rate_unit for j in rows}) > 1:
            continue
        highest = min(*amounts, *(Fraction(j.use.rate_max) for j in rows))
        lowest = max(Fraction(j.use.rate_min or STEP) for j in rows)
        steps, least = floor(highest / Fraction(STEP)), ceil(lowest / Fraction(STEP))
        if steps >= least:
            yield from _highest(attempt, rows[0], least, steps)


def _highest(attempt: Attempt, j: Judged, least: int, most: int) -> Iterator[Attempt]:
    """The highest number of steps that refuses no more than the fewest: halving, since more is never more lawful."""
    best = len(_at_rate(attempt, j, least).refusals())
    if best >= len(attempt.refusals()):
        return
    low, high = least, most
    while low < high:
        middle = (low + high + 1) // 2
        if len(_at_rate(attempt, j, middle).refusals()) == best:
            low = middle
        else:
            high = middle - 1
    yield _at_rate(attempt, j, low)


def _at_rate(attempt: Attempt, j: Judged, steps: int) -> Attempt:
    quantity = Quantity(STEP * steps, j.use.rate_unit)
    rate = replace(j.line.rate, quantity=quantity)
    change = Change(
        turn=Turn.RATE,
        template=gettext_noop("{product} at {rate}, the highest that fits."),
        numbers={"product": j.line.name, "rate": str(rate)},
        value=str(quantity.amount),
        unit=quantity.unit,
        product_id=j.line.product_id,
    )

    def lowered(facts: CheckFacts) -> CheckFacts:
        return _with_line(facts, j.line.product_id, lambda line: replace(line, rate=rate))

    return attempt.but(_fixed(change, lowered))


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


def volumes(attempt: Attempt, choices: Choices) -> Iterator[Attempt]:
    """The spray volume that the most demanding label asks for."""
    judged = [j for facts in attempt.facts() for j in facts.judged]
    needs = [n for j in judged if (n := j.use.min_spray_gpa or j.label.min_spray_gpa) is not None]
    if not needs:
        return
    gpa = max(needs)
    change = Change(
        turn=Turn.VOLUME,
        template=gettext_noop("Spray {gpa} gal/acre, with a calibration to match."),
        numbers={"gpa": plain(gpa)},
        value=plain(gpa),
        unit="gal",
    )
    yield attempt.but(_fixed(change, lambda facts: replace(facts, spray_gpa=gpa)))


# ---- what and who ----------------------------------------------------------------------


def products(attempt: Attempt, choices: Choices) -> Iterator[Attempt]:
    """A line swapped for a product in the shed of the same kind and another group that fits every block."""
    blocks = attempt.facts()
    in_tank = {line.product_id for facts in blocks for line in facts.lines}
    for j in blocks[0].judged:
        for shelf in choices.shed:
            if shelf.line.product_id not in in_tank and _may_stand_in(shelf, j, blocks):
                yield _swapped(attempt, j, shelf, choices.acres)


def _may_stand_in(shelf: OnShelf, j: Judged, blocks: Sequence[CheckFacts]) -> bool:
    """Same kind, no group shared, and the label names the crop and the target of every block."""
    label = shelf.line.label
    if label is None or label.kind is not j.label.kind or set(label.groups) & set(j.label.groups):
        return False
    return all(uses_on(label, facts.site_code, j.line.targets) for facts in blocks)


def _swapped(attempt: Attempt, j: Judged, shelf: OnShelf, acres: Decimal | None) -> Attempt:
    swap = replace(shelf.line, targets=j.line.targets)
    change = Change(
        turn=Turn.PRODUCT,
        template=gettext_noop("{other} at {rate} instead of {product}."),
        numbers={"other": swap.name, "rate": str(swap.rate), "product": j.line.name},
        value=str(swap.product_id),
        product_id=j.line.product_id,
    )
    return attempt.but(_fixed(change, _swapping(j.line.product_id, swap, shelf.available, acres)))


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


def applicators(attempt: Attempt, choices: Choices) -> Iterator[Attempt]:
    for worker in choices.workers:
        change = Change(
            turn=Turn.APPLICATOR,
            template=gettext_noop("{who} as applicator."),
            numbers={"who": worker.name},
            value=str(worker.person_id or worker.name),
        )
        yield attempt.but(_fixed(change, _applying(worker)))


def _applying(worker: Worker) -> Apply:
    return lambda facts: replace(facts, applicator=worker, supervisor=None, supervised=False)


# ---- where -----------------------------------------------------------------------------


def areas(attempt: Attempt, choices: Choices) -> Iterator[Attempt]:
    """As many acres as the scarcest product is enough for."""
    facts = attempt.facts()[0]
    shares = [
        Fraction(held.available.to(held.needed.unit).amount) / Fraction(held.needed.amount)
        for held in (facts.stock or {}).values()
        if held.needed.amount > 0 and held.needed.dimension is held.available.dimension
    ]
    if choices.acres is None or not shares or min(shares) >= 1 or len(shares) < len(facts.lines):
        return
    whole = _acres_in(attempt, choices)
    exact = CONTEXT.divide(Decimal(min(shares).numerator), Decimal(min(shares).denominator)) * whole
    acres = exact.quantize(STEP, rounding=ROUND_DOWN)
    if acres <= 0:
        return
    share = CONTEXT.divide(acres, whole)
    change = Change(
        turn=Turn.AREA,
        template=gettext_noop("Spray {acres} acres with what is in the shed."),
        numbers={"acres": plain(acres)},
        value=plain(acres),
        unit="ac",
    )
    yield attempt.but(_fixed(change, lambda given: _smaller(given, share)))


def _acres_in(attempt: Attempt, choices: Choices) -> Decimal:
    """The acres of the blocks that are still in the job."""
    if not choices.block_acres:
        return choices.acres or Decimal(0)
    return sum((choices.block_acres[place] for place in attempt.by_place()), start=Decimal(0))


def _smaller(facts: CheckFacts, share: Decimal) -> CheckFacts:
    stock = {
        product_id: StockFact(available=held.available, needed=held.needed * share)
        for product_id, held in (facts.stock or {}).items()
    }
    return replace(facts, stock=None if facts.stock is None else stock)


def blocks(attempt: Attempt, choices: Choices) -> Iterator[Attempt]:
    """The refused blocks left out, as long as another one stays."""
    refused = sorted({place for place, _ in attempt.refusals()})
    if len(choices.block_acres) != len(attempt.case.blocks) or len(refused) >= len(attempt.by_place()):
        return
    attempt = replace(attempt, edits=tuple(edit for edit in attempt.edits if edit.turn is not Turn.AREA))
    for place in refused:
        attempt = _without_block(attempt, choices, place)
    yield attempt
    yield from areas(attempt, choices)  # fewer acres are worked out anew for the blocks that stay


def _without_block(attempt: Attempt, choices: Choices, place: int) -> Attempt:
    inside = attempt.by_place()
    rest = sum((choices.block_acres[p] for p in inside if p != place), start=Decimal(0))
    share = CONTEXT.divide(rest, rest + choices.block_acres[place])
    change = Change(
        turn=Turn.BLOCK,
        template=gettext_noop("Leave {block} out of this job."),
        numbers={"block": inside[place].block_name},
        value=inside[place].block_name,
    )
    return attempt.leaving_out(_fixed(change, _leaving(share), place), place)


def _leaving(share: Decimal) -> Apply:
    return lambda facts: _smaller(facts, share)


TURNS: dict[Turn, Callable[[Attempt, Choices], Iterator[Attempt]]] = {
    Turn.VOLUME: volumes,
    Turn.RATE: rates,
    Turn.PRODUCT: products,
    Turn.APPLICATOR: applicators,
    Turn.AREA: areas,
    Turn.START: starts,
    Turn.HARVEST: harvests,
    Turn.BLOCK: blocks,
}
