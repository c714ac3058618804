"""A finding in all that a person reads of it, on labels whose transcriber noted a page for every limit."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from apps.products.rules import Rate, RateBasis
from apps.spraying.rules import CheckFacts, MixLine, Weather, check
from farmops.errors import Finding
from farmops.units import Quantity

from .mixes import changed, facts, relabelled

LIMITS = (
    "rate", "caps", "min_spray_gpa", "recommended_gpa", "methods", "solution_ph_min", "surfactant_caution",
    "mix_cautions", "wind_max_mph", "wind_min_mph", "temperature_max_f", "temperature_caution_f", "rain_free_hours",
    "max_uses", "season_max_product", "group_run_limits", "restricted_use", "supervised_use_allowed",
    "training_topic", "uses", "min_interval_days", "separations", "phi_days", "rei_hours", "stage_before",
    "crop_height_max_in", "plantback", "preplant_days", "bee_statement", "buffer_ft",
)  # fmt: skip
PAGES = {limit: f"page {number}" for number, limit in enumerate(LIMITS, 1)}
Whole = tuple[str, str, str, str, str]


def paged(code: str, amount: float | str, unit: str = "", *, rate: Rate | None = None, **doc: Any) -> MixLine:
    """``relabelled``, with the page of each limit (``PAGES``) in its source."""
    row = relabelled(code, amount, unit, **{"sections": PAGES, **doc})
    return row if rate is None else changed(row, rate=rate)


def placed(code: str, amount: float | str, key: str, **doc: Any) -> MixLine:
    """A library product whose transcriber noted that ``key`` stands on page 7 of the paper, and nothing of the rest."""
    return relabelled(code, amount, sections={key: "page 7"}, **doc)


def stated(amount: str, unit: str, basis: RateBasis) -> Rate:
    return Rate(quantity=Quantity(Decimal(amount), unit), basis=basis)


def given(*lines: MixLine, start: str = "2026-08-04T07:00", end: str = "2026-08-04T08:00", **more: Any) -> CheckFacts:
    """The default context of the worked cases with these lines in the tank."""
    return changed(facts([], start=start, end=end), lines=lines, **more)


def air(**readings: object) -> Weather:
    """Wind, gust and temperature as numbers."""
    return Weather(**{name: Decimal(str(value)) for name, value in readings.items()})


def told(findings: Iterable[Finding]) -> list[Whole]:
    """(severity, English sentence, source, field, subject) of each."""
    return [(f.severity.value, f.sentence, f.source, f.field, f.subject) for f in findings]


def whole(story: CheckFacts, code: str) -> list[Whole]:
    """Everything that the check says under one code."""
    return told(f for f in check(story) if f.code == code)
