"""``manage.py serve`` as a process: answers, sweeps, and leaves nothing behind when stopped."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def children_of(pid: int) -> list[int]:
    listed = subprocess.run(["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True).stdout
    return [int(p) for p in listed.split()]


@pytest.fixture
def serve(tmp_path):
    """Starts the site in a folder of its own; the second time it finds the first one's book."""
    env = {**os.environ, "FARMOPS_DATA": str(tmp_path), "DATABASE_URL": "", "REDIS_URL": "", "SWEEP_SECONDS": "1"}
    env.pop("PYTEST_CURRENT_TEST", None)
    started: list[subprocess.Popen[str]] = []

    def start() -> tuple[subprocess.Popen[str], str]:
        port = free_port()
        command = [sys.executable, "manage.py", "serve", "--prepare", "--no-demo", "--port", str(port)]
        process = subprocess.Popen(
            command,
            cwd=ROOT,
            env=env,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )
        started.append(process)
        _wait(f"http://127.0.0.1:{port}/readyz", process)
        return process, f"http://127.0.0.1:{port}"

    yield start
    for process in started:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)


def _wait(address: str, process: subprocess.Popen[str]) -> None:
    for _ in range(2400):
        try:
            with urllib.request.urlopen(address, timeout=2):
                return
        except OSError:
            assert process.poll() is None, process.stdout and process.stdout.read()
            time.sleep(0.1)
    raise AssertionError("the site did not answer within four minutes")


def test_one_group_that_serves_and_stops_cleanly(serve):
    """Twice in the same folder, stopped with Ctrl-C and by a supervisor's SIGTERM."""
    for wanted in (signal.SIGINT, signal.SIGTERM):
        process, address = serve()
        with urllib.request.urlopen(address + "/log-in/") as page:
            text = page.read().decode()
            assert "default-src 'none'" in page.headers["Content-Security-Policy"]
        assert 'name="username"' in text
        assert "farm/farm." in text  # the sheet under its hashed name
        family = [p for child in children_of(process.pid) for p in [child, *children_of(child)]]
        assert len(family) >= 3  # web server, its workers, ticker
        if wanted is signal.SIGINT:
            os.killpg(process.pid, wanted)  # a terminal sends Ctrl-C to the whole group
        else:
            process.send_signal(wanted)
        said, _ = process.communicate(timeout=30)
        assert process.returncode == 0, said
        assert said.rstrip().endswith("Stopped.")
        assert [p for p in family if Path(f"/proc/{p}").exists()] == []
