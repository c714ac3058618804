"""Days between sprays: the same product, a shared ingredient, ingredients that must be kept apart."""

from __future__ import annotations

from apps.products.rules import IntervalScope, Label
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Event, Judged
from apps.spraying.rules.saying import PROJECT, by_ground, justify, on_label, refuse
from farmops.errors import Finding, gettext_noop

UNKNOWN_LOOKS_BACK_DAYS = 60
LONGEST_DAYS = 730  # no interval or separation is longer: the reader of labels refuses it


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: interval, interval_ai, interval_unknown, separation, oil_unknown, duplicate."""
    return [*by_ground(facts, _on_ground), *_in_tank(facts)]


def _on_ground(facts: CheckFacts, events: tuple[Event, ...]) -> list[Finding]:
    found = _duplicate(facts, events)
    near = tuple(e for e in events if gap_days(facts, e) <= LONGEST_DAYS)
    for j in facts.judged:
        found += _same_product(facts, near, j)
        found += _shared_ingredient(facts, near, j)
        found += _apart(facts, near, j)
    return found


def gap_days(facts: CheckFacts, event: Event) -> int:
    """Whole calendar days between the planned day and a spray before or after it."""
    return abs((facts.on_date - event.on_date).days)


def _same_product(facts: CheckFacts, events: tuple[Event, ...], j: Judged) -> list[Finding]:
    nearest = min(
        (e for e in events if j.line.product_id in e.product_ids), key=lambda e: gap_days(facts, e), default=None
    )
    if nearest is None:
        return []
    gap, need = gap_days(facts, nearest), j.use.min_interval_days
    source = on_label(j.line, "min_interval_days", "shortest interval")
    numbers = {"product": j.line.name, "days": str(gap), "on": str(nearest.on_date)}
    if need is None:
        if gap > UNKNOWN_LOOKS_BACK_DAYS:
            return []
        template = gettext_noop(
            "{product}: {days} days from the spray of {on} on {ground}; the label's shortest interval is not on record."
        )
        return [justify("interval_unknown", template, source=source, field="start_at", **numbers)]
    if gap >= need:
        return []
    template = gettext_noop("{product}: {days} days from the spray of {on} on {ground}, at least {limit} days needed.")
    return [refuse("interval", template, source=source, field="start_at", limit=str(need), **numbers)]


def _shared_ingredient(facts: CheckFacts, events: tuple[Event, ...], j: Judged) -> list[Finding]:
    """Another product with the same ingredient, where either label counts its interval by ingredient."""
    worst: tuple[int, Event, Judged, Judged, int] | None = None
    for event in events:
        gap = gap_days(facts, event)
        for past in event.judged:
            if past.line.product_id == j.line.product_id or not _shared(j.label, past.label):
                continue
            asker, need = max(((_asker, _needs(_asker)) for _asker in (j, past)), key=lambda row: row[1])
            if gap < need and (worst is None or need - gap > worst[4] - worst[0]):
                worst = (gap, event, past, asker, need)
    if worst is None:
        return []
    gap, event, past, asker, need = worst
    template = gettext_noop(
        "{product}: {days} days from {other} of {on} on {ground}, which shares {ingredient}; "
        "at least {limit} days needed."
    )
    numbers = {
        "product": j.line.name,
        "other": past.line.name,
        "ingredient": ", ".join(_shared(j.label, past.label)),
        "days": str(gap),
        "on": str(event.on_date),
        "limit": str(need),
    }
    source = on_label(asker.line, "min_interval_days", "shortest interval, by ingredient")
    return [refuse("interval_ai", template, source=source, field="start_at", **numbers)]


def _needs(j: Judged) -> int:
    return (j.use.min_interval_days or 0) if j.use.interval_scope is IntervalScope.INGREDIENT else 0


def _shared(a: Label, b: Label) -> list[str]:
    return sorted(a.ingredient_names & b.ingredient_names)


def _duplicate(facts: CheckFacts, events: tuple[Event, ...]) -> list[Finding]:
    planned = facts.planned_event.product_ids
    if not any(e.on_date == facts.on_date and e.product_ids == planned for e in events):
        return []
    template = gettext_noop("The same mix is already on record for {on} on {ground}: is this the same spray twice?")
    return [justify("duplicate", template, source=PROJECT, field="start_at", on=str(facts.on_date))]


def is_oil(ingredient: str) -> bool:
    """Whether an ingredient is a spray oil, by its name."""
    return ingredient.split()[-1] == "oil"


def _contains(label: Label, ingredient: str) -> bool | None:
    """Whether a product contains an ingredient; an oil among the inert parts counts; ``None`` if nobody noted that."""
    if ingredient in label.ingredient_names:
        return True
    if not is_oil(ingredient):
        return False
    return True if any(map(is_oil, label.ingredient_names)) else label.contains_oil


def _kept_apart(a: Judged, b: Judged) -> list[tuple[Judged, Judged, str, int, bool]]:
    """(who asks, of whom, ingredient, days, whether the oil is only feared) from both labels."""
    found = []
    for asker, other in ((a, b), (b, a)):
        for sep in asker.label.separations:
            contains = _contains(other.label, sep.ingredient)
            if contains is not False:
                found.append((asker, other, sep.ingredient, sep.days, contains is None))
    return found


def _apart(facts: CheckFacts, events: tuple[Event, ...], j: Judged) -> list[Finding]:
    found = []
    for event in sorted(events, key=lambda e: gap_days(facts, e)):
        for past in event.judged:
            for asker, _, ingredient, days, feared in _kept_apart(j, past):
                if gap_days(facts, event) < days and past.line.product_id != j.line.product_id:
                    found.append(_too_near(facts, event, j, past, asker, ingredient, days, feared))
    return list({(f.code, f.numbers["other"], f.numbers["ingredient"]): f for f in reversed(found)}.values())


def _too_near(
    facts: CheckFacts, event: Event, j: Judged, past: Judged, asker: Judged, ingredient: str, days: int, feared: bool
) -> Finding:
    numbers = {
        "product": j.line.name,
        "other": past.line.name,
        "ingredient": ingredient,
        "days": str(gap_days(facts, event)),
        "on": str(event.on_date),
        "limit": str(days),
    }
    source = on_label(asker.line, "separations", f"keep apart from {ingredient}")
    if feared:
        template = gettext_noop(
            "{product}: {days} days from {other} of {on} on {ground}; {limit} days must lie between "
            "if one contains oil, and nobody noted whether it does."
        )
        return justify("oil_unknown", template, source=source, field="start_at", **numbers)
    template = gettext_noop(
        "{product}: {days} days from {other} of {on} on {ground}; {limit} days must lie between ({ingredient})."
    )
    return refuse("separation", template, source=source, field="start_at", **numbers)


def _in_tank(facts: CheckFacts) -> list[Finding]:
    found: dict[tuple[str, ...], Finding] = {}
    in_order = sorted(facts.judged, key=lambda j: j.line.name)
    for place, a in enumerate(in_order):
        for b in in_order[place + 1 :]:
            for asker, other, ingredient, days, feared in _kept_apart(a, b):
                if days == 0 or asker.line.product_id == other.line.product_id:
                    continue
                numbers = {"product": asker.line.name, "other": other.line.name, "ingredient": ingredient}
                source = on_label(asker.line, "separations", f"keep apart from {ingredient}")
                word, code, template = _FEARED if feared else _FORBIDDEN
                pair = (code, *sorted((asker.line.name, other.line.name)))
                found.setdefault(pair, word(code, template, source=source, field="products", **numbers))
    return list(found.values())


_FORBIDDEN = (refuse, "separation", gettext_noop("{product} may not be mixed with {other} ({ingredient})."))
_FEARED = (
    justify,
    "oil_unknown",
    gettext_noop("{product} may not be mixed with oil; nobody noted whether {other} contains any."),
)
