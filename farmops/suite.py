"""Runs every check in turn and ends with one line that says what ran and what was left out.

What each step needs is stated beside it. With ``CI=true`` a missing service or browser is a
failure; on a bare machine it is left out and named, with how to include it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass, field
from glob import glob
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent
CI = os.environ.get("CI", "").lower() == "true"
BROWSER = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser") or ""
POSTGRES = os.environ.get("SUITE_DATABASE_URL", "")
REDIS = os.environ.get("SUITE_REDIS_URL", "")
SERVERS = bool(glob("/usr/lib/postgresql/*/bin/initdb")) and bool(shutil.which("redis-server"))


@dataclass
class Step:
    name: str
    command: list[str]
    env: dict[str, str] = field(default_factory=dict)
    missing: str = ""


def tool(name: str) -> str:
    return str(BIN / name)


def pytest(*arguments: str) -> list[str]:
    workers = os.environ.get("SUITE_WORKERS", str(min(4, os.cpu_count() or 1)))
    return [sys.executable, "-m", "pytest", "-c", ".pytest.ini", "-q", "-p", "no:benchmark", "-n", workers, *arguments]


def steps() -> list[Step]:
    no_browser = "" if BROWSER else "no Chromium: apt-get install chromium, or set CHROMIUM=/path/to/it"
    no_services = (
        ""
        if POSTGRES and REDIS
        else (
            "no PostgreSQL or Redis: set SUITE_DATABASE_URL=postgres://… and SUITE_REDIS_URL=redis://…"
            " (.ci/run starts both)"
        )
    )
    # What is killed on purpose must be the test's own: it starts a cluster and a broker for itself.
    no_servers = "" if SERVERS else "no programs to start: apt-get install postgresql redis-server"
    faults = "tests/faults/test_season.py"
    clean = {"DATABASE_URL": "", "REDIS_URL": ""}
    served = {"DATABASE_URL": POSTGRES, "REDIS_URL": REDIS}
    return [
        Step("style", [tool("ruff"), "check", "."]),
        Step("layout", [tool("ruff"), "format", "--check", "."]),
        Step("imports", [tool("lint-imports"), "--config", ".importlinter"]),
        Step("types", [tool("mypy"), "--config-file", ".mypy.ini"]),
        # Tables are made from the models, which is quicker; the migrations run where a whole site is started: SQLite's
        # in tests/farmops/test_serve.py, PostgreSQL's in the services below.
        Step("tests on SQLite", pytest("--nomigrations", "-m", "not browser and not services and not faults"), clean),
        Step(
            "browser on SQLite", pytest("--nomigrations", "-m", "browser"), {**clean, "CHROMIUM": BROWSER}, no_browser
        ),
        # Rules that touch no table have run above; the second database is for what does.
        Step(
            "tests on PostgreSQL",
            pytest(
                "--nomigrations", "-m", "database and not one_database and not browser and not services and not faults"
            ),
            served,
            no_services,
        ),
        Step("Celery worker on PostgreSQL and Redis", pytest("-m", "services", "-n", "0"), served, no_services),
        Step("faults on SQLite", pytest("-m", "faults", "-n", "0", "-s", "-k", "sqlite", faults), clean),
        Step(
            "faults on PostgreSQL and Redis",
            pytest("-m", "faults", "-n", "0", "-s", "-k", "postgresql", faults),
            clean,
            no_servers,
        ),
    ]


def run(step: Step) -> int:
    print(f"\n=== {step.name} ===", flush=True)
    begun = time.monotonic()
    code = subprocess.call(step.command, cwd=ROOT, env={**os.environ, **step.env})
    print(
        f"=== {step.name}: {'passed' if code == 0 else f'FAILED ({code})'} in {time.monotonic() - begun:.0f} s ===",
        flush=True,
    )
    return code


def main(wanted: list[str]) -> int:
    failed: list[str] = []
    left_out: list[Step] = []
    chosen = [s for s in steps() if not wanted or any(w in s.name for w in wanted)]
    for step in chosen:
        if step.missing and not CI:
            left_out.append(step)
        elif step.missing:
            print(f"\n=== {step.name}: FAILED, {step.missing} ===", flush=True)
            failed.append(step.name)
        elif run(step):
            failed.append(step.name)
    print(f"\n{len(chosen) - len(failed) - len(left_out)} of {len(chosen)} steps passed.")
    for step in left_out:
        print(f"Left out: {step.name} ({step.missing}).")
    print("Failed: " + ", ".join(failed) if failed else "All that ran passed.")
    return 1 if failed or not chosen else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
