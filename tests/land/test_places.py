"""Planted against mapped acres, shared ground, kinds of place, typed text."""

from __future__ import annotations

from decimal import Decimal

import pytest

from apps.land.rules import (
    KIND_NAMES,
    SensitiveKind,
    acres_differ,
    acres_of,
    read_kind,
    read_planted_acres,
    shared_ground,
)
from farmops.errors import BadInput, Severity
from farmops.faults import plain_text
from tests.land.shapes import SQUARE_10, SQUARE_40, box, polygon


@pytest.mark.parametrize(
    ("planted", "said"),
    [
        ("10", None),
        ("9", None),
        ("11", None),
        ("8.9999", "Planted acres (9 ac) and mapped acres (10 ac) differ by 10 %. Check the outline and the figure."),
        ("11.5", "Planted acres (11.5 ac) and mapped acres (10 ac) differ by 15 %. Check the outline and the figure."),
        ("4.05", "Planted acres (4.05 ac) and mapped acres (10 ac) differ by 60 %. Check the outline and the figure."),
    ],
    ids=["equal", "ten less", "ten more", "just over", "fifteen more", "hectares taken for acres"],
)
def test_planted_and_mapped_acres_are_compared(planted: str, said: str | None) -> None:
    finding = acres_differ(Decimal(10), Decimal(planted))
    assert (finding and finding.sentence) == said
    assert (finding and finding.code) == (said and "planted_acres_differ")


def shared(mine: dict[str, object], theirs: dict[str, object]) -> tuple[str, Severity] | None:
    found = shared_ground(mine, acres_of(mine), theirs, acres_of(theirs), code="B2")
    return (found.code, found.severity) if found else None


@pytest.mark.parametrize(
    ("mine", "theirs", "answer"),
    [
        (box(-86.25, 40.25), box(-86.24, 40.25), None),
        (box(-86.25, 40.25), box(-86.249, 40.25), None),
        (box(-86.25, 40.25), box(-86.24901, 40.25), ("edge_overlaps", Severity.NOTE)),
        (box(-86.25, 40.25), box(-86.2495, 40.25), ("ground_shared", Severity.REFUSE)),
        (polygon(SQUARE_10), polygon(SQUARE_40), ("ground_shared", Severity.REFUSE)),
    ],
    ids=["apart", "common side", "one per cent", "half", "inside"],
)
def test_the_same_ground_cannot_lie_in_two_blocks(
    mine: dict[str, object], theirs: dict[str, object], answer: tuple[str, Severity] | None
) -> None:
    assert shared(mine, theirs) == answer
    assert shared(theirs, mine) == answer


def test_the_refusal_names_the_other_block_and_the_acres() -> None:
    mine, theirs = polygon(SQUARE_10), polygon(SQUARE_40)
    found = shared_ground(mine, acres_of(mine), theirs, acres_of(theirs), code="B2")
    assert found is not None
    assert found.sentence == "Covers 10 ac of block B2. The same ground cannot lie in two blocks: redraw one of them."


@pytest.mark.parametrize(
    ("typed", "acres"),
    [(None, None), ("", None), ("  ", None), ("12.5", Decimal("12.5")), (" 7 ", Decimal(7)), (3, Decimal(3))],
)
def test_planted_acres_may_be_left_unsaid(typed: object, acres: Decimal | None) -> None:
    assert read_planted_acres(typed) == acres


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("0", "Planted acres must be above 0."),
        ("-3", "Must be 0 or more."),
        ("10001", "Must be 10000 or less."),
        ("1,5", "Use a point for decimals, like 1.5, and no thousands mark."),
        ("ten", "“ten” must be a number, like 1.5."),
        ("nan", "Must be a plain number, like 1.5."),
        ("1.23456", "Planted acres: at most four decimals."),
    ],
)
def test_planted_acres_refused(typed: str, said: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_planted_acres(typed)
    assert refused.value.errors == {"planted_acres": [said]}


def test_every_kind_has_a_name() -> None:
    assert set(KIND_NAMES) == set(SensitiveKind)
    assert len(set(KIND_NAMES.values())) == len(SensitiveKind)


@pytest.mark.parametrize(("typed", "kind"), [("water", SensitiveKind.WATER), (" Hives ", SensitiveKind.HIVES)])
def test_kinds_are_read(typed: str, kind: SensitiveKind) -> None:
    assert read_kind(typed) is kind


def test_an_unknown_kind_is_refused_with_the_list() -> None:
    with pytest.raises(BadInput) as refused:
        read_kind("pond")
    said = "Kind must be one of: water, well, hives, house, school, crop, habitat, other."
    assert refused.value.errors == {"kind": [said]}


@pytest.mark.parametrize(
    ("typed", "kept"), [("  North   field ", "North field"), ("Cañada", "Cañada"), (None, ""), (7, "7")]
)
def test_text_is_trimmed(typed: object, kept: str) -> None:
    assert plain_text(typed, field="name", most=20) == kept


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Enter a name."),
        (" \t ", "Enter a name."),
        ("x" * 21, "Must be 20 characters or fewer."),
        ("a\x00b", "Must be plain text without control characters."),
        ("a\u202eb", "Must be plain text without control characters."),
    ],
    ids=["empty", "blank", "long", "nul", "direction mark"],
)
def test_text_refused(typed: str, said: str) -> None:
    with pytest.raises(BadInput) as refused:
        plain_text(typed, field="name", most=20, empty="Enter a name.")
    assert refused.value.errors == {"name": [said]}
