"""In which order products go into the tank: the label's word first, else the formulation code.

Dry goods before flowables before emulsions before surfactants: W-A-L-E ("Herbicide application checklist"; wettable
powders, agitate, liquid flowables, emulsifiable concentrates). Where solutions, oil dispersions, feeds and drift
agents stand is common practice, no source; many labels say otherwise, and then the label's order is taken.
Codes: CropLife International, Technical Monograph 2, 7th edition, revised March 2017.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from apps.products.rules import Kind, MixingStage, RateBasis
from farmops.units import Quantity

S = MixingStage
BY_CODE: dict[str, MixingStage] = {
    **dict.fromkeys(("WG", "WP", "WT"), S.POWDER),
    **dict.fromkeys(("SG", "SP", "ST"), S.SOLUBLE_DRY),
    **dict.fromkeys(("SC", "CS", "SE", "ZC", "ZE"), S.SUSPENSION),
    "SL": S.SOLUTION,
    "OD": S.OIL_DISPERSION,
    **dict.fromkeys(("EC", "EW", "ME", "EO", "DC", "EG", "EP", "ZW", "OF", "OL"), S.EMULSION),
}
DRY = frozenset({S.BAG, S.POWDER, S.SOLUBLE_DRY})
PLACES = list(S)


class Because(StrEnum):
    """What the place of a product rests on."""

    LABEL = "label"
    CODE = "code"
    KIND = "kind"
    UNKNOWN = "unknown"


@dataclass(frozen=True, kw_only=True)
class TankLine:
    """One product of a mix: its rate, and what its label says about how it goes in."""

    product_id: int
    name: str
    rate: Quantity
    basis: RateBasis
    kind: Kind | None = None
    code: str | None = None
    label_stage: MixingStage | None = None


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A product with its place. ``stage`` None: nobody knows, so it stands last and the label must be read."""

    line: TankLine
    stage: MixingStage | None
    because: Because


def placed(line: TankLine) -> Placed:
    """The place of one product: by its label, by its code, by its kind, or unknown.

    A surfactant goes in as one whatever its code says; so does a liquid feed, but a dry one goes in with the dry goods.
    """
    if line.label_stage is not None:
        return Placed(line=line, stage=line.label_stage, because=Because.LABEL)
    by_code = BY_CODE.get(line.code or "")
    if line.kind is Kind.ADJUVANT:
        return Placed(line=line, stage=S.ADJUVANT, because=Because.KIND)
    if line.kind is Kind.NUTRIENT and by_code not in DRY:
        return Placed(line=line, stage=S.FERTILISER, because=Because.KIND)
    if by_code is None:
        return Placed(line=line, stage=None, because=Because.UNKNOWN)
    return Placed(line=line, stage=by_code, because=Because.CODE)


def in_order(lines: Iterable[TankLine]) -> tuple[Placed, ...]:
    """Every product in the order of filling; of two at one place the one that was planned first."""
    return tuple(sorted(map(placed, lines), key=_place))


def _place(row: Placed) -> int:
    return len(PLACES) if row.stage is None else PLACES.index(row.stage)
