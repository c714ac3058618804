"""Is anything in flower on the block? Three answers; ``unknown`` counts as bloom in the check.

Weeds in flower count as bloom. Past the first-flower day a crop is only "not in bloom" while
somebody has looked within the last seven days (project rule); who has not looked does not know.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum

from apps.crops.rules.plantings import EventKind, PlantingFact
from farmops.errors import Finding, Severity, gettext_noop

LOOK_GOOD_DAYS = 7
SOURCE = gettext_noop("project rule: a look older than 7 days is no look")


class Bloom(StrEnum):
    """Whether flowers that bees visit are open on the block."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


class Seen(StrEnum):
    """What a scout wrote down about flowers."""

    YES = "yes"
    NO = "no"
    NOT_LOOKED = "not_looked"


@dataclass(frozen=True, kw_only=True)
class Look:
    """One scouting look at a block on a day; ``planting_id`` if it was about one planting only."""

    on: date
    crop_in_bloom: Seen = Seen.NOT_LOOKED
    weeds_in_bloom: Seen = Seen.NOT_LOOKED
    stage: int | None = None  # Zadoks 0-99, cereals and grass covers
    stage_code: str = ""  # a named stage, or BBCH as b61
    height_in: Decimal | None = None
    all_mature: Seen = Seen.NOT_LOOKED  # all fruit of saleable size is ripe
    planting_id: int | None = None

    def is_about(self, planting: PlantingFact) -> bool:
        """Whether it tells about this planting: not another one, and not before it stood."""
        return self.planting_id in (None, planting.id) and self.on >= planting.starts_on


@dataclass(frozen=True, kw_only=True)
class BloomAnswer:
    """The answer and what it rests on."""

    bloom: Bloom
    because: tuple[Finding, ...] = ()

    @property
    def counts_as_bloom(self) -> bool:
        """Unknown counts as bloom."""
        return self.bloom is not Bloom.NO


def bloom_on(plantings: Sequence[PlantingFact], looks: Sequence[Look], day: date) -> BloomAnswer:
    """Bloom on a block on ``day`` from all its plantings and looks (later looks are left aside)."""
    past = [look for look in looks if look.on <= day]
    answers = [_planting_bloom(p, plantings, past, day) for p in plantings if p.starts_on <= day]
    answers.append(_weed_bloom(past, day))
    for bloom in (Bloom.YES, Bloom.UNKNOWN, Bloom.NO):
        because = tuple(a.because[0] for a in answers if a and a.bloom is bloom)
        if because:
            return BloomAnswer(bloom=bloom, because=because)
    return _answer(Bloom.NO, "nothing_flowers", gettext_noop("Nothing that flowers is known to stand here."))


def _answer(bloom: Bloom, code: str, template: str, **numbers: str) -> BloomAnswer:
    note = Finding(code=code, severity=Severity.NOTE, template=template, numbers=numbers, source=SOURCE)
    return BloomAnswer(bloom=bloom, because=(note,))


def _planting_bloom(
    planting: PlantingFact, others: Sequence[PlantingFact], looks: Iterable[Look], day: date
) -> BloomAnswer | None:
    """One planting's flowers on ``day``; ``None`` once it is gone and its flowers have withered."""
    about = [look for look in looks if look.is_about(planting)]
    gone_on = _gone_on(planting, others)
    if gone_on is None or day <= gone_on:
        return _standing(planting, about, day)
    return _withering(planting, about, gone_on, day)


def _gone_on(planting: PlantingFact, others: Iterable[PlantingFact]) -> date | None:
    """Killed; or harvested and the ground sown again. Harvest alone does not stop flowers."""
    killed = planting.happened(EventKind.TERMINATED)
    harvested = planting.happened(EventKind.HARVEST_END)
    if killed or not harvested:
        return killed
    sown_after = [p.sown_on for p in others if p.id != planting.id and p.sown_on and p.sown_on >= harvested]
    return min(sown_after, default=None)


def _standing(planting: PlantingFact, looks: Sequence[Look], day: date) -> BloomAnswer:
    crop = planting.crop_name
    seen_yes = [e.on for e in planting.events if e.kind is EventKind.BLOOM_START and e.on <= day]
    seen_yes += [look.on for look in looks if look.crop_in_bloom is Seen.YES]
    seen_no = [look.on for look in looks if look.crop_in_bloom is Seen.NO]
    over = [e.on for e in planting.events if e.kind is EventKind.BLOOM_END and e.on <= day]
    last_yes = max(seen_yes, default=date.min)  # on the same day, flowers seen outweigh none seen
    if max(over, default=date.min) > last_yes:
        template = gettext_noop("{crop}: bloom over since {on}.")
        return _answer(Bloom.NO, "bloom_over", template, crop=crop, on=max(over).isoformat())
    if seen_yes and max(seen_no, default=date.min) <= last_yes:
        return _answer(
            Bloom.YES,
            "crop_in_bloom",
            gettext_noop("{crop}: in bloom, last seen {on}."),
            crop=crop,
            on=last_yes.isoformat(),
        )
    expected = [*seen_yes, *([planting.first_flower_on] if planting.first_flower_on else [])]
    return _not_seen(crop, min(expected, default=None), max(seen_no, default=None), day)


def _not_seen(crop: str, first_flower: date | None, looked: date | None, day: date) -> BloomAnswer:
    """No flowers seen so far, or not any more: believed before the first-flower day, or after a fresh look."""
    if first_flower is not None and day < first_flower:
        template = gettext_noop("{crop}: no flowers expected before {on}.")
        return _answer(Bloom.NO, "before_first_flower", template, crop=crop, on=first_flower.isoformat())
    if looked is not None and (day - looked).days <= LOOK_GOOD_DAYS:
        template = gettext_noop("{crop}: no flowers seen on {on}.")
        return _answer(Bloom.NO, "looked_no_bloom", template, crop=crop, on=looked.isoformat())
    since = first_flower.isoformat() if first_flower else "?"
    if looked is None:
        template = gettext_noop("{crop}: may flower since {since} and nobody has looked.")
        return _answer(Bloom.UNKNOWN, "bloom_never_looked", template, crop=crop, since=since)
    template = gettext_noop("{crop}: may flower since {since}; the last look, {on}, is {days} days old.")
    days = str((day - looked).days)
    return _answer(Bloom.UNKNOWN, "bloom_look_old", template, crop=crop, since=since, on=looked.isoformat(), days=days)


def _withering(planting: PlantingFact, looks: Sequence[Look], gone_on: date, day: date) -> BloomAnswer | None:
    """Flowers of a crop killed in bloom still draw bees for some days: unknown until looked at, or a week on."""
    before = [look for look in looks if look.on <= gone_on]
    in_flower = _standing(planting, before, gone_on).bloom is not Bloom.NO
    looked_since = any(look.on > gone_on and look.crop_in_bloom is Seen.NO for look in looks)
    if not in_flower or looked_since or day > gone_on + timedelta(days=LOOK_GOOD_DAYS):
        return None
    template = gettext_noop("{crop}: ended on {on}, perhaps in bloom; nobody has looked since.")
    return _answer(Bloom.UNKNOWN, "ended_in_bloom", template, crop=planting.crop_name, on=gone_on.isoformat())


def _weed_bloom(looks: Iterable[Look], day: date) -> BloomAnswer | None:
    """Weeds seen in flower count until a later look says they are not; ``None`` if nobody wrote of weeds."""
    looks = [look for look in looks if look.weeds_in_bloom is not Seen.NOT_LOOKED]
    if not looks:
        return None
    last = max(look.on for look in looks)
    on = last.isoformat()
    if all(look.weeds_in_bloom is Seen.NO for look in looks if look.on == last):
        return _answer(Bloom.NO, "weeds_not_in_bloom", gettext_noop("No weeds in flower on {on}."), on=on)
    if (day - last).days <= LOOK_GOOD_DAYS:
        return _answer(Bloom.YES, "weeds_in_bloom", gettext_noop("Weeds in flower, seen {on}."), on=on)
    template = gettext_noop("Weeds were in flower on {on}, {days} days ago; nobody has looked since.")
    return _answer(Bloom.UNKNOWN, "weed_look_old", template, on=on, days=str((day - last).days))
