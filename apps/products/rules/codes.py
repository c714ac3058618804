"""The codes a label is written in: kinds, units of limits, formulation codes, resistance groups.

Every group is a pair (scheme, code): FRAC 3, IRAC 3A and HRAC 3 are unrelated, so a bare
number says nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What the product is for."""

    FUNGICIDE = "fungicide"
    INSECTICIDE = "insecticide"
    HERBICIDE = "herbicide"
    NUTRIENT = "nutrient"
    ADJUVANT = "adjuvant"
    OTHER = "other"


PESTICIDES = (Kind.FUNGICIDE, Kind.INSECTICIDE, Kind.HERBICIDE, Kind.OTHER)


class ContentBasis(StrEnum):
    """How the content of an ingredient is stated."""

    LB_PER_GAL = "lb_per_gal"
    FRACTION = "fraction"  # share by mass, 0.40 = 40 %


class RateBasis(StrEnum):
    """What a rate is stated against."""

    PER_ACRE = "per_acre"
    PER_100_GAL = "per_100_gal"
    PERCENT_VV = "percent_vv"


class CapPer(StrEnum):
    """The stretch an ingredient limit is counted over."""

    PASS = "pass"
    YEAR = "year"
    CROP = "crop"


class YearBasis(StrEnum):
    """What the label means by year or season."""

    CALENDAR = "calendar"
    TWELVE_MONTHS = "twelve_months"
    CROP = "crop"
    UNKNOWN = "unknown"  # counted the strictest way, and said so


class IntervalScope(StrEnum):
    """What the shortest interval counts from: this product, or any product that shares an ingredient."""

    PRODUCT = "product"
    INGREDIENT = "ingredient"


class BeeClass(StrEnum):
    """What the bee statement asks for while anything on the ground is in bloom."""

    NONE = "none"
    DIRECT = "direct"  # harmful only wet or by contact: from sunset to sunrise
    RESIDUAL = "residual"  # residue reaches the morning bloom: at night with a reason
    NO_BLOOM = "no_bloom"  # never while crop or weeds bloom


class MixingStage(StrEnum):
    """Where in the filling of a tank a product goes in; the members stand in the order of filling."""

    CONDITIONER = "conditioner"  # water conditioner, buffer, defoamer
    BAG = "bag"  # water-soluble bags
    POWDER = "powder"  # wettable powders, dispersible granules and tablets
    SOLUBLE_DRY = "soluble_dry"
    SUSPENSION = "suspension"  # flowables
    SOLUTION = "solution"
    OIL_DISPERSION = "oil_dispersion"
    EMULSION = "emulsion"
    ADJUVANT = "adjuvant"  # surfactants, oils
    FERTILISER = "fertiliser"
    DRIFT_AGENT = "drift_agent"


class Method(StrEnum):
    """How it is put out."""

    GROUND = "ground"
    AIR = "air"
    CHEMIGATION = "chemigation"


class Scheme(StrEnum):
    """Who numbers the resistance groups: fungicides, insecticides, herbicides."""

    FRAC = "frac"
    IRAC = "irac"
    HRAC = "hrac"


# CropLife International, Catalogue of pesticide formulation types and international coding
# system, Technical Monograph 2, 7th edition, revised March 2017.
FORMULATION_CODES = frozenset({
    "AE", "AL", "AP", "BR", "CB", "CP", "CS", "DC", "DP", "DS", "DT", "EC", "EG", "EO", "EP", "ES", "EW",
    "FS", "FU", "GA", "GD", "GE", "GL", "GR", "GS", "GW", "HN", "KK", "KL", "KN", "LB", "LN", "LS", "MC",
    "ME", "MR", "OD", "OF", "OL", "OP", "PA", "PR", "RB", "SC", "SD", "SE", "SG", "SL", "SO", "SP", "ST",
    "SU", "TB", "TC", "TK", "UL", "VP", "WG", "WP", "WS", "WT", "XX", "ZC", "ZE", "ZW",
})  # fmt: skip

# Old code -> code in use. U15 -> 49: Illinois Extension, 18 Aug 2017. M5 -> M05 and kin: FRAC code list,
# two-digit form. The rest from memory: U8 -> 50 and 33 -> P07 (FRAC), 9C -> 29 (IRAC), the letters (HRAC 2020).
GROUP_ALIASES: dict[Scheme, dict[str, str]] = {
    Scheme.FRAC: {"U08": "50", "U15": "49", "33": "P07"},
    Scheme.IRAC: {"9C": "29"},
    Scheme.HRAC: {
        "A": "1", "B": "2", "C1": "5", "C2": "5", "C3": "6", "D": "22", "E": "14", "F1": "12", "F2": "27", "F3": "34",
        "F4": "13", "G": "9", "H": "10", "I": "18", "K1": "3", "K2": "23", "K3": "15", "L": "29", "M": "24", "N": "15",
        "O": "4", "P": "19", "Z": "0",
    },
}  # fmt: skip

_PATTERN = {
    Scheme.FRAC: re.compile(r"^(BM\d{2}|[MUP]\d{2}|\d{1,2}|NC|UN)$", re.ASCII),
    Scheme.IRAC: re.compile(r"^(\d{1,2}[A-F]?|UN[BEFMPV]?)$", re.ASCII),
    Scheme.HRAC: re.compile(r"^\d{1,2}$", re.ASCII),
}


@dataclass(frozen=True, order=True)
class Group:
    """A resistance group: who numbers it, and its code in the form in use today."""

    scheme: Scheme
    code: str

    @property
    def number(self) -> str:
        """The code without an IRAC sub-group letter: 4A, 4C and 4D share one target."""
        return self.code.rstrip("ABCDEF") or self.code if self.scheme is Scheme.IRAC else self.code

    @property
    def exempt(self) -> bool:
        """Multi-site, unclassified and biological groups carry no run rule (Ohio State, VegNet, 17 Jul 2024)."""
        return self.scheme is Scheme.FRAC and (self.multisite or self.code in ("NC", "UN") or self.code[:2] == "BM")

    @property
    def multisite(self) -> bool:
        """A FRAC M group: the partner that alternation rules ask for."""
        return self.scheme is Scheme.FRAC and self.code.startswith("M")

    def __str__(self) -> str:
        return f"{self.scheme.upper()} {self.code}"


def group(scheme: Scheme, code: str) -> Group | None:
    """The group written as ``code``, old spellings turned into the one in use; ``None`` if it is no such code."""
    text = re.sub(r"\s+", "", code).upper()
    if found := re.match(r"^(BM|[MUP])(\d)$", text):
        text = f"{found[1]}0{found[2]}"
    elif found := re.match(r"^0+(\d.*)$", text):
        text = found[1]
    text = GROUP_ALIASES[scheme].get(text, text)
    return Group(scheme, text) if _PATTERN[scheme].match(text) else None
