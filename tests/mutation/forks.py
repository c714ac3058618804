"""One worker of the mutation run: collects the pure tests once, then forks for every mutant of its share.

``python -m tests.mutation.forks COPY BUDGET WORKERS WORKER`` with the mutants' folder as working directory; worker -1
only measures which test reaches which function, and how long each takes.
"""

from __future__ import annotations

import gc
import json
import os
import resource
import sys
import zlib
from collections.abc import Callable
from pathlib import Path
from time import process_time
from typing import Any

import pytest
from _pytest.runner import runtestprotocol

COPY, BUDGET, WORKERS, WORKER = Path(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
REACH = COPY / "reach.json"
LIMIT = 20  # CPU seconds of one mutant: a rule that runs on and on is noticed, too
PURE = "not database and not browser and not faults and not services"
PLACES = ["tests/spraying", "tests/products", "tests/crops"]


def forked(work: Callable[[], Any]) -> Any:
    """What ``work`` gives in a fork of this process, as JSON; ``None`` where the fork died."""
    gc.freeze()
    reading, writing = os.pipe()
    pid = os.fork()
    if pid == 0:
        null = os.open(os.devnull, os.O_RDWR)
        os.dup2(null, 1)
        os.dup2(null, 2)
        with os.fdopen(writing, "w") as pipe:
            pipe.write(json.dumps(work()))
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        text = pipe.read()
    os.waitpid(pid, 0)
    return json.loads(text) if text else None


def failed(item: pytest.Item) -> bool:
    return any(report.failed for report in runtestprotocol(item, log=False, nextitem=None))


def measure(items: list[pytest.Item]) -> dict[str, Any]:
    """Function -> tests that reach it, and the seconds of each test. A test that fails unchanged is left out."""
    import mutmut.mutation.trampoline as trampoline

    hits: set[str] = set()
    trampoline.record_trampoline_hit = lambda name, caller=None: hits.add(name)
    trampoline.set_mutant_under_test("stats")
    reach: dict[str, list[str]] = {}
    seconds: dict[str, float] = {}
    for item in items:
        hits.clear()
        begun = process_time()
        if failed(item):
            continue
        seconds[item.nodeid] = process_time() - begun
        for name in hits:
            reach.setdefault(name, []).append(item.nodeid)
    return {"reach": reach, "seconds": seconds}


def killer(mutant: str, items: list[pytest.Item]) -> str | None:
    """The first test that fails with this mutant in force; ``""`` when all pass, ``None`` when none came to its end."""

    def work() -> str:
        from mutmut.mutation.trampoline import set_mutant_under_test

        resource.setrlimit(resource.RLIMIT_CPU, (LIMIT, LIMIT + 5))
        set_mutant_under_test(mutant)
        return next((item.nodeid for item in items if failed(item)), "")

    found: str | None = forked(work)
    return found


class Mutants:
    """The plugin that runs mutants in the place of the tests."""

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        if WORKER < 0:
            if not REACH.exists():
                REACH.write_text(json.dumps(forked(lambda: measure(session.items))))
            return True
        self.reach, self.seconds = (json.loads(REACH.read_text())[part] for part in ("reach", "seconds"))
        self.items = {item.nodeid: item for item in session.items}
        self.killers: dict[str, list[str]] = {}
        written = COPY / f"results{WORKER}.jsonl"
        done = {json.loads(line)["mutant"] for line in written.read_text().splitlines()} if written.exists() else set()
        with written.open("a") as log:
            for mutant in (COPY / "names.txt").read_text().split():
                share = zlib.crc32(mutant.rpartition("__mutmut_")[0].encode()) % WORKERS
                if share == WORKER and mutant not in done:
                    log.write(json.dumps({"mutant": mutant, "result": self.result(mutant)}) + "\n")
                    log.flush()
        return True

    def result(self, mutant: str) -> str:
        function = mutant.rpartition("__mutmut_")[0]
        quick, rest = self.order(function)
        if not quick:
            return "not reached"
        for tests in (quick, rest):
            found = killer(mutant, [self.items[name] for name in tests]) if tests else ""
            if found is None:
                return "timeout"
            if found:
                self.killers[function] = [found, *(k for k in self.killers.get(function, []) if k != found)][:12]
                return "killed"
        return "survived"

    def order(self, function: str) -> tuple[list[str], list[str]]:
        """The tests for the budget, those that killed before first, and the rest; the quickest first."""
        module = function.split(".")[-2].strip("_")
        tests = [name for name in self.reach.get(function, []) if name in self.items]
        tests.sort(key=lambda name: (module not in name.split("::")[0], self.seconds[name]))
        known = self.killers.get(function, [])
        quick, spent = list(known), 0.0
        for name in tests:
            if name not in known and (not quick or spent + self.seconds[name] <= BUDGET):
                quick.append(name)
                spent += self.seconds[name]
        return quick, [name for name in tests if name not in quick]


if __name__ == "__main__":
    sys.path.insert(0, ".")
    off = [word for name in ("benchmark", "xdist", "cacheprovider") for word in ("-p", f"no:{name}")]
    quiet = ["-q", "-c", "pytest.ini", "--rootdir=.", "--nomigrations", "-m", PURE]
    sys.exit(pytest.main([*quiet, *off, *PLACES], plugins=[Mutants()]))
