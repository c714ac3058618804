"""The processes that are killed, and the two ways to start them: from nothing, or born with everything loaded."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Player:
    """One process that may be killed, and how to start it again."""

    what: str
    command: list[str]
    pid: int = 0
    process: subprocess.Popen[bytes] | None = None

    def kill(self) -> None:
        """``kill -9`` for the whole group; returns when it is dead."""
        for how in (os.killpg, os.kill):  # a newborn has no group of its own yet
            with suppress(ProcessLookupError):
                how(self.pid, signal.SIGKILL)
        if self.process is not None:
            self.process.wait()
        deadline = time.monotonic() + 10
        while Path(f"/proc/{self.pid}").exists():
            assert time.monotonic() < deadline, f"{self.what} {self.pid} does not die"
            time.sleep(0.01)

    def kill_child(self) -> bool:
        """``kill -9`` for the first of its children; False when it has none."""
        children: list[int] = []
        with suppress(OSError):
            children = [int(word) for word in Path(f"/proc/{self.pid}/task/{self.pid}/children").read_text().split()]
        with suppress(ProcessLookupError):
            for child in children[:1]:
                os.kill(child, signal.SIGKILL)
        return bool(children)


class Starter:
    """Starts players. ``warm``: forked from one process that has loaded the product; else each from nothing."""

    def __init__(self, clock_file: Path, env: Mapping[str, str], said: IO[bytes], *, warm: bool) -> None:
        self.simulated = [sys.executable, "-m", "tests.faults.simulated", str(clock_file)]
        self.how: dict[str, Any] = {"cwd": ROOT, "env": dict(env), "stderr": said}
        self.nursery: subprocess.Popen[str] | None = None
        if warm:
            pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
            self.nursery = subprocess.Popen([*self.simulated, "nursery"], **self.how, **pipes)

    def start(self, player: Player) -> None:
        if self.nursery is None:
            command = [*self.simulated, *player.command]
            player.process = subprocess.Popen(command, **self.how, stdout=self.how["stderr"], start_new_session=True)
            player.pid = player.process.pid
            return
        assert self.nursery.stdin and self.nursery.stdout
        self.nursery.stdin.write(json.dumps(player.command) + "\n")
        self.nursery.stdin.flush()
        player.pid = int(self.nursery.stdout.readline())

    def close(self) -> None:
        if self.nursery is not None:
            self.nursery.kill()
            self.nursery.wait()


def cast(folder: Path, *, celery: bool) -> list[Player]:
    """Two tickers, or two workers and two beats."""
    if not celery:
        return [Player("ticker", ["manage.py", "run_ticker"]) for _ in range(2)]
    worker = ["celery", "-A", "farmops", "worker", "--loglevel", "warning", "--concurrency", "1"]
    worker += ["--without-mingle", "--without-gossip", "--without-heartbeat"]
    beat = ["celery", "-A", "farmops", "beat", "--loglevel", "warning", "--pidfile", "", "--schedule"]
    workers = [Player("worker", [*worker, "-n", f"w{n}@season"]) for n in range(2)]
    return [*workers, *(Player("beat", [*beat, str(folder / f"beat{n}")]) for n in range(2))]
