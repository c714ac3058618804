"""The short form: a day and a half through the spring clock change, killed all the while. Long form: ``long.py``."""

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
    season = make(SEED, first=date(2026, 3, 8), days=1, hours=HOURS, events=1.6)
    verdict = run(folder, season, kill_rate=0.8, **how)
    print(verdict.words())
    return verdict


def faults(verdict: Verdict) -> tuple[list[str], list[str], list[str], int]:
    return verdict.lost, verdict.unwanted, verdict.unexplained, verdict.forged


@pytest.mark.faults
def test_tickers_on_sqlite_lose_nothing_and_repeat_nothing(folder):
    verdict = played(folder, database="sqlite", redis=False)
    assert (faults(verdict), verdict.expected_calls > 3) == (([], [], [], 0), True)


@pytest.mark.faults
def test_workers_and_beats_on_postgresql_and_redis_lose_nothing_and_repeat_nothing(folder):
    verdict = played(folder, database="postgres", redis=True)
    assert (faults(verdict), verdict.expected_calls > 3) == (([], [], [], 0), True)
