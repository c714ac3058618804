"""No error reaches a Spanish reader in English only: sentences with slots are ``Said``, all stand in the catalogue."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from tests.catalogue import SPANISH

ROOT = Path(__file__).resolve().parents[2]
TOLD = {"BadInput", "Unknown", "NotYourRole", "Stale"}
CALENDAR = {"made", "event"}  # properties of an iCalendar component
GATHERED = {"fault", "add"}  # of what reads a label, and of the faults of a form


def sentences(call: ast.Call) -> Iterator[ast.expr]:
    """What stands in an error where a sentence is wanted."""
    for given in call.args:
        if isinstance(given, ast.Call) and ast.unparse(given.func) == "dict.fromkeys":
            given = given.args[-1]
        for value in given.values if isinstance(given, ast.Dict) else [given]:
            yield from value.elts if isinstance(value, ast.List) else [value]


def filled_in(value: ast.expr) -> bool:
    """An f-string, a sum of texts, or ``.format()``."""
    if isinstance(value, ast.Call) and isinstance(value.func, ast.Attribute):
        return value.func.attr == "format"
    return isinstance(value, ast.JoinedStr | ast.BinOp)


def gathers(function: ast.expr) -> bool:
    """``read.fault(…)``, ``faults.add(…)``; not a property of a calendar."""
    named = isinstance(function, ast.Attribute) and function.attr in GATHERED
    return named and not (isinstance(function.value, ast.Name) and function.value.id in CALENDAR)


def errors_in(source: str) -> Iterator[ast.expr]:
    """Every sentence of an error that is written out in a call."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Name) and node.func.id in TOLD:
            yield from sentences(node)
        elif gathers(node.func) and len(node.args) == 2:
            yield node.args[1]


def found_in(source: str) -> list[int]:
    return [value.lineno for value in errors_in(source) if filled_in(value)]


def untranslated_in(source: str) -> list[str]:
    written = [v.value for v in errors_in(source) if isinstance(v, ast.Constant) and isinstance(v.value, str)]
    return [text for text in written if " " in text and text not in SPANISH]


PLACES = [*sorted((ROOT / "apps").rglob("*.py")), *sorted((ROOT / "farmops").rglob("*.py"))]


def test_no_error_is_filled_in_before_it_can_be_translated():
    assert [f"{p.relative_to(ROOT)}:{line}" for p in PLACES for line in found_in(p.read_text())] == []


def test_every_error_written_out_stands_in_the_catalogue():
    assert [f"{p.relative_to(ROOT)}: {text}" for p in PLACES for text in untranslated_in(p.read_text())] == []


def test_the_search_finds_each_way_of_losing_it():
    assert found_in('raise BadInput({"a": f"Use {n}."})\nraise Unknown("No {x}.".format(x=1))') == [1, 2]
    assert found_in('raise BadInput({"a": ["x", "No " + y]})\nraise Stale()') == [1]
    assert found_in('raise BadInput({"a": Said(gettext_noop("Use {n}."), n=1)})') == []
    assert untranslated_in('read.fault("a", "Nobody wrote this one down.")') == ["Nobody wrote this one down."]
    assert untranslated_in('read.fault("a", "Give a list.")') == []
    assert untranslated_in('raise BadInput(dict.fromkeys(unknown, "Not a word of it."))') == ["Not a word of it."]
