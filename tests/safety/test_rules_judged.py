"""The rules against an independent judge over generated histories of two neighbouring blocks.

Each history is probed at every turn, a minute before it, and at random; each minute for both blocks, for the whole
block and for the rest of it, for entry and for harvest. No answer of the board may be ``yes`` where the judge says
otherwise; and both must agree at every probe. The number of probes is printed. ``NIGHTLY=1`` asks for at least
200,000; ``FIELD_PROBES`` names the number of histories.
"""

from __future__ import annotations

import os
from collections import Counter
from datetime import timedelta
from itertools import product

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from apps.safety.rules import may_both
from tests.safety.histories import BLOCKS, LENGTH, WORKS, Teller, histories
from tests.safety.judge import judge

NIGHTLY = os.environ.get("NIGHTLY") == "1"
HISTORIES = int(os.environ.get("FIELD_PROBES", "1500" if NIGHTLY else "60"))
WANTED = 200_000 if NIGHTLY else 60 * HISTORIES
counted: Counter[str] = Counter()


def turns(history: dict) -> set[int]:
    """Minutes at which something may change, and the minute before each."""
    minutes = {m for up, down in history["signs"] for m in (up, down) if m is not None}
    for job in history["jobs"]:
        minutes |= {*job["window"], job["window"][1] + 1440}
        minutes |= {job[k] for k in ("called_off", "not_applied", "start", "reported", "signed") if job[k] is not None}
        ends = [job["end_second"], *(claim[1] for claim in job["claims"])] if job["reported"] else []
        more = {sum(claim[3] for claim in job["claims"][:n]) for n in range(len(job["claims"]) + 1)}
        hours = {h + m for h, _, _ in job["rei"] if h is not None for m in more}
        minutes |= {-(-e // 60) + h * 60 for e in ends for h in hours}
        waits = [days * 1440 + shift for days in job["phi"] or [] if days is not None for shift in (0, 60)]
        minutes |= {-(-e // 60) + wait for e in ends for wait in waits}
    return {m - back for m in minutes for back in (0, 1) if 0 <= m - back <= LENGTH}


@seed(20260601)
@settings(max_examples=HISTORIES, deadline=None, suppress_health_check=list(HealthCheck), database=None)
@given(history=histories(), data=st.data())
def _no_wrong_yes(history, data):
    board = Teller(history).tell()
    minutes = [*sorted(turns(history)), *data.draw(st.lists(st.integers(0, LENGTH), min_size=5, max_size=15))]
    chance = data.draw(st.randoms(use_true_random=False))
    asked = [(minute, chance.choice(WORKS), chance.choice([0, 0, 1, 59])) for minute in minutes]
    for job in history["jobs"]:
        counted.update(
            f"jobs {name}" for name in ("reaches", "part", "late", "skew", "claims", "attested") if job[name]
        )
    verdicts = judge(history, {(m, w, b, r) for (m, w, _), b, r in product(asked, (0, 1), (False, True))})
    for (minute, work, second), block, rest in product(asked, (0, 1), (False, True)):
        at = history["day"] + timedelta(minutes=minute, seconds=second)
        _compare(board, at, work, block, rest, verdicts[minute, work, block, rest])
        if not rest:  # the board's list, which judges each closure once for both answers
            both = may_both(board.on(BLOCKS[block], at), at=at, activity=work)
            assert both == (board.enter(at, work, block=BLOCKS[block]), board.harvest(at, block=BLOCKS[block]))


def _compare(board, at, work, block, rest, judged) -> None:
    ask = {"block": BLOCKS[block], "rest": rest}
    for name, answer, expected in (
        ("entry", board.enter(at, work, **ask), judged[0]),
        ("harvest", board.harvest(at, **ask), judged[1]),
    ):
        counted["probes"] += 1
        counted[f"{name} {answer.answer}"] += 1
        where = f"{name} of block {block}{' (rest)' if rest else ''} at {at} for {work}"
        assert not (answer.answer == "yes" and expected != "yes"), f"wrong yes: {where}"
        assert answer.answer == expected, where
        assert at < answer.good_until <= at + timedelta(minutes=30)


def test_no_yes_where_the_judge_says_otherwise(capsys: pytest.CaptureFixture[str]):
    counted.clear()
    _no_wrong_yes()
    with capsys.disabled():
        print(f"\n  field board probed against the judge: {dict(sorted(counted.items()))}")
    assert counted["probes"] >= WANTED
    assert min(counted[f"{n} {w}"] for n in ("entry", "harvest") for w in ("yes", "no", "unknown")) > HISTORIES // 2


def test_what_opens_at_a_named_time_is_open_then_and_closed_until_then():
    """``opens_at`` is a promise, kept by the rule itself over generated histories."""
    promised = 0

    @seed(20260602)
    @settings(max_examples=HISTORIES, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    @given(history=histories(), work=st.sampled_from(WORKS))
    def _kept(history, work):
        nonlocal promised
        board = Teller(history).tell()
        for minute, block, rest in product(sorted(turns(history)), BLOCKS, (False, True)):
            ask = {"block": block, "rest": rest}
            at = history["day"] + timedelta(minutes=minute)
            answer = board.enter(at, work, **ask)
            if answer.opens_at is not None:
                promised += 1
                assert answer.opens_at > at
                assert board.enter(answer.opens_at, work, as_of=at, **ask).answer == "yes"
                assert board.enter(answer.opens_at - timedelta(minutes=1), work, as_of=at, **ask).answer == "no"

    _kept()
    assert promised > HISTORIES // 3
