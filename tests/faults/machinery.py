"""A database cluster and a broker of the test's own, on free ports, so that killing them disturbs nobody."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
from glob import glob
from pathlib import Path


def free_port() -> int:
    with socket.socket() as made:
        made.bind(("127.0.0.1", 0))
        return int(made.getsockname()[1])


def answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return False
    return True


def wait_for(port: int, seconds: float = 30) -> None:
    deadline = time.monotonic() + seconds
    while not answers(port):
        assert time.monotonic() < deadline, f"nothing answers on port {port}"
        time.sleep(0.05)


class Postgres:
    """A cluster in ``folder``; ``crash()`` takes it down without a checkpoint and brings it back."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.bin = Path(sorted(glob("/usr/lib/postgresql/*/bin"))[-1])
        folder.mkdir(parents=True)
        if os.getuid() == 0:
            shutil.chown(folder, "postgres")
        self._run("initdb", "-D", str(self.data), "-A", "trust", "-U", "farm", "--no-sync")
        self.start()
        self._run("createdb", "-h", "127.0.0.1", "-p", str(self.port), "-U", "farm", "season")

    @property
    def data(self) -> Path:
        return self.folder / "data"

    @property
    def url(self) -> str:
        return f"postgres://farm@127.0.0.1:{self.port}/season"

    def _run(self, command: str, *arguments: str) -> None:
        before = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
        subprocess.run([*before, str(self.bin / command), *arguments], check=True, stdout=subprocess.DEVNULL, cwd="/")

    def start(self) -> None:
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self.folder} -c fsync=off"
        self._run("pg_ctl", "-D", str(self.data), "-w", "-l", str(self.folder / "log"), "-o", options, "start")

    def crash(self) -> None:
        self._run("pg_ctl", "-D", str(self.data), "-m", "immediate", "stop")
        self.start()

    def stop(self) -> None:
        self._run("pg_ctl", "-D", str(self.data), "-m", "immediate", "stop")


class Redis:
    """A broker that keeps nothing on disk: killed or flushed, what it held is gone."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        folder.mkdir(parents=True)
        self.start()

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        said = (self.folder / "log").open("ab")
        options = ["--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
        self.process = subprocess.Popen(["redis-server", *options], cwd=self.folder, stdout=said, stderr=said)
        wait_for(self.port)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def restart(self) -> None:
        self.kill()
        self.start()

    def flush(self) -> None:
        with socket.create_connection(("127.0.0.1", self.port), timeout=5) as line:
            line.sendall(b"FLUSHALL\r\n")
            assert line.recv(100).startswith(b"+OK")
