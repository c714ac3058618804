"""The 56 worked cases: decision and the exact set of reasons (fixtures/worked_examples/README.md)."""

from __future__ import annotations

import pytest

from apps.spraying.rules import check

from .mixes import CASES, case_facts, reasons

ROWS = CASES["cases"]


def test_the_file_holds_the_56_cases():
    assert len(ROWS) == len({case["id"] for case in ROWS}) == 56


@pytest.mark.parametrize("case", ROWS, ids=[case["id"] for case in ROWS])
def test_decision_and_every_reason(case):
    refusing, asking = reasons(case_facts(case))
    decision = "REFUSE" if refusing else "WARN" if asking else "PASS"

    assert (decision, refusing, asking) == (
        case["expect"],
        sorted(code.lower() for code in case["refuse"]),
        sorted(code.lower() for code in case["warn"]),
    )


@pytest.mark.parametrize("case", ROWS, ids=[case["id"] for case in ROWS])
def test_every_finding_speaks_and_names_its_source(case):
    for finding in check(case_facts(case)):
        assert "{" not in finding.sentence and finding.source != "", finding
