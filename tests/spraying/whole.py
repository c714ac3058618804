"""A finding looked at as a whole: how much it weighs, what it says, where that stands, what it is about."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from apps.spraying.rules import CheckFacts, MixLine, check
from farmops.errors import Finding

from .mixes import relabelled

Whole = tuple[str, str, str, str, str]


def told(findings: Iterable[Finding]) -> list[Whole]:
    """(severity, English sentence, source, field, subject) of each."""
    return [(f.severity.value, f.sentence, f.source, f.field, f.subject) for f in findings]


def whole(given: CheckFacts, code: str) -> list[Whole]:
    """Everything that the check says under one code."""
    return told(f for f in check(given) if f.code == code)


def placed(code: str, amount: float | str, key: str, **doc: Any) -> MixLine:
    """A library product whose transcriber noted that ``key`` stands on page 7 of the paper, and nothing of the rest."""
    return relabelled(code, amount, sections={key: "page 7"}, **doc)
