"""Runs a season through real processes while they are killed, and compares what arrived with what should have."""

from __future__ import annotations

import json
import os
import random
import re
import subprocess
import sys
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from tests.faults import simulated
from tests.faults.machinery import Postgres, Redis
from tests.faults.players import ROOT, Player, Starter, cast
from tests.faults.season import ROLLED, ZONE, Season
from tests.faults.sinks import HookSink, Office, arrivals_of

WINDOW_SECONDS = 3.0
"""A repeat may only be the work of a kill or crash this soon after the first arrival (between it and the mark)."""

BREAK_RATE = 0.14
"""For each hour of the long form: Redis flushed or killed, or PostgreSQL crashed."""

SENTENCES = {
    "task_assigned": r"New task for you: “(\w+)”",
    "task_coming": r"Your task “(\w+)” on block [^.]*? is planned for",
    "task_called_off": r"Your task “(\w+)” on block [^.]*? is called off",
    "certificate": r"Certificate (\w+) of",
    "lot_expiring": r"Lot (\w+) of",
    "entry_opens": r"The entry time of (B\d+[^.]*?) has run",
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
class Stage:
    """The processes of one run, their clock, and the sinks."""

    folder: Path
    season: Season
    database: str  # "postgres" or "sqlite"
    redis: bool
    kill_rate: float  # kills for each hour that is played
    short: bool  # at the short pace, processes forked from a loaded one, tables made without migrations
    faults: Counter[str] = field(default_factory=Counter)
    blows: list[float] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.chance = random.Random(self.season.seed * 7919)
        self.clock_file = self.folder / "clock"
        self.office, self.hook = Office(), HookSink()
        self.postgres = Postgres(self.folder / "pg") if self.database == "postgres" else None
        self.broker = Redis(self.folder / "redis") if self.redis else None
        self.log = (self.folder / "said.log").open("ab")
        self.players = cast(self.folder, celery=self.redis)
        self.lock = threading.Lock()
        self.breaks = self._breaks()

    # ---- processes ----

    def env(self) -> dict[str, str]:
        mine = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE"}}
        mine |= {
            "FARMOPS_DATA": str(self.folder / "data"),
            "SECRET_KEY": "only-for-tests",
            simulated.PACE: "short" if self.short else "long",
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

    def kill(self, player: Player) -> None:
        """The whole process group, or of a worker only the child that does the work."""
        only_child = player.what == "worker" and self.chance.random() < 0.3
        if only_child and player.kill_child():
            self._blow("worker's child")
            return
        player.kill()
        self._blow(player.what)
        self.starter.start(player)

    def _blow(self, what: str) -> None:
        self.blows.append(time.time())
        self.faults[what] += 1

    # ---- the farmer ----

    def open(self) -> None:
        self.set_clock(self.season.steps[0] - timedelta(minutes=1))
        (self.folder / "data").mkdir()
        self.farmer = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.farmer", str(self.clock_file)],
            cwd=ROOT, env=self.env(), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self.log, text=True,
        )  # fmt: skip
        self.starter = Starter(self.clock_file, self.env(), self.log, warm=self.short)
        self.ask("build_tables", by_migrations=not self.short)
        self.hook.secret = self.ask("open_book", hook_url=self.hook.url, zone=ZONE)["secret"]
        for player in self.players:
            self.starter.start(player)

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
            self.pass_to(at, self.season.commands.get(n, []), broken=self.breaks.get(n))
            for after, commands in self.season.extra.get(n, []):
                if after > ROLLED:
                    continue
                self.pass_to(at + after, commands)
            self.pass_to(at + ROLLED, [], sweeps=2)
            for after, commands in self.season.extra.get(n, []):
                if after > ROLLED:
                    self.pass_to(at + after, commands)

    def pass_to(self, now: datetime, commands: list[Any], *, broken: str | None = None, sweeps: int = 0) -> None:
        """Let it be ``now``; do what is done now, while processes are killed; wait until the book is at rest."""
        self.set_clock(now)
        killers = [self._killer() for _ in range(self._blows_now())]
        if broken:
            self._break(broken)
        for name, given in commands:
            self.ask(name, **given)
        self.rest(now, sweeps)
        for killer in killers:
            killer.join()
        assert not self.missed, self.missed

    def _blows_now(self) -> int:
        whole = int(self.kill_rate)
        return whole + (self.chance.random() < self.kill_rate - whole)

    def _killer(self) -> threading.Thread:
        player, delay = self.chance.choice(self.players), self.chance.random() * 1.2
        made = threading.Thread(target=self._kill_later, args=(player, delay))
        made.start()
        return made

    def _kill_later(self, player: Player, delay: float) -> None:
        time.sleep(delay)
        try:
            with self.lock:
                self.kill(player)
        except Exception as error:  # a killer that fails must not go unnoticed
            self.missed.append(f"{player.what}: {error!r}")

    def _breaks(self) -> dict[int, str]:
        """Step -> the service that is struck then: by chance, but in a short season each once."""
        kinds = ["Redis flushed", "Redis killed"] if self.redis else []
        kinds += ["PostgreSQL crashed"] if self.postgres else []
        hours = range(len(self.season.steps))
        if len(hours) * BREAK_RATE < len(kinds) or not kinds:
            return dict(zip(self.chance.sample(hours, len(kinds)), kinds, strict=True))
        return {n: self.chance.choice(kinds) for n in hours if self.chance.random() < BREAK_RATE}

    def _break(self, what: str) -> None:
        if self.broker and what == "Redis flushed":
            self.broker.flush()
        elif self.broker and what == "Redis killed":
            self.broker.restart()
        elif self.postgres:
            self.postgres.crash()
        self._blow(what)

    def rest(self, now: datetime, more: int, seconds: float = 300) -> None:
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
            if player.pid:
                player.kill()
        if hasattr(self, "starter"):
            self.starter.close()
        if hasattr(self, "farmer"):
            self.farmer.kill()
            self.farmer.wait()
        if self.broker:
            self.broker.kill()
        if self.postgres:
            self.postgres.stop()
        self.hook.close()
        self.log.close()


# ---- the comparison --------------------------------------------------------------------


def told_in(text: str) -> list[tuple[str, str]]:
    """(kind, token) of every sentence in a text."""
    flat = re.sub(r"\s+", " ", text)
    found = [(kind, said) for kind, pattern in SENTENCES.items() for said in re.findall(pattern, flat)]
    return [(kind, token.split()[0]) for kind, said in found for token in said.split(", ")]  # several blocks at once


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


def run(folder: Path, season: Season, *, database: str, redis: bool, kill_rate: float, short: bool = False) -> Verdict:
    """Play one season and judge it."""
    begun = time.monotonic()
    stage = Stage(folder=folder, season=season, database=database, redis=redis, kill_rate=kill_rate, short=short)
    with stage.office:
        try:
            stage.open()
            stage.play()
        finally:
            stage.close()
        return judge(stage, time.monotonic() - begun)
