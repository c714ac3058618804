"""What comes after the spray and is kept: harvest, entry, growth stage, the next crop."""

from __future__ import annotations

from collections.abc import Iterator

from apps.products.rules import EVERY_CROP, phi_days
from apps.safety.rules import entry_end, harvest_opens
from apps.spraying.rules.caps import add_months
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.ground import plantback_months, reached_on
from apps.spraying.rules.harvest_entry import COUNTING, REI_LAW, harvests, longest_rei
from apps.spraying.rules.mix import Judged
from apps.spraying.rules.passed.row import Passed, passes
from apps.spraying.rules.saying import on_label, plain
from farmops.errors import gettext_noop


def passed(facts: CheckFacts) -> Iterator[Passed]:
    for j in facts.judged:
        yield from _harvest(facts, j)
        yield from _stage(facts, j)
        yield from _after(facts, j)
    yield from _entry(facts)


def _harvest(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    days = phi_days(j.use, j.rate_amount) if j.listed and facts.is_cash_crop else None
    opens_at, picks = harvest_opens(facts.end_at, days, facts.zone), harvests(facts)
    if days is None or opens_at is None or not picks:
        return
    template = gettext_noop("{product}: {days} days before harvest, open from {opens}; harvest is planned for {at}.")
    numbers = {
        "product": j.line.name,
        "days": str(days),
        "opens": facts.local(opens_at),
        "at": facts.local(picks[0]),
    }
    source = on_label(j.line, "phi_days", f"days before harvest; {COUNTING}")
    yield passes("harvest", template, "phi phi_unknown", source=source, about=j.line.name, **numbers)


def _entry(facts: CheckFacts) -> Iterator[Passed]:
    row = longest_rei(facts, None)
    ends_at = entry_end(facts.end_at, row[0]) if row else None
    if row is None or ends_at is None:
        return
    template = gettext_noop("{product}: entry is restricted for {hours} h, until {ends}; no work is scheduled before.")
    numbers = {"product": row[1].line.name, "hours": plain(row[0]), "ends": facts.local(ends_at)}
    source = on_label(row[1].line, "rei_hours", f"restricted-entry interval; {REI_LAW}")
    if any(facts.start_at <= e.at < ends_at for e in facts.entries):
        return
    yield passes("entry", template, "rei_harvest rei_entry rei_unknown", source=source, **numbers)


def _stage(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    use, product = j.use, j.line.name
    before = all(limit is None or reached_on(facts, limit) is False for limit, _ in j.stages)
    since = all(limit is None or reached_on(facts, limit) is True for _, limit in j.stages)
    if j.stages and before and since:
        template = gettext_noop("{product}: the crop is at {stage}; allowed from {since} to before {before}.")
        here = facts.stage or facts.stage_also or "?"
        numbers = {"stage": here, "since": use.stage_from or "–", "before": use.stage_before or "–"}
        source = on_label(j.line, "stage_before", "growth stage")
        yield passes("stage", template, "stage stage_unknown", source=source, about=product, product=product, **numbers)
    most = use.crop_height_max_in
    if most is not None and facts.crop_height_in is not None:
        template = gettext_noop("{product}: the crop is {height} in high; up to {limit} in.")
        numbers = {"height": plain(facts.crop_height_in), "limit": plain(most)}
        source = on_label(j.line, "crop_height_max_in", "crop height")
        yield passes(
            "height", template, "stage stage_unknown", source=source, about=product, product=product, **numbers
        )


def _after(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    product = j.line.name
    for crop in facts.next_crops:
        if crop.planted_on < facts.on_date:  # it stood before the spray: no wait was asked, so none was kept
            continue
        numbers = {"product": product, "crop": crop.site_code, "on": str(crop.planted_on)}
        row = plantback_months(j.label, crop.site_code)
        if row is not None:
            template = gettext_noop("{product}: {crop} is planned for {on}; {months} months are over on {opens}.")
            opens = {"months": str(row[0]), "opens": str(add_months(facts.on_date, row[0]))}
            source = on_label(j.line, "plantback", "planting after use")
            against = "plantback plantback_cover"
            yield passes("plantback", template, against, source=source, about=product, **numbers, **opens)
        days = j.label.preplant_days
        if days:
            need = days.get(crop.site_code, days.get(EVERY_CROP, max(days.values())))
            template = gettext_noop("{product}: {days} days before {crop} on {on}; at least {limit}.")
            gap = {"days": str((crop.planted_on - facts.on_date).days), "limit": str(need)}
            source = on_label(j.line, "preplant_days", "days before planting")
            yield passes("preplant", template, "preplant", source=source, about=product, **numbers, **gap)
