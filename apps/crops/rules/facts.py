"""What the other subjects need to know about the crop on a block on a day."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from apps.crops.rules.bloom import Bloom, Look, Seen, bloom_on
from apps.crops.rules.families import FALLOW_COVER
from apps.crops.rules.plantings import PlantingFact, Purpose, harvest_window
from apps.crops.rules.stages import is_stage
from farmops.errors import BadInput, Finding, gettext_noop
from farmops.units import number


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
    not recorded. ``stage`` is the latest Zadoks reading of what stands there, ``stage_code`` the latest named
    or BBCH one, ``height_in`` the latest height, each with the days since that look (``…_days``).
    ``all_mature`` is what the latest look at the fruit said.
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
    stage_days: int | None = None
    stage_code: str = ""
    stage_code_days: int | None = None
    height_in: Decimal | None = None
    height_days: int | None = None
    all_mature: bool | None = None
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
        **_seen(living, looks, day),
        next_crops=tuple(
            NextCrop(site_code=p.crop_code, planted_on=p.starts_on, harvested=p.purpose is Purpose.CASH)
            for p in ordered
            if p.starts_on > day
        ),
    )


def _seen(living: Sequence[PlantingFact], looks: Sequence[Look], day: date) -> dict[str, Any]:
    """The latest of each thing that scouts read off the standing crop, with the days since."""
    about = sorted((k for k in looks if k.on <= day and any(k.is_about(p) for p in living)), key=lambda look: look.on)
    zadoks = [look for look in about if look.stage is not None][-1:]
    named = [look for look in about if look.stage_code][-1:]
    measured = [look for look in about if look.height_in is not None][-1:]
    ripe = [look for look in about if look.all_mature is not Seen.NOT_LOOKED][-1:]
    return {
        "stage": zadoks[0].stage if zadoks else None,
        "stage_days": _days(zadoks, day),
        "stage_code": named[0].stage_code if named else "",
        "stage_code_days": _days(named, day),
        "height_in": measured[0].height_in if measured else None,
        "height_days": _days(measured, day),
        "all_mature": ripe[0].all_mature is Seen.YES if ripe else None,
    }


def _days(looks: Sequence[Look], day: date) -> int | None:
    return (day - looks[0].on).days if looks else None


def read_stage(value: object, *, field: str = "stage") -> int | None:
    """A Zadoks stage, 0 to 99, or nothing; ``BadInput`` on ``field`` otherwise."""
    text = str(value if value is not None else "").strip()
    if not text:
        return None
    if len(text) > 2 or not (text.isascii() and text.isdigit()):
        raise BadInput({field: gettext_noop("Zadoks stage must be a whole number from 0 to 99.")})
    return int(text)


def read_stage_code(value: object, *, field: str = "stage_code") -> str:
    """A stage by name (``first_flower``) or BBCH number (``b61``, ``BBCH 61``), or nothing; ``BadInput`` otherwise."""
    text = re.sub(r"[\s-]+", "_", str(value or "").strip().lower())
    bbch = re.fullmatch(r"(?:bbch|b)_?(\d{1,2})", text)
    code = f"b{int(bbch[1])}" if bbch else text
    if code and not is_stage(code):
        raise BadInput({field: gettext_noop("Name a growth stage from the list, or a BBCH number from 0 to 99.")})
    return code


def read_height(value: object, *, field: str = "height_in") -> Decimal | None:
    """A crop height in inches, or nothing; ``BadInput`` on ``field`` otherwise."""
    text = str(value if value is not None else "").strip()
    if not text:
        return None
    found: Decimal = number(text, field=field, minimum=0, maximum=240)
    if found != found.quantize(Decimal("0.1")):
        raise BadInput({field: gettext_noop("Use 1 decimal at most.")})
    return found
