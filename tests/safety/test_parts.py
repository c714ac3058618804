"""A treatment kept to a mapped part: cases B6 to B9 of the project's decision table, and that no part opens more.

Times are America/Chicago; spraying 2026-06-01 08:00 to 09:30 CDT unless a row says otherwise.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from apps.safety.rules import (
    HarvestWait,
    Kind,
    LiftReason,
    NewClosure,
    Reason,
    check_hang,
    check_replace,
    for_signature,
    for_start,
    may_enter,
    may_harvest,
)
from tests.factories.land import square
from tests.safety.board import BLOCK, CHICAGO, HALF_PAST_NINE, Board, local, rei

START = local("06-01 08:00")
PART = square(-86.25, 40.25, 0.001)
TREATED = "treated area: 40 CFR 170.407"


def signed(*intervals, part=PART, end=HALF_PAST_NINE, source="job:1", waits=None, board=None) -> Board:
    board = board or Board()
    final = for_signature(
        BLOCK, started_at=START, ended_at=end, intervals=intervals or [rei(12)], waits=waits, zone=CHICAGO, part=part,
        part_acres="10 acres",
    )  # fmt: skip
    board.hang(final, at=end, source=source)
    return board


def ask(board: Board, at: str, *, rest: bool):
    return may_enter(board.known(local(at)), at=local(at), rest=rest)


def _b9() -> Board:
    return signed(rei(24), part=None, end=local("06-01 08:40"))


def _b8() -> Board:
    return signed(rei(24), end=local("06-01 08:40"))


CASES = [
    ("B6 the other 30 acres", TREATED, signed, "06-01 12:00", True, "yes", None),
    ("B6 the block", "project rule (no part named)", signed, "06-01 12:00", False, "no", "06-01 21:30"),
    ("B6 after", TREATED, signed, "06-01 21:30", False, "yes", None),
    ("B7 only words", "project rule (not mapped)", lambda: signed(part=None), "06-01 12:00", True, "no", "06-01 21:30"),
    ("B8 aborted, mapped, the rest", TREATED, _b8, "06-01 09:00", True, "yes", None),
    ("B8 aborted, mapped, before", "40 CFR 170.407 (from when it ended)", _b8, "06-02 08:39", False, "no",
     "06-02 08:40"),
    ("B8 aborted, mapped, at", "40 CFR 170.407 (from when it ended)", _b8, "06-02 08:40", False, "yes", None),
    ("B9 aborted, not mapped, the rest", "project rule (not mapped)", _b9, "06-01 09:00", True, "no", "06-02 08:40"),
]  # fmt: skip


@pytest.mark.parametrize(("basis", "board", "at", "rest", "answer", "opens"), [c[1:] for c in CASES],
                         ids=[c[0] for c in CASES])  # fmt: skip
def test_case(basis, board, at, rest, answer, opens):
    said = ask(board(), at, rest=rest)
    assert (said.answer, said.opens_at) == (answer, local(opens) if opens else None), basis


def test_b6_the_rest_is_told_of_the_boundary():
    said = ask(signed(), "06-01 12:00", rest=True)
    assert [(b.code, b.answer, b.numbers["acres"]) for b in said.because] == [("part_closed", "yes", "10 acres")]


def test_b6_the_block_is_told_that_it_is_only_a_part():
    said = ask(signed(), "06-01 12:00", rest=False)
    assert [(b.code, b.answer) for b in said.because] == [("entry_interval", "no"), ("only_a_part", "yes")]


def test_a_whole_block_closure_beside_a_part_closes_the_rest_too():
    board = signed(rei(48))
    signed(rei(12), part=None, end=local("06-01 12:00"), source="job:2", board=board)
    said = ask(board, "06-01 13:00", rest=True)
    assert (said.answer, said.opens_at) == ("no", local("06-02 00:00"))
    assert "only_a_part" not in {b.code for b in ask(board, "06-01 13:00", rest=False).because}
    assert ask(board, "06-02 00:00", rest=True).answer == "yes"


def test_a_job_underway_closes_the_rest_of_a_block_too():
    board = signed()
    underway = for_start([BLOCK], started_at=local("06-01 12:00"), window_ends_at=local("06-01 13:00"), products=["Y"])
    board.hang(underway, at=local("06-01 12:00"), source="job:2")
    assert ask(board, "06-01 12:00", rest=True).answer == "no"


def test_a_part_that_contradicts_itself_closes_the_whole_block():
    broken = [replace(c, ends_at=START.replace(hour=1)) for c in signed().known(HALF_PAST_NINE)]
    assert may_enter(broken, at=local("06-01 12:00"), rest=True).answer == "unknown"


def test_an_unknown_interval_of_a_part_stays_on_its_part():
    board = signed(rei(None))
    assert ask(board, "06-30 12:00", rest=True).answer == "yes"
    assert ask(board, "06-30 12:00", rest=False).answer == "unknown"


def test_the_harvest_wait_of_a_part_stays_on_its_part():
    board = signed(rei(12), waits=[HarvestWait(product="X", days=3)])
    at = local("06-02 12:00")
    assert may_harvest(board.known(at), at=at).answer == "no"
    assert may_harvest(board.known(at), at=at, rest=True).answer == "yes"


def test_an_answer_for_the_rest_is_no_longer_good_than_any():
    at = local("06-01 21:20")
    said = may_enter(signed().known(at), at=at, rest=True)
    assert (said.answer, said.good_until) == ("yes", local("06-01 21:30"))


@pytest.mark.parametrize("kind", [k for k in Kind if k not in {Kind.ENTRY, Kind.HARVEST}])
def test_only_what_is_signed_may_be_kept_to_a_part(kind):
    """Project rule: while it is sprayed or unsigned nobody knows how far it went."""
    window = {"ends_at": local("06-01 10:00")} if kind is Kind.PLANNED else {}
    new = NewClosure(block_id=1, kind=kind, reason_code=Reason.WINDOW, starts_at=START, part=PART, **window)
    assert [f.code for f in check_hang(new, now=START)] == ["part_not_allowed"]


@pytest.mark.parametrize(
    ("old", "new", "codes"),
    [
        (PART, PART, []),
        (PART, None, []),
        (None, PART, ["left_open"]),
        (PART, square(-86.25, 40.25, 0.0005), ["left_open"]),
    ],
    ids=["the same part", "a part becomes the block", "the block becomes a part", "a smaller part"],
)
def test_a_correction_that_is_not_signed_never_makes_the_ground_smaller(old, new, codes):
    """Project rule: corrections take effect the safe way round."""
    standing = signed(part=old).hanging()
    longer = for_signature(
        BLOCK, started_at=START, ended_at=local("06-01 10:00"), intervals=[rei(12)], waits=None, zone=CHICAGO, part=new
    )  # fmt: skip
    assert [f.code for f in check_replace(standing, longer, reason=LiftReason.LENGTHENED)] == codes
