"""Bees: what the label's statement allows while anything on or beside the ground is in bloom.

Bloom of crop or weeds counts, and unknown bloom counts as bloom. Inversion risk in the evening is told by
the weather check: the two are never merged.
"""

from __future__ import annotations

from apps.crops.rules import Bloom
from apps.products.rules import BeeClass
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Judged
from apps.spraying.rules.policies import BeeHours
from apps.spraying.rules.saying import PROJECT, justify, note, on_label, plain, refuse
from farmops.errors import Finding, gettext_noop


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: bee_bloom, bee_residual, bee_window, bee_unknown, bloom_unknown, bee_drift, hives_near."""
    found = [f for j in facts.judged for f in _line(facts, j)]
    harmful = [j for j in facts.judged if j.label.bee_class is not BeeClass.NONE]
    if not harmful:
        return found
    if facts.bloom == Bloom.UNKNOWN:
        template = gettext_noop("Nobody knows whether anything on {block} is in bloom, so it counts as bloom.")
        found.append(justify("bloom_unknown", template, source=PROJECT, block=facts.block_name))
    return [*found, *_drift(facts, harmful), *_hives(facts, harmful)]


def in_the_dark(facts: CheckFacts) -> bool:
    """Whether the whole job lies between one sunset and the next sunrise at the block."""
    return any(night.holds(facts.start_at, facts.end_at) for night in facts.nights)


def _quiet_by_day(facts: CheckFacts, hours: BeeHours) -> bool:
    day = facts.on_date
    starts_at, ends_at = (t.astimezone(facts.zone).replace(tzinfo=None) for t in (facts.start_at, facts.end_at))
    return any(
        starts_at.date() == ends_at.date() == day and since <= starts_at.time() and ends_at.time() <= until
        for since, until in hours.quiet
    )


def _after_dusk(facts: CheckFacts) -> bool:
    """In the dark and past dusk; before dawn is past dusk too. Unknown dusk is not past it."""
    if facts.dusk_at is None:
        return False
    return any(
        night.holds(facts.start_at, facts.end_at)
        and (facts.start_at >= facts.dusk_at or not night.holds(facts.dusk_at, facts.dusk_at))
        for night in facts.nights
    )


def _line(facts: CheckFacts, j: Judged) -> list[Finding]:
    bee, product = j.label.bee_class, j.line.name
    if facts.bloom == Bloom.NO or bee is BeeClass.NONE:
        return []
    source = on_label(j.line, "bee_statement", f"bee statement: {j.label.bee_statement or '?'}")
    if bee is None or bee is BeeClass.NO_BLOOM:
        found = []
        if bee is None:
            template = gettext_noop("{product}: the bee statement is not on record, so the strictest one counts.")
            found.append(note("bee_unknown", template, source=source, product=product))
        template = gettext_noop("{product} may not be sprayed while anything on {block} is in bloom, at any hour.")
        return [*found, refuse("bee_bloom", template, source=source, product=product, block=facts.block_name)]
    hours = facts.policy.bee_hours.get(facts.site_code or "")
    if not in_the_dark(facts):
        if bee is BeeClass.DIRECT and hours is not None and _quiet_by_day(facts, hours):
            return [_window(facts, j, hours)]
        template = gettext_noop("{product} may not be sprayed by day while {block} is in bloom: {start} is not night.")
        numbers = {"product": product, "block": facts.block_name, "start": facts.local(facts.start_at)}
        return [refuse("bee_bloom", template, source=source, field="start_at", **numbers)]
    if bee is BeeClass.RESIDUAL:
        template = gettext_noop(
            "{product}: allowed at night, but its residue reaches the bees of the next morning's bloom."
        )
        return [justify("bee_residual", template, source=source, product=product)]
    if hours is not None and hours.from_dusk and not _after_dusk(facts):
        return [_window(facts, j, hours)]
    return []


def _window(facts: CheckFacts, j: Judged, hours: BeeHours) -> Finding:
    template = gettext_noop("{product}: bees keep other hours on {crop}. Say who looked and saw none at {start}.")
    numbers = {
        "product": j.line.name,
        "crop": facts.crop_name or facts.site_code or "?",
        "start": facts.local(facts.start_at),
    }
    return justify("bee_window", template, source=hours.source, field="start_at", **numbers)


def _drift(facts: CheckFacts, harmful: list[Judged]) -> list[Finding]:
    """A neighbour in bloom within reach of drift, when residue or any contact would harm."""
    lasting = [j for j in harmful if j.label.bee_class is not BeeClass.DIRECT]
    reach = facts.policy.bee_drift_ft
    if not lasting or reach is None:
        return []
    template = gettext_noop("{place}, {distance} ft away, may be in bloom: keep the drift of {product} off it.")
    source = (
        f"University of California, bee precaution rating I; distance: {facts.policy.where('bee_drift_ft', PROJECT)}"
    )
    names = ", ".join(sorted(j.line.name for j in lasting))
    return [
        justify("bee_drift", template, source=source, place=near.name, distance=plain(near.distance_ft), product=names)
        for near in facts.bloom_nearby
        if near.distance_ft <= reach
    ]


def _hives(facts: CheckFacts, harmful: list[Judged]) -> list[Finding]:
    reach = facts.policy.hive_notice_ft
    if facts.hive_ft is None or reach is None or facts.hive_ft > reach:
        return []
    template = gettext_noop("Hives stand {distance} ft from {block}: tell the beekeeper before {products} goes out.")
    names = ", ".join(sorted(j.line.name for j in harmful))
    source = f"common practice, no source; {PROJECT}"
    numbers = {"distance": plain(facts.hive_ft), "block": facts.block_name, "products": names}
    return [note("hives_near", template, source=facts.policy.where("hive_notice_ft", source), **numbers)]
