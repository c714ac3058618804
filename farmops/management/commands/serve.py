"""The site and its background sweep in one foreground process group."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser

BIN = Path(sys.executable).parent


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--prepare", action="store_true", help="Migrate, collect files and load the demo farm once."
        )
        parser.add_argument("--no-demo", action="store_true", help="With --prepare: leave the book empty.")
        parser.add_argument("--host", default=os.environ.get("HOST", "127.0.0.1"))
        parser.add_argument("--port", default=os.environ.get("PORT", "8000"))

    def handle(self, *args: Any, **options: Any) -> None:
        if options["prepare"]:
            self.prepare(demo=not options["no_demo"])
        os.environ.setdefault("SITE_URL", f"http://{options['host']}:{options['port']}")  # for the children's letters
        self.stopping = False
        for wanted in (signal.SIGINT, signal.SIGTERM):
            signal.signal(wanted, self.stop)
        self.children = [subprocess.Popen(command) for command in self.commands(options["host"], options["port"])]
        self.stdout.write(f"\nServing on http://{options['host']}:{options['port']}/  (Ctrl-C stops everything)\n")
        sys.exit(self.watch())

    def prepare(self, *, demo: bool) -> None:
        call_command("migrate", verbosity=0)
        call_command("compile_language")
        call_command("collectstatic", interactive=False, verbosity=0)
        if demo:
            call_command("load_demo", if_empty=True)

    def commands(self, host: str, port: str) -> list[list[str]]:
        """The web server, and what triggers the sweep: Celery with Redis, else the ticker."""
        web = [
            *(str(BIN / "granian"), "--interface", "wsgi", "--host", host, "--port", str(port)),
            *("--workers", "2", "--blocking-threads", "16", "--respawn-failed-workers", "--log-level", "error"),
            *("--workers-kill-timeout", "5"),
            "farmops.wsgi:application",
        ]
        celery = [str(BIN / "celery"), "-A", "farmops"]
        if settings.REDIS_URL:
            schedule = str(settings.DATA_DIR / "beat-schedule")
            return [
                web,
                [*celery, "worker", "--loglevel", "warning", "--concurrency", "1"],
                [*celery, "beat", "--loglevel", "warning", "--schedule", schedule],
            ]
        return [web, [sys.executable, "manage.py", "run_ticker"]]

    def stop(self, *args: object) -> None:
        self.stopping = True

    def watch(self) -> int:
        """Wait until asked to stop or a child dies; then stop all, in order, for at most 15 s."""
        died = None
        while not self.stopping and died is None:
            time.sleep(0.3)
            died = next((c for c in self.children if c.poll() is not None), None)
        for child in self.children:
            if child.poll() is None:
                child.terminate()
        deadline = time.monotonic() + 15
        for child in self.children:
            try:
                child.wait(max(0.1, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                child.kill()
        # Ctrl-C reaches the children too: that they ended is then no fault.
        if died is not None and not self.stopping:
            self.stderr.write(f"A part stopped by itself (exit {died.returncode}); everything was stopped.")
            return 1
        self.stdout.write("Stopped.")
        return 0
