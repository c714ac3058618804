"""A process whose day is read from a file: ``python -m tests.faults.simulated <clock file> manage.py run_ticker``.

The product has no switch for this, so nothing can turn it on in use: this launcher replaces
``farmops.clock.now`` before anything else runs. The machine's own clock, which leases go by, stays real;
leases are shortened so that a season fits into minutes.
"""

from __future__ import annotations

import os
import runpy
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

LETTER_LEASE, LOOK_LEASE = timedelta(seconds=6), timedelta(seconds=4)


def install(clock_file: Path) -> None:
    """From here on this process lives on the day that stands in ``clock_file``."""
    from farmops import clock

    def now() -> datetime:
        return datetime.fromisoformat(clock_file.read_text().strip()).astimezone(UTC)

    clock.now = now  # type: ignore[assignment]
    from apps.reminders import rules

    rules.LEASE = LETTER_LEASE


def shorten_looks() -> None:
    """After Django has started: how long a farm, or the ticker's place, is left to a process that may be dead."""
    from apps.reminders.services import sweeping
    from farmops.management.commands import run_ticker

    sweeping.LOOK_LEASE = LOOK_LEASE
    run_ticker.SHORTEST_LEASE = LOOK_LEASE.total_seconds()


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
    install(Path(sys.argv[1]))
    import django

    django.setup()
    shorten_looks()
    sys.argv = sys.argv[2:]
    if sys.argv[0] == "celery":
        from celery.__main__ import main as celery

        celery()
    else:
        runpy.run_path(sys.argv[0], run_name="__main__")


if __name__ == "__main__":
    main()
