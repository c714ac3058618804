"""The broker never holds what is due later: it would give it out twice, or lose it (see DEVELOPERS.md)."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CODE = [p for top in ("apps", "farmops") for p in (ROOT / top).rglob("*.py") if "migrations" not in p.parts]
DELAYED = {"apply_async", "delay", "delay_on_commit", "apply_async_on_commit", "send_task"}
MINUTE = 60


def calls(source: str) -> list[str]:
    """Calls that hand something to the broker, and arguments that put a task off, as "line: what"."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        named = {keyword.arg for keyword in node.keywords}
        if name in DELAYED or named & {"countdown", "eta"}:
            found.append(f"{node.lineno}: {name}")
    return found


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("task.apply_async(countdown=3600)", ["1: apply_async"]),
        ("task.retry(eta=later)", ["1: retry"]),
        ("sweep.delay()", ["1: delay"]),
        ("services.sweep(now)", []),
    ],
)
def test_the_reader_knows_what_it_looks_for(source, expected):
    assert calls(source) == expected


def test_no_task_is_put_off_and_nothing_but_beat_hands_one_out():
    found = {str(p.relative_to(ROOT)): said for p in CODE if (said := calls(p.read_text()))}
    assert found == {}


def test_beat_says_sweep_every_minute_at_the_most_and_a_tick_too_late_is_thrown_away():
    from farmops.celery import app

    (entry,) = app.conf.beat_schedule.values()
    assert (entry["task"], entry["schedule"] <= MINUTE) == ("reminders.sweep", True)
    assert entry["options"] == {"expires": entry["schedule"]}
