"""Benchmark, not a test: what an entry answer and the board cost as closures and blocks grow.

Run: DJANGO_SETTINGS_MODULE=farmops.settings python -m tests.safety.bench_answer
Prints queries and the best of 15 rounds in ms beside a floor measured in the same run: one indexed row read
by the same means. Uses a throw-away in-memory SQLite database.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta


def best_ms(act: Callable[[], object], rounds: int = 15) -> float:
    times = []
    for _ in range(rounds):
        begun = time.perf_counter()
        act()
        times.append(time.perf_counter() - begun)
    return min(times) * 1000


def main() -> None:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
    django.setup()
    from django.db import connection

    connection.creation.create_test_db(verbosity=0)
    measure()


def measure() -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from apps.land.models import Block
    from apps.safety import queries, rules, services
    from tests.factories.land import BlockFactory
    from tests.factories.people import FarmFactory

    now = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
    print(f"{'blocks':>7} {'past closures':>14} {'entry ms':>9} {'board ms':>9} {'floor ms':>9} {'queries':>8}")
    for blocks, past in ((3, 10), (30, 10), (30, 100), (100, 30)):
        farm = FarmFactory()
        rows = [BlockFactory(farm=farm) for _ in range(blocks)]
        for row in rows:
            for n in range(past):
                ended = now - timedelta(days=n * 7, hours=20)
                hung = rules.for_signature(
                    row.pk,
                    started_at=ended - timedelta(hours=1),
                    ended_at=ended,
                    intervals=[rules.EntryInterval(product="Demo", hours=12)],
                    waits=[rules.HarvestWait(product="Demo", days=1)],
                    zone=farm.time_zone,
                )
                services.hang_closures(farm=farm, member=None, source=f"job:{row.pk}.{n}", closures=hung, now=now)
        block = Block.rows.select_related("farm", "field").get(pk=rows[0].pk)
        entry = best_ms(lambda b=block: queries.entry_answer(b, activity=None, at=now, now=now))
        board = best_ms(lambda f=farm: queries.board(f, at=now, now=now))
        floor = best_ms(lambda b=block: Block.rows.get(pk=b.pk))
        with CaptureQueriesContext(connection) as asked:
            queries.board(farm, at=now, now=now)
        print(f"{blocks:>7} {past:>14} {entry:>9.2f} {board:>9.2f} {floor:>9.2f} {len(asked):>8}")


if __name__ == "__main__":
    main()
