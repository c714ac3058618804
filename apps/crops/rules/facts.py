"""What the other subjects need to know about the crop on a block on a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from apps.crops.rules.bloom import Bloom, Look, bloom_on
from apps.crops.rules.families import FALLOW_COVER
from apps.crops.rules.plantings import PlantingFact, Purpose, harvest_window
from farmops.errors import BadInput, Finding, gettext_noop


@dataclass(frozen=True, kw_only=True)
class NextCrop:
    """A crop that starts on the block after the day: what plant-back limits are judged by."""

    site_code: str
    planted_on: date
    harvested: bool


@dataclass(frozen=True, kw_only=True)
class CropFacts:
    """The crop on a block on a day.

    ``site_code`` is what a label must list: the cash crop's code, ``fallow_cover`` when only a cover
    crop lives there, ``None`` on empty ground. ``planted_is_plan`` says that the sowing is planned,
    not recorded. ``stage`` is the latest Zadoks reading of what stands there.
    """

    site_code: str | None = None
    crop_name: str = ""
    is_cover: bool = False
    planted_on: date | None = None
    planted_is_plan: bool = False
    harvest_from: date | None = None
    harvest_to: date | None = None
    bloom: Bloom = Bloom.NO
    bloom_because: tuple[Finding, ...] = ()
    stage: int | None = None
    next_crops: tuple[NextCrop, ...] = ()


def crop_facts_of(
    plantings: Sequence[PlantingFact], looks: Sequence[Look], day: date, *, today: date | None = None
) -> CropFacts:
    """All plantings and looks of one block -> the facts on ``day``.

    ``today`` lets plans still ahead be believed (see ``PlantingFact.lives_on``); without it only
    what was recorded ends a crop.
    """
    ordered = sorted(plantings, key=lambda p: (p.starts_on, p.id))
    living = [p for p in ordered if p.lives_on(day, today=today)]
    bloom = bloom_on([p for p in ordered if p in living or p.starts_on <= day and p.ended_on], looks, day)
    cash = [p for p in living if p.purpose is Purpose.CASH]
    standing = cash[-1:] or living
    shown = standing[-1] if standing else None
    harvest = harvest_window(cash[-1]) if cash else (None, None)
    return CropFacts(
        site_code=cash[-1].crop_code if cash else FALLOW_COVER if living else None,
        crop_name=" + ".join(p.crop_name for p in standing),
        is_cover=bool(living) and not cash,
        planted_on=shown.starts_on if shown else None,
        planted_is_plan=shown is not None and shown.sown_on is None,
        harvest_from=harvest[0],
        harvest_to=harvest[1],
        bloom=bloom.bloom,
        bloom_because=bloom.because,
        stage=_stage(living, looks, day),
        next_crops=tuple(
            NextCrop(site_code=p.crop_code, planted_on=p.starts_on, harvested=p.purpose is Purpose.CASH)
            for p in ordered
            if p.starts_on > day
        ),
    )


def _stage(living: Sequence[PlantingFact], looks: Sequence[Look], day: date) -> int | None:
    read = [
        look for look in looks if look.stage is not None and look.on <= day and any(look.is_about(p) for p in living)
    ]
    latest = max(read, key=lambda look: look.on, default=None)
    return latest.stage if latest else None


def read_stage(value: object, *, field: str = "stage") -> int | None:
    """A Zadoks stage, 0 to 99, or nothing; ``BadInput`` on ``field`` otherwise."""
    text = str(value if value is not None else "").strip()
    if not text:
        return None
    if len(text) > 2 or not (text.isascii() and text.isdigit()):
        raise BadInput({field: gettext_noop("Zadoks stage must be a whole number from 0 to 99.")})
    return int(text)
