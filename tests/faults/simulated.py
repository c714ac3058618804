"""A process whose day is read from a file: ``python -m tests.faults.simulated <clock file> manage.py run_ticker``.

The product has no switch for this, so nothing can turn it on in use: this launcher replaces
``farmops.clock.now`` before anything else runs. The machine's own clock, which leases go by, stays real;
leases and the time between two sweeps are shortened so that a season fits into minutes.

With ``nursery`` for a command it loads everything, and then gives birth to one process for each line it reads (a
command as JSON) and answers with its number: the same process, without the seconds its imports take.
"""

from __future__ import annotations

import json
import os
import runpy
import signal
import sys
import traceback
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path


@dataclass(frozen=True)
class Pace:
    """Seconds between two sweeps, and how long a dead process keeps a letter, and a farm or the ticker's place."""

    sweep: float
    letter: float
    look: float


PACES = {"long": Pace(sweep=1, letter=6, look=4), "short": Pace(sweep=0.4, letter=4, look=1.5)}
PACE = "SEASON_PACE"


def install(clock_file: Path) -> None:
    """From here on this process lives on the day that stands in ``clock_file``."""
    from farmops import clock

    def now() -> datetime:
        return datetime.fromisoformat(clock_file.read_text().strip()).astimezone(UTC)

    clock.now = now  # type: ignore[assignment]


def quicken(pace: Pace) -> None:
    """After Django has started."""
    from django.conf import settings

    from apps.reminders import rules
    from apps.reminders.services import sweeping
    from farmops.celery import app
    from farmops.management.commands import run_ticker

    rules.LEASE = timedelta(seconds=pace.letter)
    sweeping.LOOK_LEASE = timedelta(seconds=pace.look)
    run_ticker.SHORTEST_LEASE = pace.look
    settings.SWEEP_SECONDS = pace.sweep
    app.conf.beat_schedule["sweep"] |= {"schedule": pace.sweep, "options": {"expires": pace.sweep}}


def live(command: list[str]) -> None:
    """Be ``command``: a Celery process, or a script."""
    sys.argv = command
    if command[0] == "celery":
        from celery.__main__ import main as celery

        celery()
    else:
        runpy.run_path(command[0], run_name="__main__")


def nursery() -> None:
    """One child for each line; a dead one is forgotten at once."""
    from celery.apps import beat, worker  # noqa: F401
    from celery.bin.celery import celery  # noqa: F401
    from django.urls import get_resolver

    get_resolver().url_patterns  # noqa: B018
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            _grow_up(json.loads(line))
        print(child, flush=True)


def _grow_up(command: list[str]) -> None:
    """In the child: a session of its own, none of its mother's lines, and never back into her loop."""
    try:
        os.setsid()
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(2, 1)
        live(command)
    except SystemExit:
        pass
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(0)


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
    install(Path(sys.argv[1]))
    import django

    django.setup()
    quicken(PACES[os.environ.get(PACE, "long")])
    if sys.argv[2] == "nursery":
        nursery()
    else:
        live(sys.argv[2:])


if __name__ == "__main__":
    main()
