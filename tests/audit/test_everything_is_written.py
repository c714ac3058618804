"""Whatever changes something leaves a line in the trail: the services are walked as they are written.

A service is a function in a ``services`` module that opens a transaction. It, or a function it calls in its own app
or in ``people.services``, must call ``audit.record``. What does not is named here with its reason.
"""

from __future__ import annotations

import ast
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from apps.audit.wording import SENTENCES

ROOT = Path(__file__).resolve().parents[2]
WRITERS = {"record", "save_changes"}
NOT_IN_THE_TRAIL = {
    "apps/audit/services.py:once": "the answer to a repeated request; what it ran has its own line",
    "apps/inventory/services.py:reserve": "a ledger line, which only grows too; the job's step has its line",
    "apps/inventory/services.py:release": "a ledger line, which only grows too; the job's step has its line",
    "apps/inventory/services.py:draw_down": "a ledger line, which only grows too; the signature has its line",
    "apps/reminders/services/own.py:mark_seen": "reading one's own notice changes nothing for anybody",
    "apps/reminders/services/own.py:mark_all_seen": "reading one's own notices changes nothing for anybody",
    "apps/reminders/services/lease.py:hold_lease": "machinery of the sweep",
    "apps/safety/posting/services.py:ask_for_notice": "part of an assignment, whose step has its line",
    "apps/safety/posting/services.py:drop_notice": "part of a call-off or a signature, whose step has its line",
    "apps/safety/seen/services.py:keep_answer": "what somebody was answered, a row of its own",
    "apps/safety/gate/services.py:count_question": "a counter against too many questions, no fact of the farm",
}


@dataclass(frozen=True)
class Function:
    place: str
    name: str
    calls: frozenset[str]
    atomic: bool


def _called(node: ast.AST) -> frozenset[str]:
    names = set()
    for inner in ast.walk(node):
        if isinstance(inner, ast.Call):
            target = inner.func
            names.add(target.attr if isinstance(target, ast.Attribute) else getattr(target, "id", ""))
    return frozenset(names)


def _is_atomic(node: ast.FunctionDef) -> bool:
    said = [ast.unparse(d) for d in node.decorator_list]
    said += [ast.unparse(i.context_expr) for w in ast.walk(node) if isinstance(w, ast.With) for i in w.items]
    return any("atomic" in text for text in said)


def _read(path: Path) -> list[Function]:
    place = str(path.relative_to(ROOT))
    functions = [n for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.FunctionDef)]
    return [Function(place=place, name=n.name, calls=_called(n), atomic=_is_atomic(n)) for n in functions]


@cache
def functions() -> tuple[Function, ...]:
    paths = [p for p in (ROOT / "apps").rglob("*.py") if "migrations" not in p.parts]
    return tuple(f for p in sorted(paths) for f in _read(p))


def services() -> list[Function]:
    """Public functions of services modules that open a transaction."""
    return [
        f
        for f in functions()
        if f.atomic and not f.name.startswith("_") and ("/services/" in f.place or f.place.endswith("/services.py"))
    ]


def writes(service: Function) -> bool:
    """Whether a line is written by it or by what it calls, as far as names tell: same app first, then any service."""
    app = service.place.split("/")[1]
    by_name: dict[str, list[Function]] = {}
    for f in functions():
        by_name.setdefault(f.name, []).append(f)
    seen, todo = set(), [service]
    while todo:
        here = todo.pop()
        if here.calls & WRITERS:
            return True
        for name in here.calls - seen:
            seen.add(name)
            found = by_name.get(name, [])
            mine = [f for f in found if f.place.split("/")[1] == app]
            todo += mine or [f for f in found if "services" in f.place]
    return False


def test_the_walk_finds_the_services():
    places = {f"{s.place}:{s.name}" for s in services()}
    assert len(places) > 60
    assert {"apps/people/services.py:invite", "apps/spraying/services/sign.py:sign_off"} <= places


@pytest.mark.parametrize("service", services(), ids=lambda s: f"{s.place}:{s.name}")
def test_every_service_leaves_a_line(service):
    key = f"{service.place}:{service.name}"
    assert writes(service) or key in NOT_IN_THE_TRAIL, f"{key} changes something and writes no line"


def test_no_exception_outlives_its_service():
    known = {f"{s.place}:{s.name}" for s in services()}
    assert set(NOT_IN_THE_TRAIL) - known == set()


def _verbs() -> dict[str, str]:
    """Every verb written into the trail as a literal, with the place of it."""
    found = {}
    for path in (ROOT / "apps").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "record":
                for word in node.keywords:
                    if word.arg == "verb" and isinstance(word.value, ast.Constant):
                        found[word.value.value] = f"{path.relative_to(ROOT)}:{node.lineno}"
    return found


def test_every_verb_has_its_sentence():
    from apps.spraying.rules.states import Step
    from apps.work.rules import Step as TaskStep

    wanted = {**_verbs(), **{s.value: "steps of a job" for s in Step}, **{s.value: "steps of a task" for s in TaskStep}}
    assert len(wanted) > 40
    assert {verb: place for verb, place in wanted.items() if verb not in SENTENCES} == {}
