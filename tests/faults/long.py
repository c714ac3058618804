"""The long form: ``python -m tests.faults.long --seed 7`` (days, kinds and rate by option); ends with 1 when
anything was lost, unwanted or repeated without a cause."""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from datetime import date
from pathlib import Path

from tests.faults.drive import run
from tests.faults.season import make


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seed", type=int, default=random.SystemRandom().randrange(10**6))
    asked.add_argument("--days", type=int, default=24, help="from February 20, 2026, so that the clocks change")
    asked.add_argument("--database", choices=["postgres", "sqlite"], default="postgres")
    asked.add_argument("--ticker", action="store_true", help="no Redis: two tickers instead of workers and beats")
    asked.add_argument("--kill-rate", type=float, default=1.2, help="kills for each hour that is played")
    asked.add_argument("--warm", action="store_true", help="processes forked from a loaded one, as in the short form")
    given = asked.parse_args()
    print(f"seed {given.seed}", flush=True)
    folder = Path(tempfile.mkdtemp(prefix="season-"))
    folder.chmod(0o755)  # the database runs as a user of its own
    season = make(given.seed, first=date(2026, 2, 20), days=given.days)
    verdict = run(
        folder, season, database=given.database, redis=not given.ticker, kill_rate=given.kill_rate,
        short=given.warm,
    )  # fmt: skip
    for line in [*verdict.lost, *verdict.unwanted, *verdict.unexplained]:
        print(line)
    print(f"{verdict.words()}\nwhat the processes said: {folder}/said.log", flush=True)
    return 1 if verdict.lost or verdict.unwanted or verdict.unexplained or verdict.forged else 0


if __name__ == "__main__":
    sys.exit(main())
