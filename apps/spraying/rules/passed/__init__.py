"""Why may I? Every rule that was asked and had nothing to say, with its arithmetic.

A passed rule is never a finding: it is shown only when somebody asks. Nothing is listed as passed that a
finding speaks about; what nobody knows is not listed at all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from apps.spraying.rules.checking import check
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.passed import amounts, around, groups, label, people
from apps.spraying.rules.passed.row import Passed
from farmops.errors import Finding, Severity

__all__ = ["Passed", "passed_rules"]

PARTS: tuple[Callable[[CheckFacts], Iterable[Passed]], ...] = (
    label.passed,
    amounts.passed,
    groups.passed,
    around.passed,
    people.passed,
)


def passed_rules(facts: CheckFacts) -> list[Passed]:
    """Every rule this mix passes on one block, in the order of the label, then season, ground and people."""
    spoken = _spoken(check(facts))
    rows = [row for part in PARTS for row in part(facts) if not row.contradicted(spoken)]
    return list(dict.fromkeys(rows))


def _spoken(findings: Iterable[Finding]) -> frozenset[tuple[str, str]]:
    """(code, whom it is about) of everything that refuses or asks for a reason."""
    found = set()
    for finding in findings:
        if finding.severity is Severity.NOTE:
            continue
        numbers = finding.numbers
        names = {finding.subject, *(numbers.get(k, "") for k in ("product", "ingredient", "group", "other"))}
        found |= {(finding.code, name) for name in names}
    return frozenset(found)
