"""The short form: three days with the spring clock change, killed all the while. Long form: ``long.py``."""

from __future__ import annotations

import os
import random
import shutil
import tempfile
from collections.abc import Iterator
from datetime import date, time
from pathlib import Path

import pytest

from tests.faults.drive import Verdict, run
from tests.faults.season import make

SEED = int(os.environ.get("SEASON_SEED", "0")) or random.SystemRandom().randrange(1, 10**6)
HOURS = [time(0, 1), time(5, 20), time(12)]


@pytest.fixture
def folder() -> Iterator[Path]:
    """Open to the database's own user, which pytest's folders are not."""
    made = Path(tempfile.mkdtemp(prefix="season-"))
    made.chmod(0o755)
    yield made
    shutil.rmtree(made, ignore_errors=True)


def played(folder: Path, **how) -> Verdict:
    print(f"SEASON_SEED={SEED}")
    season = make(SEED, first=date(2026, 3, 7), days=2, hours=HOURS, events=2.5)
    verdict = run(folder, season, kill_rate=2, short=True, **how)
    print(verdict.words())
    return verdict


def faults(verdict: Verdict) -> tuple[list[str], list[str], list[str], int]:
    return verdict.lost, verdict.unwanted, verdict.unexplained, verdict.forged


def was_hard(verdict: Verdict, *services: str) -> bool:
    """A quiet season proves nothing: enough was told, enough was killed, and each service was struck."""
    return verdict.expected_calls >= 8 and verdict.kills.total() >= 25 and all(verdict.kills[s] == 1 for s in services)


@pytest.mark.faults
def test_tickers_on_sqlite_lose_nothing_and_repeat_nothing(folder):
    verdict = played(folder, database="sqlite", redis=False)
    assert (faults(verdict), was_hard(verdict)) == (([], [], [], 0), True), verdict.words()


@pytest.mark.faults
def test_workers_and_beats_on_postgresql_and_redis_lose_nothing_and_repeat_nothing(folder):
    verdict = played(folder, database="postgres", redis=True)
    hard = was_hard(verdict, "Redis flushed", "Redis killed", "PostgreSQL crashed")
    assert (faults(verdict), hard) == (([], [], [], 0), True), verdict.words()
