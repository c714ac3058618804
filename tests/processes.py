"""Processes of their own on the test's database: what ``kill -9`` and two at once can only be shown with."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from django.db import connection

ROOT = Path(__file__).resolve().parents[1]


def started(module: str, *words: str, asked: dict[str, Any], **environment: str) -> subprocess.Popen[str]:
    """Start ``python -m module words… asked`` on this test's PostgreSQL database."""
    assert connection.vendor == "postgresql", "set DATABASE_URL"
    known = connection.settings_dict
    place_of = f"{known['HOST'] or '127.0.0.1'}:{known['PORT'] or 5432}/{known['NAME']}"
    who = known["USER"] + (f":{known['PASSWORD']}" if known["PASSWORD"] else "")
    command = [sys.executable, "-m", module, *words, json.dumps(asked)]
    env = {**os.environ, **environment, "DATABASE_URL": f"postgres://{who}@{place_of}"}
    return subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True)


def said(process: subprocess.Popen[str], seconds: int = 120) -> Any:
    """What it printed as JSON, once it has ended."""
    out, _ = process.communicate(timeout=seconds)
    assert process.returncode == 0, process.returncode
    return json.loads(out)
