"""What lies around and what comes after: water, growth stage, days before planting, plant-back."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from apps.crops.rules import NextCrop
from apps.products.rules import EVERY_CROP, Label, reached
from apps.spraying.rules.caps import add_months
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Event, Judged
from apps.spraying.rules.saying import PROJECT, justify, on_label, plain, refuse
from farmops.errors import Finding, gettext_noop, worst_first

LOOK_GOOD_DAYS = 7
"""A look this old or less still tells how far the crop is (project rule)."""
LONGEST = "a crop that is not listed takes the longest interval: UW-Madison NPM, herbicide rotation restrictions, 2015"


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: buffer, buffer_unknown, stage, stage_unknown, preplant, plantback, plantback_cover."""
    found = []
    for j in facts.judged:
        found += [*_buffer(facts, j), *_stage(facts, j), *_height(facts, j)]
        for crop in facts.next_crops:
            found += plantback_between(j, facts.on_date, crop, field="start_at")
            found += preplant_between(j, facts.on_date, crop, field="start_at")
    return found


def _buffer(facts: CheckFacts, j: Judged) -> list[Finding]:
    need = j.label.buffer_ft
    if not need:
        return []
    source, numbers = on_label(j.line, "buffer_ft", "distance to water"), {"product": j.line.name, "limit": plain(need)}
    if facts.water_ft is None:
        template = gettext_noop(
            "{product} must stay {limit} ft from water, and no water is mapped near {block}. Is there none?"
        )
        return [justify("buffer_unknown", template, source=source, block=facts.block_name, **numbers)]
    if facts.water_ft >= need:
        return []
    template = gettext_noop("{product} must stay {limit} ft from water; {block} lies {distance} ft from it.")
    numbers |= {"block": facts.block_name, "distance": plain(facts.water_ft)}
    return [refuse("buffer", template, source=source, **numbers)]


def _stage(facts: CheckFacts, j: Judged) -> list[Finding]:
    found = [finding for before, since in j.stages for finding in _in_window(facts, j, before, since)]
    return worst_first(found)[:1]


def _in_window(facts: CheckFacts, j: Judged, before: str | None, since: str | None) -> list[Finding]:
    source, product = on_label(j.line, "stage_before", "growth stage"), j.line.name
    past = None if before is None else reached_on(facts, before)
    if past is False and facts.stage_days > LOOK_GOOD_DAYS:
        past = None
    begun = None if since is None else reached_on(facts, since)
    here = facts.stage or facts.stage_also or "?"
    numbers = {"product": product, "stage": here, "since": since or "–", "before": before or "–"}
    if (before is not None and past is True) or (since is not None and begun is False):
        template = gettext_noop(
            "{product}: the crop is at {stage}; the label allows it from {since} to before {before}."
        )
        return [refuse("stage", template, source=source, field="stage", **numbers)]
    if (before is not None and past is not False) or (since is not None and begun is not True):
        template = gettext_noop(
            "{product}: the label allows it from {since} to before {before}, and it is not known whether {stage} fits."
        )
        return [justify("stage_unknown", template, source=source, field="stage", **numbers)]
    return []


def reached_on(facts: CheckFacts, limit: str) -> bool | None:
    """Whether the crop is at or past a stage, on whichever scale can tell; if both can and differ, it is."""
    stages = (facts.stage, facts.stage_also)
    answers = {reached(stage, limit) for stage in stages if stage is not None} - {None}
    return any(answers) if answers else None


def _height(facts: CheckFacts, j: Judged) -> list[Finding]:
    most = j.use.crop_height_max_in
    if most is None:
        return []
    source = on_label(j.line, "crop_height_max_in", "crop height")
    old = facts.height_days > LOOK_GOOD_DAYS
    if facts.crop_height_in is None or (old and facts.crop_height_in <= most):
        template = gettext_noop(
            "{product} may only be used up to {limit} in of crop height, and the height is not known."
        )
        return [justify("stage_unknown", template, source=source, product=j.line.name, limit=plain(most))]
    if facts.crop_height_in <= most:
        return []
    template = gettext_noop("{product}: the crop is {height} in high, the label allows up to {limit} in.")
    numbers = {"product": j.line.name, "height": plain(facts.crop_height_in), "limit": plain(most)}
    return [refuse("stage", template, source=source, field="stage", **numbers)]


def preplant_between(j: Judged, sprayed_on: date, crop: NextCrop, *, field: str) -> list[Finding]:
    """Days to wait between one spray and planting; a crop that is not listed takes the longest of the list."""
    days, gap = j.label.preplant_days, (crop.planted_on - sprayed_on).days
    if not days or gap < 0:
        return []
    listed = crop.site_code in days or EVERY_CROP in days
    need = days.get(crop.site_code, days.get(EVERY_CROP, max(days.values())))
    if gap >= need:
        return []
    template = gettext_noop("{product}: {days} days before {crop} is planted on {on}; {limit} days must lie between.")
    numbers = {
        "product": j.line.name,
        "days": str(gap),
        "crop": crop.site_code,
        "on": str(crop.planted_on),
        "limit": str(need),
    }
    source = on_label(j.line, "preplant_days", "days before planting" if listed else LONGEST)
    return [refuse("preplant", template, source=source, field=field, **numbers)]


def plantback_months(label: Label, site_code: str) -> tuple[int, bool] | None:
    """(months before a crop may follow, whether the label lists it); ``None`` if the label has no such limit.

    A crop that is not listed takes ``*``, and without ``*`` the longest of the list.
    """
    months = {row.site_code: row.months for row in label.plantback}
    if not months:
        return None
    listed = site_code in months or EVERY_CROP in months
    return months.get(site_code, months.get(EVERY_CROP, max(months.values()))), listed


def plantback_between(j: Judged, sprayed_on: date, crop: NextCrop, *, field: str) -> list[Finding]:
    """One product sprayed on a day against one crop planted later on the same ground."""
    row = plantback_months(j.label, crop.site_code)
    if row is None or crop.planted_on < sprayed_on:
        return []
    months, listed = row
    opens_on = add_months(sprayed_on, months)
    if crop.planted_on >= opens_on:
        return []
    numbers = {
        "product": j.line.name,
        "crop": crop.site_code,
        "on": str(crop.planted_on),
        "sprayed": str(sprayed_on),
        "months": str(months),
        "opens": str(opens_on),
    }
    source = on_label(j.line, "plantback", "planting after use" if listed else LONGEST)
    if j.label.cover_crop_any_time and not crop.harvested:
        template = gettext_noop(
            "{product}, sprayed {sprayed}: until {opens}, {crop} on {on} may only be a cover, "
            "not to be grazed or harvested."
        )
        return [justify("plantback_cover", template, source=source, field=field, **numbers)]
    template = gettext_noop(
        "{product}, sprayed {sprayed}: {months} months before {crop}, so not before {opens}; planned for {on}."
    )
    return [refuse("plantback", template, source=source, field=field, **numbers)]


def may_plant(events: Iterable[Event], crop: NextCrop) -> list[Finding]:
    """The same rule from the other end: may this crop be planted after all that was sprayed on the ground?"""
    found = []
    for event in events:
        for j in event.judged:
            found += plantback_between(j, event.on_date, crop, field="planted_on")
            found += preplant_between(j, event.on_date, crop, field="planted_on")
    return found


LOOKS_BACK_MONTHS = 36
"""So far the records must reach back before "nothing forbids it" may be said (project rule)."""


def records_short(known_from: date | None, crop: NextCrop, *, block_name: str) -> list[Finding]:
    """Whether the sprays on record reach back far enough to answer for a planting at all."""
    since = add_months(crop.planted_on, -LOOKS_BACK_MONTHS)
    if known_from is not None and known_from <= since:
        return []
    template = gettext_noop(
        "A planting looks back to {since}; sprays on {block} are on record from {known}. "
        "What was used before is not known."
    )
    numbers = {"since": str(since), "block": block_name, "known": str(known_from or "?")}
    return [justify("history_unknown", template, source=PROJECT, field="planted_on", **numbers)]


def unread_before(events: Iterable[Event], crop: NextCrop, *, block_name: str) -> list[Finding]:
    """Sprays of the last three years whose label is not in the library: what they forbid is not known."""
    since = add_months(crop.planted_on, -LOOKS_BACK_MONTHS)
    names = sorted({line.name for e in events if e.on_date >= since for line in e.lines if line.label is None})
    if not names:
        return []
    template = gettext_noop("Of {products}, used on {block}, no label is on record: what may follow is not known.")
    numbers = {"products": ", ".join(names), "block": block_name}
    return [justify("history_unread", template, source=PROJECT, field="planted_on", **numbers)]
