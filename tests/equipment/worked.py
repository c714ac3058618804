"""A worked example from a publication: where it is printed, what was printed, and how the author rounded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_DOWN, ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest

# Keys stand for the publication a row was printed in.
SOURCES = {
    "S1": "Montana State University Extension, slides 'Calibration of your Field Sprayers using Shortcut Methods'",
    "S2": "Montana State University Extension Service, MontGuide MT 2000-14, 2000",
    "S3": "Montana State University, C. Tharp, slides 'Calibration using the Test Strip Method (Long Hand)'",
    "S4": "Montana State Pesticide Safety Education Program, slides 'Calibrating Your Field Sprayer'",
    "S5": "Oklahoma State University turf fact sheet 'Sprayer Calibration'",
    "S6": "Oklahoma State University-Oklahoma City, D. Gerken, 'Calibrating Application Equipment', 28 Jan 2013",
    "S7": "LSU AgCenter, Barbosa, Koske, Parish, 'Ounces Equal Gallons: Sprayer Calibration'",
    "S8": "LSU AgCenter, 'Calibrating a cluster nozzle/boomless sprayer'",
    "S9": "University of Georgia, Special Bulletin 16, Douce et al., rev. Jan 2002, appendix",
    "S10": "University of Georgia CES, P. Sumner, 'Fertilizer Applicator Calibration'",
    "S11": "Alabama Cooperative Extension, ANR-725",
    "S12": "Utah State University Extension, Horticulture/Vegetables/2014-03, May 2014",
    "S13": "Mississippi State University Extension, W. Wells, turf tip, 4 Feb 2013",
    "S14": "Ohio State University Extension, E. Ozkan, in Farm and Dairy, '7 steps for easy sprayer calibration'",
    "S15": "University of Missouri, W. Casady, in Corn and Soybean Digest, 'Get the recipe right'",
    "S16": "South Dakota State University Extension, 'Pesticide Mixing and Sprayer Calibration Equations'",
    "S17": "Albany County (Wyoming) Weed and Pest District, 'Calibrating your sprayer'",
    "S18": "NC State Extension, 'Backpack Sprayer Calibration Worksheet'",
    "S19": "University of Florida digital collection UF00067548, band-spray calibration table",
    "S20": "University of Florida digital collection UF00067504, dry chemical applicator calibration",
    "S21": "Agrochemical and Pesticide Safety handbook",
    "S22": "US Army Medical Department, correspondence course MD0173",
    "S23": "Purdue Extension, J. Camberato, in Indiana Prairie Farmer, 17 Jan 2023",
    "S24": "Vineyard Team, liquid fertilizer handout",
    "S25": "Iowa State University Extension, PM 696, rev. April 2001",
    "S26": "University of Kentucky field capacity text, second-hand",
    "S27": "National Pesticide Applicator Core Manual, chapter 11, as summarised on a study page",
    "S28": "University of Tennessee PSEP, 'Common Calculations'",
    "S30": "pesticidesafety.org, 'Calculations for Mixing'",
    "S31": "New England Vegetable Management Guide, dilution tables",
    "S32": "GRDC (Australia), Spray Application Manual, B. Gordon",
    "S33": "'Herbicide application checklist', publisher not shown",
    "S34": "University of Missouri Extension G7510, F. Fishel",
    "S35": "Henderson County study problems",
}

ROUNDING = {"half_up": ROUND_HALF_UP, "cut": ROUND_DOWN, "up": ROUND_CEILING}


@dataclass(frozen=True)
class Row:
    """``how`` is how the author rounded: half_up, cut (cut off), up. ``right`` is set where the print is wrong."""

    id: str
    source: str
    asked: str
    answer: Callable[[], Decimal]
    printed: str
    how: str = "half_up"
    right: str = ""
    why: str = ""

    def where(self) -> str:
        return f"{SOURCES[self.source]}: {self.asked}"


def rounds_to(value: Decimal, printed: str, how: str = "half_up") -> bool:
    """True when ``value``, rounded as the author did, is the printed number (a fraction is met exactly)."""
    if "/" in printed:
        return abs(Fraction(value) - Fraction(printed)) < Fraction(1, 10**20)
    return value.quantize(Decimal(printed), rounding=ROUNDING[how]) == Decimal(printed)


def agree(row: Row) -> None:
    """The row's answer is the printed one; where the print is wrong, it is the right one and not the printed one."""
    value = row.answer()
    if row.right:
        assert row.why
        assert rounds_to(value, row.right), f"{value} is not {row.right} ({row.where()})"
        assert not rounds_to(value, row.printed), f"the print is right after all ({row.where()})"
    else:
        assert rounds_to(value, row.printed, row.how), f"{value} is not {row.printed} ({row.where()})"


def table(rows: list[Row]) -> pytest.MarkDecorator:
    """Parametrise a test over ``rows`` with readable ids."""
    assert len({row.id for row in rows}) == len(rows)
    return pytest.mark.parametrize("row", rows, ids=[f"{row.id}-{row.source}" for row in rows])
