"""What has been used against what may be used: one pass, the season, days between sprays, the shed."""

from __future__ import annotations

from collections.abc import Iterator

from apps.products.rules import CapPer
from apps.spraying.rules.caps import caps_for, stretches
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.intervals import gap_days
from apps.spraying.rules.mix import Judged, total_pounds
from apps.spraying.rules.passed.row import Passed, passes
from apps.spraying.rules.saying import amount, grounds, on_label, pounds
from apps.spraying.rules.season import counted, product_sum, uses_counted
from farmops.errors import gettext_noop

RECORDS = "history_unknown history_unread duplicate"
"""Findings that say the records cannot be counted on: then no sum of the past is called passed."""


def passed(facts: CheckFacts) -> Iterator[Passed]:
    yield from _one_pass(facts)
    for j in facts.judged:
        yield from _uses(facts, j)
        yield from _product(facts, j)
        yield from _interval(facts, j)
        yield from _apart(j)
    yield from _ingredients(facts)
    yield from _shed(facts)


def _uncounted(facts: CheckFacts) -> frozenset[str]:
    """Ingredients of which this tank holds nobody knows how much: no sum of them is called passed."""
    return frozenset(name for j in facts.judged if j.pounds is None for name in j.label.ingredient_names)


def _one_pass(facts: CheckFacts) -> Iterator[Passed]:
    tank, uncounted = total_pounds(facts.judged), _uncounted(facts)
    for ingredient, cap, line in caps_for(facts, CapPer.PASS):
        if ingredient in uncounted:
            continue
        template = gettext_noop("{ingredient}: {total} per acre in this tank; {limit} in one application ({product}).")
        numbers = {
            "ingredient": ingredient,
            "total": pounds(tank[ingredient]),
            "limit": pounds(cap.pounds),
            "product": line.name,
        }
        source = on_label(line, "caps", f"{ingredient} in one application")
        yield passes("one_pass", template, "rate_ai_single", source=source, about=ingredient, **numbers)


def _uses(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    most = j.use.max_uses
    if most is None:
        return
    rows = [s for events in grounds(facts).values() for s in stretches(facts, events, j.use.season_basis)]
    fullest = max(rows, key=lambda s: uses_counted(s, j))
    template = gettext_noop("{product}: use {count} of {limit} ({since} to {until}).")
    numbers = {"product": j.line.name, "count": str(uses_counted(fullest, j)), "limit": str(most), **fullest.days}
    source = on_label(j.line, "max_uses", "number of applications")
    yield passes("uses", template, "max_apps", source=source, unless=RECORDS, about=j.line.name, **numbers)


def _product(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    limit, unit = j.use.season_max_product, j.use.season_max_unit or j.use.rate_unit
    if limit is None:
        return
    rows = [s for events in grounds(facts).values() for s in stretches(facts, events, j.use.season_basis)]
    fullest = max(rows, key=lambda s: product_sum(facts, s, j, unit))
    template = gettext_noop("{product}: {total} per acre with this spray; {limit} in a season ({since} to {until}).")
    numbers = {
        "product": j.line.name,
        "total": amount(product_sum(facts, fullest, j, unit), unit),
        "limit": amount(limit, unit),
        **fullest.days,
    }
    source = on_label(j.line, "season_max_product", "season total of the product")
    yield passes(
        "season_product",
        template,
        "season_product rate_unit rate_unknown",
        source=source,
        unless=RECORDS,
        about=j.line.name,
        **numbers,
    )


def _ingredients(facts: CheckFacts) -> Iterator[Passed]:
    rows = [row for per in (CapPer.YEAR, CapPer.CROP) for row in caps_for(facts, per)]
    template = gettext_noop("{ingredient}: {total} per acre with this spray; {limit} allowed ({since} to {until}).")
    uncounted = _uncounted(facts)
    for ingredient, cap, line in rows:
        if ingredient in uncounted:
            continue
        counts = [counted(facts, events, cap, line) for events in grounds(facts).values()]
        fullest = max(counts, key=lambda c: c.total)
        numbers = {k: v for k, v in fullest.numbers.items() if k not in ("percent", "product")}
        source = on_label(line, "caps", f"{ingredient} in a season, all products together")
        against = "season_ai season_near"
        yield passes("season_ingredient", template, against, source=source, unless=RECORDS, about=ingredient, **numbers)


def _interval(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    need = j.use.min_interval_days
    if need is None:
        return
    product, source = j.line.name, on_label(j.line, "min_interval_days", "shortest interval")
    mine = [e for events in grounds(facts).values() for e in events if j.line.product_id in e.product_ids]
    against = "interval interval_ai interval_unknown"
    if not mine:
        template = gettext_noop("{product}: no other spray of it is on record here; {limit} days must lie between two.")
        yield passes(
            "interval",
            template,
            against,
            source=source,
            unless=RECORDS,
            about=product,
            product=product,
            limit=str(need),
        )
        return
    nearest = min(mine, key=lambda e: gap_days(facts, e))
    template = gettext_noop("{product}: {days} days from the spray of {on}; at least {limit}.")
    numbers = {"days": str(gap_days(facts, nearest)), "on": str(nearest.on_date), "limit": str(need)}
    yield passes(
        "interval", template, against, source=source, unless=RECORDS, about=product, product=product, **numbers
    )


def _apart(j: Judged) -> Iterator[Passed]:
    template = gettext_noop("{product}: nothing with {ingredient} is in the tank or within {limit} days of it.")
    for apart in j.label.separations:
        numbers = {"product": j.line.name, "ingredient": apart.ingredient, "limit": str(apart.days)}
        source = on_label(j.line, "separations", f"keep apart from {apart.ingredient}")
        yield passes(
            "apart", template, "separation oil_unknown", source=source, unless=RECORDS, about=j.line.name, **numbers
        )


def _shed(facts: CheckFacts) -> Iterator[Passed]:
    template = gettext_noop("{product}: the job needs {needed}; {available} is available.")
    for line in facts.lines:
        held = (facts.stock or {}).get(line.product_id)
        if held is not None:
            numbers = {"product": line.name, "needed": str(held.needed), "available": str(held.available)}
            yield passes("stock", template, "stock_short stock_unit", source="shed ledger", about=line.name, **numbers)
