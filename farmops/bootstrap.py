"""The two commands that need nothing but Python 3.11+: ``start`` and ``suite``.

Standard library only: this runs before anything is installed.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = Path(os.environ.get("FARMOPS_VENV", ROOT / ".venv"))
PYTHON = VENV / "bin" / "python"
MARKER = "# --- testing ---"


def say(line: str) -> None:
    print(line, flush=True)


def run(*command: str | Path, env: dict[str, str] | None = None) -> int:
    return subprocess.call([str(c) for c in command], cwd=ROOT, env={**os.environ, **(env or {})})


def must(*command: str | Path, env: dict[str, str] | None = None) -> None:
    code = run(*command, env=env)
    if code:
        sys.exit(code)


def make_environment(*, testing: bool) -> None:
    """The virtual environment with the pinned requirements (the running part, or all)."""
    if sys.version_info < (3, 11):  # noqa: UP036 - this file must still explain itself on an older Python
        sys.exit("Python 3.11 or newer is needed.")
    if not PYTHON.exists():
        say(f"Making the virtual environment in {VENV} …")
        _make_venv()
    wanted = (ROOT / "requirements.txt").read_text()
    if not testing:
        wanted = wanted.split(MARKER)[0]
    stamp = VENV / ("installed-all" if testing else "installed-running")
    mark = hashlib.sha256(wanted.encode()).hexdigest()
    if stamp.exists() and stamp.read_text() == mark:
        return
    say("Installing pinned requirements …")
    chosen = VENV / "requirements-chosen.txt"
    chosen.write_text(wanted)
    must(PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r", chosen)
    stamp.write_text(mark)


def _make_venv() -> None:
    if subprocess.call([sys.executable, "-m", "venv", str(VENV)]) == 0:
        return
    shutil.rmtree(VENV, ignore_errors=True)
    # Debian and Ubuntu keep the venv module's pip in a package of its own.
    package = f"python3.{sys.version_info.minor}-venv"
    if os.geteuid() == 0 and shutil.which("apt-get"):
        say(f"Installing {package}, which Debian's Python needs to make a virtual environment …")
        must("apt-get", "update", "-qq")
        must("apt-get", "install", "-y", "-qq", package)
        must(sys.executable, "-m", "venv", VENV)
        return
    sys.exit(f"This Python cannot make a virtual environment. Run: sudo apt-get install {package}")


def start(arguments: list[str]) -> int:
    """Set up, load the demo farm on first use, and serve until Ctrl-C."""
    make_environment(testing=False)
    return run_here(PYTHON, "manage.py", "serve", "--prepare", *arguments)


def run_here(*command: str | Path) -> int:
    """Become the command, so that Ctrl-C and signals reach it and nothing is left behind."""
    os.chdir(ROOT)
    os.execv(str(command[0]), [str(c) for c in command])


def suite(arguments: list[str]) -> int:
    """Every check: style, imports, types, schema, tests on SQLite and, where there is one, PostgreSQL."""
    make_environment(testing=True)
    return run(PYTHON, "-m", "farmops.suite", *arguments)


COMMANDS: dict[str, Callable[[list[str]], int]] = {"start": start, "suite": suite}
