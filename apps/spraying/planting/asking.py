"""What somebody asks: which crop, on which day, to be harvested or as a cover."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date

from apps.crops.rules import NextCrop
from farmops.errors import BadInput, gettext_noop, one_of

_SITE = re.compile(r"^[a-z][a-z0-9_]{1,39}$")
USES = ("harvest", "cover")


def asked(query: Mapping[str, str]) -> NextCrop:
    """``?crop=pumpkin&on=2027-06-01&use=harvest`` as a crop to come; ``BadInput`` naming each fault."""
    errors: dict[str, str] = {}
    crop, day, use = (str(query.get(name, "")).strip() for name in ("crop", "on", "use"))
    if not _SITE.fullmatch(crop):
        errors["crop"] = gettext_noop("Name the crop by its code, like winter_squash.")
    on = _day(day)
    if on is None:
        errors["on"] = gettext_noop("Enter a day like 2027-06-01.")
    if use and use not in USES:
        errors["use"] = one_of(USES)
    if errors or on is None:
        raise BadInput(errors)
    return NextCrop(site_code=crop, planted_on=on, harvested=use != "cover")


def _day(text: str) -> date | None:
    try:
        found = date.fromisoformat(text)
    except ValueError:
        return None
    return found if 1990 <= found.year <= 2099 else None
