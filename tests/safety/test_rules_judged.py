"""The rules against an independent judge over generated histories, probed at random and at every turn.

No answer of the board may be ``yes`` where the judge says otherwise; and both must agree at every
probe. The number of probes is printed; ``FIELD_PROBES`` asks for more histories (default 300).
"""

from __future__ import annotations

import os
from collections import Counter
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from tests.safety.histories import LENGTH, WORKS, Teller, histories
from tests.safety.judge import judge

HISTORIES = int(os.environ.get("FIELD_PROBES", "300"))
counted: Counter[str] = Counter()


def turns(history: dict) -> set[int]:
    """Minutes at which something may change, and the minute before each."""
    minutes = {m for up, down in history["signs"] for m in (up, down) if m is not None}
    for job in history["jobs"]:
        minutes |= {*job["window"], job["window"][1] + 1440}
        minutes |= {job[k] for k in ("called_off", "not_applied", "start", "reported", "signed") if job[k] is not None}
        ends = [job["end_second"], *(second for _, second, _ in job["claims"])] if job["reported"] else []
        minutes |= {-(-e // 60) + hours * 60 for e in ends for hours, _, _ in job["rei"] if hours is not None}
        waits = [days * 1440 + shift for days in job["phi"] or [] if days is not None for shift in (0, 60)]
        minutes |= {-(-e // 60) + wait for e in ends for wait in waits}
    return {m - back for m in minutes for back in (0, 1) if 0 <= m - back <= LENGTH}


@seed(20260601)
@settings(max_examples=HISTORIES, deadline=None, suppress_health_check=list(HealthCheck), database=None)
@given(history=histories(), data=st.data())
def _no_wrong_yes(history, data):
    board = Teller(history).tell()
    minutes = data.draw(st.lists(st.sampled_from(sorted(turns(history))), min_size=1, max_size=30, unique=True))
    minutes += data.draw(st.lists(st.integers(0, LENGTH), max_size=10))
    works = data.draw(st.lists(st.sampled_from(WORKS), min_size=len(minutes), max_size=len(minutes)))
    seconds = data.draw(st.lists(st.sampled_from([0, 0, 1, 59]), min_size=len(minutes), max_size=len(minutes)))
    verdicts = judge(history, set(zip(minutes, works, strict=True)))
    for minute, work, second in zip(minutes, works, seconds, strict=True):
        at = history["day"] + timedelta(minutes=minute, seconds=second)
        entry, harvest = verdicts[minute, work]
        for name, answer, judged in (
            ("entry", board.enter(at, work), entry),
            ("harvest", board.harvest(at), harvest),
        ):
            counted["probes"] += 1
            counted[f"{name} {answer.answer}"] += 1
            assert not (answer.answer == "yes" and judged != "yes"), f"wrong yes: {name} at {at} for {work}"
            assert answer.answer == judged, f"{name} at {at} for {work}"
            assert at < answer.good_until <= at + timedelta(minutes=30)


def test_no_yes_where_the_judge_says_otherwise(capsys: pytest.CaptureFixture[str]):
    counted.clear()
    _no_wrong_yes()
    with capsys.disabled():
        print(f"\n  field board probed against the judge: {dict(sorted(counted.items()))}")
    assert counted["probes"] >= 10 * HISTORIES
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
        for minute in sorted(turns(history)):
            at = history["day"] + timedelta(minutes=minute)
            answer = board.enter(at, work)
            if answer.opens_at is not None:
                promised += 1
                assert answer.opens_at > at
                assert board.enter(answer.opens_at, work, as_of=at).answer == "yes"
                assert board.enter(answer.opens_at - timedelta(minutes=1), work, as_of=at).answer == "no"

    _kept()
    assert promised > HISTORIES // 3
