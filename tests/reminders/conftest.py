"""Sources that a test lists, a Spanish catalogue a test writes, and real processes on the test's own database."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
import types
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from django.db import connection
from django.utils.translation import trans_real

from apps.reminders.sources import know_kinds
from tests.reminders.post_office import PostOffice

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True, scope="session")
def _every_kind_is_known() -> None:
    know_kinds()


@pytest.fixture
def sources(monkeypatch, settings) -> Callable[..., list[str]]:
    """Make functions the only reminder sources: ``sources(name=function)`` gives their dotted paths."""

    def use(**functions) -> list[str]:
        module = types.ModuleType("due_in_tests")
        module.__spec__ = types.SimpleNamespace(name="due_in_tests")  # type: ignore[assignment]
        for name, function in functions.items():
            setattr(module, name, function)
        monkeypatch.setitem(sys.modules, "due_in_tests", module)
        settings.REMINDER_SOURCES = [f"due_in_tests.{name}" for name in functions]
        return settings.REMINDER_SOURCES

    return use


@pytest.fixture
def spanish() -> Iterator[dict[str, str]]:
    """Sentences put here are the Spanish catalogue's while the test runs."""
    words: dict[str, str] = {}
    catalogues = trans_real.translation("es")._catalog._catalogs
    catalogues.insert(0, words)
    yield words
    catalogues.remove(words)


@dataclass
class Elsewhere:
    """This test's database for other processes, which mail to ``office``; ``look`` and ``change`` see what they see.

    On SQLite the test's database lives in this process, so the others get a file copied from it
    (``open_book``); on PostgreSQL they use the very same one.
    """

    folder: Path
    office: PostOffice
    running: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def file(self) -> Path:
        return self.folder / "farm.sqlite3"

    def open_book(self) -> None:
        """Let the others see what the test has written so far."""
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute("VACUUM INTO %s", [str(self.file)])

    def env(self) -> dict[str, str]:
        mine = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "REDIS_URL"}}
        mine |= {
            "FARMOPS_DATA": str(self.folder),
            "SECRET_KEY": "only-for-tests",
            "SWEEP_SECONDS": "1",
            "SITE_URL": "https://farm.example",
            "EMAIL_BACKEND": "django.core.mail.backends.smtp.EmailBackend",
            "EMAIL_HOST": "127.0.0.1",
            "EMAIL_PORT": str(self.office.port),
            "LOG_LEVEL": "WARNING",
        }
        if connection.vendor == "postgresql":
            c = connection.settings_dict
            who = c["USER"] + (f":{c['PASSWORD']}" if c["PASSWORD"] else "")
            mine["DATABASE_URL"] = f"postgres://{who}@{c['HOST']}:{c['PORT']}/{c['NAME']}"
        return mine

    def start(self, *command: str, **more: str) -> subprocess.Popen[bytes]:
        """Start a command in a process group of its own; what it says goes to ``said.log``."""
        with (self.folder / "said.log").open("ab") as said:
            made = subprocess.Popen(
                command, cwd=ROOT, env={**self.env(), **more}, stdout=said, stderr=said, start_new_session=True
            )
        self.running.append(made)
        return made

    def manage(self, *arguments: str, **more: str) -> subprocess.Popen[bytes]:
        return self.start(sys.executable, "manage.py", *arguments, **more)

    def said(self) -> str:
        return (self.folder / "said.log").read_text()

    def look(self, statement: str) -> list[tuple[object, ...]]:
        if connection.vendor == "sqlite":
            with closing(sqlite3.connect(self.file, timeout=20)) as book:
                return book.execute(statement).fetchall()
        with connection.cursor() as cursor:
            cursor.execute(statement)
            return cursor.fetchall()

    def change(self, statement: str) -> None:
        if connection.vendor == "sqlite":
            with closing(sqlite3.connect(self.file, timeout=20)) as book, book:
                book.execute(statement)
            return
        with connection.cursor() as cursor:
            cursor.execute(statement)

    def lease_over(self) -> None:
        """As if the lease on every claimed letter, and on every farm that was being looked at, had run out."""
        for table in ("letter", "watch"):
            self.change(f"UPDATE reminders_{table} SET claimed_until = NULL WHERE claimed_until IS NOT NULL")

    def wait(self, until: Callable[[], object], *, seconds: float = 40) -> None:
        deadline = time.monotonic() + seconds
        while not until():
            assert time.monotonic() < deadline, self.said()
            time.sleep(0.05)

    @staticmethod
    def kill(process: subprocess.Popen[bytes]) -> None:
        """``kill -9`` for the process and its children."""
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


@pytest.fixture
def elsewhere(transactional_db, tmp_path) -> Iterator[Elsewhere]:
    with PostOffice() as office:
        place = Elsewhere(folder=tmp_path, office=office)
        yield place
        for process in place.running:
            place.kill(process)
