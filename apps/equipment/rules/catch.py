"""The catch test: one cup under each nozzle for the same time, and what the cups say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from apps.equipment.rules.course import mean
from apps.equipment.rules.exact import Number, positive, to_decimal
from farmops.errors import Finding, Severity, gettext_noop
from farmops.units import show

# Outside 5 % of the average: look at the nozzle (Montana State University Extension MT 2000-14).
CHECK_PERCENT = Decimal(5)
# Outside 10 % of the average: the boom does not spread evenly (University of Georgia, Special Bulletin 16).
FAIL_PERCENT = Decimal(10)
# More than 10 % over the output of a new nozzle: replace it (Ohio State University Extension, E. Ozkan, 7 May 2019).
WORN_PERCENT = Decimal(10)
# Measured rate against the wanted rate (USDA and EPA recommendation as reported by Ohio State University, 17 Apr 2012).
TARGET_PERCENT = Decimal(5)

SPREAD_SOURCE = "University of Georgia, Special Bulletin 16; Montana State University Extension, MT 2000-14"
WEAR_SOURCE = "Ohio State University Extension, E. Ozkan, 7 May 2019"
TARGET_SOURCE = "USDA and EPA recommendation, reported by Ohio State University, 17 April 2012"


class Verdict(StrEnum):
    """What a catch test says of one nozzle or of the whole boom."""

    GOOD = "good"
    CHECK = "check"  # usable, but look at it
    FAIL = "fail"  # not to be sprayed with


_WORSE = {Verdict.GOOD: 0, Verdict.CHECK: 1, Verdict.FAIL: 2}


@dataclass(frozen=True, kw_only=True)
class Cup:
    """One nozzle, counted from the left end of the boom: what was caught and how far off it is."""

    position: int
    caught_floz: Decimal
    gpm: Decimal
    off_mean_percent: Decimal
    off_new_percent: Decimal | None
    verdict: Verdict


@dataclass(frozen=True, kw_only=True)
class CatchTest:
    """All cups of one boom."""

    seconds: Decimal
    cups: tuple[Cup, ...]
    mean_floz: Decimal
    mean_gpm: Decimal
    total_gpm: Decimal
    findings: tuple[Finding, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of the cups."""
        return max((cup.verdict for cup in self.cups), key=_WORSE.__getitem__)


def off_percent(value: Number, reference: Number, *, field: str = "reference") -> Decimal:
    """How far ``value`` lies above (+) or below (-) ``reference``, in percent of it."""
    base = positive(reference, field)
    return to_decimal((Fraction(value) - base) / base * 100)


def limits(average: Number, percent: Number) -> tuple[Decimal, Decimal]:
    """Lowest and highest catch within ``percent`` of the average."""
    middle, share = positive(average, "average"), Fraction(percent) / 100
    return to_decimal(middle * (1 - share)), to_decimal(middle * (1 + share))


def judge_catches(caught_floz: Sequence[Number], *, seconds: Number, new_nozzle_gpm: Number | None = None) -> CatchTest:
    """Average, deviation of each nozzle and verdicts from fluid ounces caught in ``seconds``.

    ``new_nozzle_gpm`` is what a new nozzle of this kind gives at the pressure of the test; without it
    wear cannot be told. ``BadInput`` names ``catches`` or ``seconds``.
    """
    minutes = positive(seconds, "seconds") / 60
    average = mean(caught_floz, field="catches")
    new = None if new_nozzle_gpm is None else positive(new_nozzle_gpm, "new_nozzle_gpm")
    cups = tuple(_cup(i, Fraction(c), minutes, average, new) for i, c in enumerate(caught_floz, start=1))
    total = sum((Fraction(c) for c in caught_floz), Fraction(0)) / 128 / minutes
    return CatchTest(
        seconds=to_decimal(minutes * 60),
        cups=cups,
        mean_floz=average,
        mean_gpm=to_decimal(total / len(cups)),
        total_gpm=to_decimal(total),
        findings=(*(f for cup in cups for f in _about(cup)), *_whole_set(cups)),
    )


def _cup(position: int, caught: Fraction, minutes: Fraction, average: Decimal, new: Fraction | None) -> Cup:
    gpm = caught / 128 / minutes
    off_mean = off_percent(caught, average)
    off_new = None if new is None else off_percent(gpm, new)
    verdict = Verdict.GOOD
    if abs(off_mean) > CHECK_PERCENT or (off_new is not None and off_new > WORN_PERCENT):
        verdict = Verdict.CHECK
    if abs(off_mean) > FAIL_PERCENT:
        verdict = Verdict.FAIL
    return Cup(
        position=position,
        caught_floz=to_decimal(caught),
        gpm=to_decimal(gpm),
        off_mean_percent=off_mean,
        off_new_percent=off_new,
        verdict=verdict,
    )


def _about(cup: Cup) -> list[Finding]:
    """What to do about this nozzle: a low one is cleaned first, a high one is worn (MT 2000-14)."""
    found = []
    numbers = {"nozzle": str(cup.position), "off": f"{show(abs(cup.off_mean_percent), 1)} %"}
    if abs(cup.off_mean_percent) > CHECK_PERCENT:
        failed = abs(cup.off_mean_percent) > FAIL_PERCENT
        low = cup.off_mean_percent < 0
        found.append(
            Finding(
                code=("nozzle_low" if low else "nozzle_high"),
                severity=Severity.REFUSE if failed else Severity.JUSTIFY,
                template=(
                    gettext_noop("Nozzle {nozzle} gives {off} less than the average. Clean it and catch again.")
                    if low
                    else gettext_noop("Nozzle {nozzle} gives {off} more than the average. Replace it and catch again.")
                ),
                numbers=numbers,
                source=SPREAD_SOURCE,
                field="catches",
                subject=str(cup.position),
            )
        )
    if cup.off_new_percent is not None and cup.off_new_percent > WORN_PERCENT:
        found.append(_worn(cup))
    return found


def _worn(cup: Cup) -> Finding:
    return Finding(
        code="nozzle_worn",
        severity=Severity.JUSTIFY,
        template=gettext_noop("Nozzle {nozzle} gives {off} more than a new one. It is worn: replace it."),
        numbers={"nozzle": str(cup.position), "off": f"{show(cup.off_new_percent or Decimal(0), 1)} %"},
        source=WEAR_SOURCE,
        field="catches",
        subject=str(cup.position),
    )


def _whole_set(cups: Sequence[Cup]) -> list[Finding]:
    """Several worn nozzles: change them all (common practice, no source)."""
    worn = [c for c in cups if c.off_new_percent is not None and c.off_new_percent > WORN_PERCENT]
    if len(worn) < 2:
        return []
    template = gettext_noop("{worn} of {all} nozzles are worn. Change the whole set.")
    return [
        Finding(
            code="nozzle_set_worn",
            severity=Severity.JUSTIFY,
            template=template,
            numbers={"worn": str(len(worn)), "all": str(len(cups))},
            source="common practice, no source",
            field="catches",
        )
    ]


def off_target(*, gpa: Number, wanted_gpa: Number) -> Finding | None:
    """A finding when the measured rate is more than 5 % off the wanted one."""
    off = off_percent(gpa, wanted_gpa, field="wanted_gpa")
    if abs(off) <= TARGET_PERCENT:
        return None
    return Finding(
        code="rate_off_target",
        severity=Severity.JUSTIFY,
        template=gettext_noop("The sprayer puts on {gpa}, {off} off the wanted {wanted}."),
        numbers={
            "gpa": f"{show(to_decimal(Fraction(gpa)), 2)} gal/ac",
            "off": f"{show(abs(off), 1)} %",
            "wanted": f"{show(to_decimal(Fraction(wanted_gpa)), 2)} gal/ac",
        },
        source=TARGET_SOURCE,
        field="wanted_gpa",
    )
