"""Uses, product and ingredient in a year, 12 months or crop: this spray counted in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from apps.products.rules import CapPer, IngredientCap, YearBasis, amount_in, exceeds
from apps.spraying.rules.caps import Stretch, caps_for, label_caps, stretches
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Event, Judged, MixLine, total_pounds
from apps.spraying.rules.saying import PROJECT, amount, by_ground, justify, note, on_label, plain, pounds, refuse
from farmops.errors import Finding, gettext_noop
from farmops.units import dimension_of

YEAR_DAYS = 366
CLOSE_ENOUGH = Fraction(1, 10**6)  # pound: what typing an amount in another unit may leave behind


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: max_apps, season_product, season_product_near, season_ai, season_near, season_ai_other_label,
    year_basis_unknown, history_unknown, history_unread."""
    return [*by_ground(facts, _on_ground), *_year_basis(facts), *_history_short(facts)]


def _on_ground(facts: CheckFacts, events: tuple[Event, ...]) -> list[Finding]:
    found = [f for j in _each_product(facts) for f in (*_uses(facts, events, j), *_product(facts, events, j))]
    return [*found, *_ingredients(facts, events), *_other_labels(facts, events), *_unread(facts, events)]


def _each_product(facts: CheckFacts) -> list[Judged]:
    return list({j.line.product_id: j for j in facts.judged}.values())


def _uses(facts: CheckFacts, events: tuple[Event, ...], j: Judged) -> list[Finding]:
    if j.use.max_uses is None:
        return []
    count, stretch = max(
        ((uses_counted(s, j), s) for s in stretches(facts, events, j.use.season_basis)), key=lambda row: row[0]
    )
    if count <= j.use.max_uses:
        return []
    template = gettext_noop("{product}: this would be use {count} of at most {limit} on {ground} ({since} to {until}).")
    source = on_label(j.line, "max_uses", "number of applications")
    numbers = {"product": j.line.name, "count": str(count), "limit": str(j.use.max_uses), **stretch.days}
    return [refuse("max_apps", template, source=source, **numbers)]


def uses_counted(stretch: Stretch, j: Judged) -> int:
    return 1 + sum(j.line.product_id in event.product_ids for event in stretch.events)


def _product(facts: CheckFacts, events: tuple[Event, ...], j: Judged) -> list[Finding]:
    if j.use.season_max_product is None:
        return []
    unit, limit = j.use.season_max_unit or j.use.rate_unit, Fraction(j.use.season_max_product)
    total, stretch = max(
        ((product_sum(facts, s, j, unit), s) for s in stretches(facts, events, j.use.season_basis)),
        key=lambda row: row[0],
    )
    numbers = {
        "product": j.line.name,
        "total": amount(total, unit),
        "limit": amount(limit, unit),
        **stretch.days,
    }
    source = on_label(j.line, "season_max_product", "season total of the product")
    if exceeds(total, limit):
        template = gettext_noop(
            "{product}: {total} per acre with this spray, {limit} allowed on {ground} ({since} to {until})."
        )
        return [refuse("season_product", template, source=source, field="rate", **numbers)]
    if total >= limit * facts.policy.season_near:
        template = gettext_noop(
            "{product}: {total} per acre with this spray of {limit} allowed on {ground} ({since} to {until})."
        )
        return [note("season_product_near", template, source=source, field="rate", **numbers)]
    return []


def product_sum(facts: CheckFacts, stretch: Stretch, j: Judged, unit: str) -> Fraction:
    """Per acre, in ``unit``; a past amount that cannot be read in it is named by ``history_unread``."""
    mine = [*facts.judged, *(past for event in stretch.events for past in event.judged)]
    given = [past.per_acre for past in mine if past.line.product_id == j.line.product_id]
    return sum(
        (amount_in(q, unit) for q in given if q is not None and q.dimension is dimension_of(unit)), start=Fraction(0)
    )


@dataclass(frozen=True)
class Count:
    """One ingredient limit with the fullest stretch it is counted over."""

    cap: IngredientCap
    line: MixLine
    total: Fraction
    stretch: Stretch

    @property
    def over(self) -> bool:
        return self.total > Fraction(self.cap.pounds) + CLOSE_ENOUGH

    @property
    def share(self) -> Fraction:
        return self.total / Fraction(self.cap.pounds)

    @property
    def numbers(self) -> dict[str, str]:
        return {
            "ingredient": self.cap.ingredient,
            "total": pounds(self.total),
            "limit": pounds(self.cap.pounds),
            "percent": f"{plain(round(self.share * 100, 1))} %",
            **self.stretch.days,
            "product": self.line.name,
        }


def counted(facts: CheckFacts, events: tuple[Event, ...], cap: IngredientCap, line: MixLine) -> Count:
    tank = total_pounds(facts.judged).get(cap.ingredient, Fraction(0))
    rows = (
        (tank + sum((e.pounds.get(cap.ingredient, Fraction(0)) for e in s.events), start=Fraction(0)), s)
        for s in stretches(facts, events, YearBasis.CROP if cap.per is CapPer.CROP else cap.year_basis)
    )
    total, stretch = max(rows, key=lambda row: row[0])
    return Count(cap, line, total, stretch)


def _ingredients(facts: CheckFacts, events: tuple[Event, ...]) -> list[Finding]:
    """Of the limits on one ingredient the one that is fullest speaks."""
    rows = [row for per in (CapPer.YEAR, CapPer.CROP) for row in caps_for(facts, per)]
    fullest: dict[str, Count] = {}
    for name, cap, line in rows:
        count = counted(facts, events, cap, line)
        if name not in fullest or count.share > fullest[name].share:
            fullest[name] = count
    return [f for count in fullest.values() for f in _ingredient(facts, count)]


def _ingredient(facts: CheckFacts, count: Count) -> list[Finding]:
    source = on_label(count.line, "caps", f"{count.cap.ingredient} in a season, all products together")
    if count.over:
        template = gettext_noop(
            "{ingredient}: {total} per acre with this spray, {limit} allowed on {ground} "
            "({since} to {until}; {product})."
        )
        return [refuse("season_ai", template, source=source, field="rate", **count.numbers)]
    if count.share >= facts.policy.season_near:
        template = gettext_noop(
            "{ingredient}: {total} per acre with this spray, {percent} of the {limit} allowed on {ground} "
            "({since} to {until}; {product})."
        )
        near = facts.policy.where("season_near", PROJECT)
        return [justify("season_near", template, source=f"{source}; {near}", field="rate", **count.numbers)]
    return []


def _other_labels(facts: CheckFacts, events: tuple[Event, ...]) -> list[Finding]:
    """A label used before limits an ingredient of this tank that no label in the tank limits."""
    tank = total_pounds(facts.judged)
    bound = {name for per in (CapPer.YEAR, CapPer.CROP) for name, _, _ in caps_for(facts, per)}
    rows: dict[str, Count] = {}
    for event in (e for e in events if abs((facts.on_date - e.on_date).days) <= YEAR_DAYS):
        for past in event.judged:
            for cap, line in label_caps(past, CapPer.YEAR, facts.site_code):
                if cap.ingredient in tank and cap.ingredient not in bound and cap.ingredient not in rows:
                    rows[cap.ingredient] = counted(facts, events, cap, line)
    template = gettext_noop(
        "{ingredient}: {total} per acre with this spray; {product}, used before, allows {limit} on {ground} "
        "({since} to {until})."
    )
    return [
        justify("season_ai_other_label", template, source=on_label(c.line, "caps"), field="rate", **c.numbers)
        for c in rows.values()
        if c.over
    ]


def _unread(facts: CheckFacts, events: tuple[Event, ...]) -> list[Finding]:
    names = sorted({name for e in events if e.on_date.year >= facts.on_date.year - 1 for name in e.unread})
    if not names:
        return []
    template = gettext_noop("Past sprays on {ground} cannot be counted: no label or no comparable rate for {products}.")
    return [justify("history_unread", template, source=PROJECT, products=", ".join(names))]


def _year_basis(facts: CheckFacts) -> list[Finding]:
    """Say so where the label does not tell what a year is and the strictest reading was taken."""
    template = gettext_noop(
        "{product}: the label does not say what it means by a season, so the strictest reading is used: "
        "any 12 months, and the crop."
    )
    return [
        note("year_basis_unknown", template, source=f"{on_label(j.line, 'caps')}; {PROJECT}", product=j.line.name)
        for j in _each_product(facts)
        if _unknown_basis(j, facts.site_code)
    ]


def _unknown_basis(j: Judged, site_code: str | None) -> bool:
    counted = j.use.max_uses is not None or j.use.season_max_product is not None
    caps = label_caps(j, CapPer.YEAR, site_code)
    unknown = YearBasis.UNKNOWN
    return (counted and j.use.season_basis is unknown) or any(cap.year_basis is unknown for cap, _ in caps)


def _history_short(facts: CheckFacts) -> list[Finding]:
    """Limits that look back are only as good as the records they are counted from."""
    since = _looks_back_to(facts)
    if since is None or (facts.history_known_from is not None and facts.history_known_from <= since):
        return []
    template = gettext_noop("Limits here look back to {since}; sprays on {block} are on record from {known}.")
    known = str(facts.history_known_from or "?")
    return [justify("history_unknown", template, source=PROJECT, block=facts.block_name, since=str(since), known=known)]


def _looks_back_to(facts: CheckFacts) -> date | None:
    """The earliest day that any limit of this mix counts from; ``None`` if none looks back."""
    bases = {j.use.season_basis for j in facts.judged if j.use.max_uses or j.use.season_max_product is not None}
    for per in (CapPer.YEAR, CapPer.CROP):
        bases |= {YearBasis.CROP if per is CapPer.CROP else cap.year_basis for _, cap, _ in caps_for(facts, per)}
    days = [j.use.min_interval_days or 0 for j in facts.judged]
    days += [apart.days for j in facts.judged for apart in j.label.separations]
    starts = [s.since for basis in bases for s in stretches(facts, (), basis)]
    longest = max(days, default=0)
    return min([*starts, *([facts.on_date - timedelta(days=longest)] if longest else [])], default=None)
