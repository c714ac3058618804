"""Kinds of sensitive place, planted against mapped acres, and ground that two blocks would share."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum

from apps.land.rules.measures import Geometry, overlap_acres
from farmops.errors import BadInput, Finding, Said, Severity, gettext_noop
from farmops.units import number, show

MOST_PLANTED_ACRES = 10_000
DIFFERENCE_SHARE = Decimal("0.10")  # project rule: planted and mapped acres further apart are pointed out
SLIVER_ACRES = Decimal("0.05")  # hand-drawn neighbours share slivers along their common edge (project rule)
SLIVER_SHARE = Decimal("0.02")


class SensitiveKind(StrEnum):
    """What lies near a block and must not be reached by a spray."""

    WATER = "water"
    WELL = "well"
    HIVES = "hives"
    HOUSE = "house"
    SCHOOL = "school"
    CROP = "crop"  # somebody's sensitive crop: organic ground, grapes, a greenhouse
    HABITAT = "habitat"
    OTHER = "other"


KIND_NAMES: dict[SensitiveKind, str] = {
    SensitiveKind.WATER: gettext_noop("Water"),
    SensitiveKind.WELL: gettext_noop("Well"),
    SensitiveKind.HIVES: gettext_noop("Hives"),
    SensitiveKind.HOUSE: gettext_noop("House"),
    SensitiveKind.SCHOOL: gettext_noop("School"),
    SensitiveKind.CROP: gettext_noop("Sensitive crop"),
    SensitiveKind.HABITAT: gettext_noop("Wildlife habitat"),
    SensitiveKind.OTHER: gettext_noop("Other place"),
}


def read_kind(value: object, *, field: str = "kind") -> SensitiveKind:
    """A kind code from outside, or ``BadInput`` on ``field`` that lists the codes."""
    try:
        return SensitiveKind(str(value).strip().lower())
    except ValueError:
        codes = ", ".join(SensitiveKind)
        raise BadInput({field: Said(gettext_noop("Kind must be one of: {codes}."), codes=codes)}) from None


def read_planted_acres(value: object, *, field: str = "planted_acres") -> Decimal | None:
    """Acres the grower states, to four decimals; nothing typed means not stated."""
    if value is None or str(value).strip() == "":
        return None
    acres = number(value, field=field, maximum=MOST_PLANTED_ACRES)
    if acres == 0:
        raise BadInput({field: gettext_noop("Planted acres must be above 0.")})
    if acres != acres.quantize(Decimal("0.0001")):
        raise BadInput({field: gettext_noop("Planted acres: at most four decimals.")})
    return acres.quantize(Decimal("0.0001"))


def acres_differ(mapped: Decimal, planted: Decimal) -> Finding | None:
    """A note when planted and mapped acres are more than 10 % of the mapped acres apart."""
    difference = abs(planted - mapped)
    if difference <= mapped * DIFFERENCE_SHARE:
        return None
    share = difference / mapped * 100
    return Finding(
        code="planted_acres_differ",
        severity=Severity.NOTE,
        template=gettext_noop(
            "Planted acres ({planted}) and mapped acres ({mapped}) differ by {share}. Check the outline and the figure."
        ),
        numbers={"planted": f"{show(planted, 2)} ac", "mapped": f"{show(mapped, 2)} ac", "share": f"{share:.0f} %"},
        source=gettext_noop("project rule: more than 10 %"),
        field="planted_acres",
    )


def shared_ground(
    mine: Geometry, mine_acres: Decimal, theirs: Geometry, theirs_acres: Decimal, *, code: str
) -> Finding | None:
    """What to say when a block would cover ground of the block called ``code``.

    One piece of ground in two blocks could be closed in one and open in the other, so more than a
    sliver (0.05 ac, or 2 % of the smaller block) is refused; a sliver is noted; none gives ``None``.
    """
    shared = overlap_acres(mine, theirs)
    if shared == 0:
        return None
    allowed = max(SLIVER_ACRES, SLIVER_SHARE * min(mine_acres, theirs_acres))
    refused = shared > allowed
    return Finding(
        code="ground_shared" if refused else "edge_overlaps",
        severity=Severity.REFUSE if refused else Severity.NOTE,
        template=(
            gettext_noop(
                "Covers {shared} of block {block}. The same ground cannot lie in two blocks: redraw one of them."
            )
            if refused
            else gettext_noop("Overlaps the edge of block {block} by {shared}.")
        ),
        numbers={"shared": f"{show(shared, 3)} ac", "block": code},
        source=gettext_noop("project rule"),
        field="polygon",
        subject=code,
    )
