"""Runs the reminder sweep every SWEEP_SECONDS without a broker (the embedded default).

Two tickers are harmless: a lease row lets only one of them sweep. The main thread only waits for
a signal, so that it stops within a second whatever the sweep is doing; a sweep may be cut off at
any line, and the next one carries on.
"""

from __future__ import annotations

import logging
import os
import secrets
import signal
import socket
import sys
import threading
import time
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser
from django.db import close_old_connections, connection

from apps.reminders import services
from farmops import clock

log = logging.getLogger(__name__)
LEASE = "ticker"
SHORTEST_LEASE = 30.0  # seconds after which another ticker takes over from one that died
GRACE = 0.7  # seconds that a running round gets to end by itself


class Ticker:
    """Rounds of the sweep, as long as nobody says stop."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.stopping = threading.Event()
        self.holder = f"{socket.gethostname()[:60]}:{os.getpid()}:{secrets.token_hex(4)}"
        self.lease = timedelta(seconds=max(SHORTEST_LEASE, 2 * seconds))

    def round(self) -> None:
        """One sweep, if the lease is ours. A fault is logged and does not end the rounds."""
        try:
            close_old_connections()
            if services.hold_lease(name=LEASE, holder=self.holder, length=self.lease, now=clock.machine_now()):
                services.sweep(clock.now(), machine=clock.machine_now())
        except Exception:
            log.exception("a sweep failed; the next one follows in %s s", self.seconds)

    def rounds(self) -> None:
        while not self.stopping.is_set():
            self.round()
            self.stopping.wait(self.seconds)
        self.give_back()

    def give_back(self) -> None:
        try:
            services.release_lease(name=LEASE, holder=self.holder)
        except Exception:
            log.exception("the lease could not be given back; it ends by itself")
        finally:
            connection.close()


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="Sweep once, say what was done, and end.")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["once"]:
            done = services.sweep(clock.now(), machine=clock.machine_now())
            self.stdout.write(f"made {done.made}, sent {done.sent}, failed {done.failed}, faults {done.faults}")
            return
        ticker = Ticker(settings.SWEEP_SECONDS)
        self.asked_to_stop = False
        for wanted in (signal.SIGTERM, signal.SIGINT):
            signal.signal(wanted, self.stop)
        rounds = threading.Thread(target=ticker.rounds, daemon=True)
        rounds.start()
        self.stdout.write(f"Ticker: a sweep every {settings.SWEEP_SECONDS} s.")
        sys.stdout.flush()
        while rounds.is_alive() and not self.asked_to_stop:
            time.sleep(0.1)
        ticker.stopping.set()
        rounds.join(GRACE)
        sys.stdout.flush()
        # A thread held up by a mail server or a database lock must not keep the process.
        os._exit(0 if self.asked_to_stop else 1)

    def stop(self, *args: object) -> None:
        self.asked_to_stop = True
