"""Runs a season through real processes while they are killed, and compares what arrived with what should have."""

from __future__ import annotations

import json
import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from tests.faults.machinery import Postgres, Redis
from tests.faults.season import ROLLED, ZONE, Season
from tests.faults.sinks import HookSink, Office, arrivals_of

ROOT = Path(__file__).resolve().parents[2]
WINDOW_SECONDS = 3.0
"""A repeat may only be the work of a kill or crash this soon after the first arrival (between it and the mark)."""

SENTENCES = {
    "task_assigned": r"New task for you: “(\w+)”",
    "task_coming": r"Your task “(\w+)” on block [^.]*? is planned for",
    "task_called_off": r"Your task “(\w+)” on block [^.]*? is called off",
    "certificate": r"Certificate (\w+) of",
    "lot_expiring": r"Lot (\w+) of",
    "entry_opens": r"The entry time of (B\d+)",
    "danger": r"Danger (\w+): stop",
}


@dataclass
class Verdict:
    """What came of it, in numbers."""

    seed: int
    expected_letters: int
    expected_calls: int
    lost: list[str]
    unwanted: list[str]
    repeats: int
    unexplained: list[str]
    kills: Counter[str]
    forged: int
    seconds: float
    most_a_day: int = 0

    def words(self) -> str:
        killed = ", ".join(f"{what} {count}" for what, count in sorted(self.kills.items()))
        return (
            f"seed {self.seed}: {self.expected_letters} notices in letters, {self.expected_calls} in calls; "
            f"lost {len(self.lost)}, unwanted {len(self.unwanted)}, repeats {self.repeats} (of these unexplained "
            f"{len(self.unexplained)}); {sum(self.kills.values())} faults ({killed}); {self.seconds:.0f} s"
        )


@dataclass
class Player:
    """One process that may be killed, and how to start it again."""

    what: str
    command: list[str]
    process: subprocess.Popen[bytes] | None = None


@dataclass
class Stage:
    """The processes of one run, their clock, and the sinks."""

    folder: Path
    season: Season
    database: str  # "postgres" or "sqlite"
    redis: bool
    kill_rate: float
    faults: Counter[str] = field(default_factory=Counter)
    blows: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.chance = random.Random(self.season.seed * 7919)
        self.clock_file = self.folder / "clock"
        self.office, self.hook = Office(), HookSink()
        self.postgres = Postgres(self.folder / "pg") if self.database == "postgres" else None
        self.broker = Redis(self.folder / "redis") if self.redis else None
        self.log = (self.folder / "said.log").open("ab")
        self.players = self._players()
        self.lock = threading.Lock()

    # ---- processes ----

    def env(self) -> dict[str, str]:
        mine = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE"}}
        mine |= {
            "FARMOPS_DATA": str(self.folder / "data"),
            "SECRET_KEY": "only-for-tests",
            "SWEEP_SECONDS": "1",
            "SITE_URL": "https://farm.example",
            "EMAIL_BACKEND": "django.core.mail.backends.smtp.EmailBackend",
            "EMAIL_HOST": "127.0.0.1",
            "EMAIL_PORT": str(self.office.port),
            "WEBHOOKS_MAY_STAY_INSIDE": "1",
            "LOG_LEVEL": "WARNING",
            "PYTHONPATH": str(ROOT),
        }
        if self.postgres:
            mine["DATABASE_URL"] = self.postgres.url
        if self.broker:
            mine["REDIS_URL"] = self.broker.url
        return mine

    def _players(self) -> list[Player]:
        live = [sys.executable, "-m", "tests.faults.simulated", str(self.clock_file)]
        if not self.redis:
            return [Player("ticker", [*live, "manage.py", "run_ticker"]) for _ in range(2)]
        worker = ["celery", "-A", "farmops", "worker", "--loglevel", "warning", "--concurrency", "1"]
        worker += ["--without-mingle", "--without-gossip", "--without-heartbeat"]
        beat = ["celery", "-A", "farmops", "beat", "--loglevel", "warning", "--pidfile", "", "--schedule"]
        workers = [Player("worker", [*live, *worker, "-n", f"w{n}@season"]) for n in range(2)]
        beats = [Player("beat", [*live, *beat, str(self.folder / f"beat{n}")]) for n in range(2)]
        return [*workers, *beats]

    def start(self, player: Player) -> None:
        player.process = subprocess.Popen(
            player.command, cwd=ROOT, env=self.env(), stdout=self.log, stderr=self.log, start_new_session=True
        )

    def kill(self, player: Player) -> None:
        """``kill -9`` for the whole group, or of a worker only the child that does the work."""
        assert player.process is not None
        only_child = player.what == "worker" and self.chance.random() < 0.3
        if only_child and (children := _children(player.process.pid)):
            with suppress(ProcessLookupError):
                os.kill(children[0], signal.SIGKILL)
            self._blow("worker's child")
            return
        with suppress(ProcessLookupError):
            os.killpg(player.process.pid, signal.SIGKILL)
        player.process.wait()
        self._blow(player.what)
        self.start(player)

    def _blow(self, what: str) -> None:
        self.blows.append(time.time())
        self.faults[what] += 1

    # ---- the farmer ----

    def open(self) -> None:
        self.set_clock(self.season.steps[0] - timedelta(minutes=1))
        (self.folder / "data").mkdir()
        subprocess.run(
            [sys.executable, "manage.py", "migrate", "-v", "0"], cwd=ROOT, env=self.env(), check=True, stderr=self.log
        )
        self.farmer = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.farmer", str(self.clock_file)],
            cwd=ROOT, env=self.env(), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self.log, text=True,
        )  # fmt: skip
        self.hook.secret = self.ask("open_book", hook_url=self.hook.url, zone=ZONE)["secret"]
        for player in self.players:
            self.start(player)

    def ask(self, what: str, /, **given: Any) -> Any:
        assert self.farmer.stdin and self.farmer.stdout
        self.farmer.stdin.write(json.dumps([what, given]) + "\n")
        self.farmer.stdin.flush()
        line = self.farmer.stdout.readline()
        assert line, f"the farmer died at {what}; see {self.folder}/said.log"
        return json.loads(line)

    def set_clock(self, now: datetime) -> None:
        fresh = self.clock_file.with_suffix(".new")
        fresh.write_text(now.isoformat())
        fresh.replace(self.clock_file)

    # ---- the season ----

    def play(self) -> None:
        for n, at in enumerate(self.season.steps):
            self.pass_to(at, self.season.commands.get(n, []), may_break=True)
            for after, commands in self.season.extra.get(n, []):
                if after > ROLLED:
                    continue
                self.pass_to(at + after, commands)
            self.pass_to(at + ROLLED, [], sweeps=2)
            for after, commands in self.season.extra.get(n, []):
                if after > ROLLED:
                    self.pass_to(at + after, commands)

    def pass_to(self, now: datetime, commands: list[Any], *, may_break: bool = False, sweeps: int = 0) -> None:
        """Let it be ``now``; do what is done now, while processes are killed; wait until the book is at rest."""
        self.set_clock(now)
        killers = [self._killer() for _ in range(1 + (self.chance.random() < self.kill_rate / 3))]
        if may_break:
            self._break_a_service()
        for name, given in commands:
            self.ask(name, **given)
        self.rest(now, sweeps)
        for killer in killers:
            if killer is not None:
                killer.join()

    def _killer(self) -> threading.Thread | None:
        if self.chance.random() >= self.kill_rate:
            return None
        player, delay = self.chance.choice(self.players), self.chance.random() * 1.2
        made = threading.Thread(target=self._kill_later, args=(player, delay))
        made.start()
        return made

    def _kill_later(self, player: Player, delay: float) -> None:
        time.sleep(delay)
        with self.lock:
            self.kill(player)

    def _break_a_service(self) -> None:
        throw = self.chance.random()
        if self.broker and throw < 0.05:
            self.broker.flush()
            self._blow("Redis flushed")
        elif self.broker and throw < 0.10:
            self.broker.restart()
            self._blow("Redis killed")
        elif self.postgres and throw > 0.96:
            self.postgres.crash()
            self._blow("PostgreSQL crashed")

    def rest(self, now: datetime, more: int, seconds: float = 120) -> None:
        """Until nothing is left to do at this hour, and then ``more`` whole sweeps."""
        deadline, quiet_since = time.monotonic() + seconds, None
        while True:
            said = self.ask("busy")
            sweeps = said.pop("sweeps")
            if said:
                quiet_since = None
            else:
                quiet_since = sweeps if quiet_since is None else quiet_since
                if sweeps >= quiet_since + more:
                    return
            assert time.monotonic() < deadline, f"not at rest at {now}: {said}; see {self.folder}/said.log"
            time.sleep(0.1)

    def close(self) -> None:
        for player in self.players:
            if player.process is not None:
                with suppress(ProcessLookupError):
                    os.killpg(player.process.pid, signal.SIGKILL)
                player.process.wait()
        if hasattr(self, "farmer"):
            self.farmer.kill()
        if self.broker:
            self.broker.kill()
        if self.postgres:
            self.postgres.stop()
        self.hook.close()
        self.log.close()


def _children(pid: int) -> list[int]:
    with suppress(OSError):
        return [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    return []


# ---- the comparison --------------------------------------------------------------------


def told_in(text: str) -> list[tuple[str, str]]:
    """(kind, token) of every sentence in a text."""
    flat = re.sub(r"\s+", " ", text)
    return [(kind, token) for kind, pattern in SENTENCES.items() for token in re.findall(pattern, flat)]


def judge(stage: Stage, seconds: float) -> Verdict:
    letters: Counter[tuple[str, str, str]] = Counter()
    seen: dict[str, float] = {}
    repeats: list[tuple[str, float]] = []
    for message_id, at, letter in arrivals_of(stage.office):
        if message_id in seen:
            repeats.append((message_id, seen[message_id]))
            continue
        seen[message_id] = at
        person = letter["To"].split("@")[0]
        letters.update((person, *what) for what in told_in(letter.get_content()))
    calls: Counter[tuple[str, str]] = Counter()
    for call_id, at, body in list(stage.hook.calls):
        if call_id in seen:
            repeats.append((call_id, seen[call_id]))
            continue
        seen[call_id] = at
        if body["type"] == "notice.told":
            calls.update(told_in(body["data"]["sentence"]))
    wanted: Counter[Any] = Counter({("letter", *k): n for k, n in stage.season.letters.items()})
    wanted += Counter({("call", *k): n for k, n in stage.season.calls.items()})
    arrived: Counter[Any] = Counter({("letter", *k): n for k, n in letters.items()})
    arrived += Counter({("call", *k): n for k, n in calls.items()})
    return Verdict(
        seed=stage.season.seed,
        expected_letters=sum(stage.season.letters.values()),
        expected_calls=sum(stage.season.calls.values()),
        lost=[f"{n} x {' '.join(k)}" for k, n in sorted((wanted - arrived).items())],
        unwanted=[f"{n} x {' '.join(k)}" for k, n in sorted((arrived - wanted).items())],
        repeats=len(repeats),
        unexplained=[key for key, first in repeats if not any(-0.2 < b - first < WINDOW_SECONDS for b in stage.blows)],
        kills=stage.faults,
        forged=stage.hook.forged,
        seconds=seconds,
    )


def run(folder: Path, season: Season, *, database: str, redis: bool, kill_rate: float) -> Verdict:
    """Play one season and judge it."""
    begun = time.monotonic()
    stage = Stage(folder=folder, season=season, database=database, redis=redis, kill_rate=kill_rate)
    with stage.office:
        try:
            stage.open()
            stage.play()
        finally:
            stage.close()
        return judge(stage, time.monotonic() - begun)
