"""A sentence that is filled in before a door sees it can no longer be translated: such sentences are ``Said``."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TOLD = {"BadInput", "Unknown", "NotYourRole", "Stale"}


def sentences(call: ast.Call) -> Iterator[ast.expr]:
    """What stands in an error where a sentence is wanted."""
    for given in call.args:
        for value in given.values if isinstance(given, ast.Dict) else [given]:
            yield from value.elts if isinstance(value, ast.List) else [value]


def filled_in(value: ast.expr) -> bool:
    """An f-string, a sum of texts, or ``.format()``."""
    if isinstance(value, ast.Call) and isinstance(value.func, ast.Attribute):
        return value.func.attr == "format"
    return isinstance(value, ast.JoinedStr | ast.BinOp)


def found_in(source: str) -> list[int]:
    return [
        value.lineno
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in TOLD
        for value in sentences(node)
        if filled_in(value)
    ]


def test_no_error_is_filled_in_before_it_can_be_translated():
    places = [*sorted((ROOT / "apps").rglob("*.py")), *sorted((ROOT / "farmops").rglob("*.py"))]
    assert [f"{p.relative_to(ROOT)}:{line}" for p in places for line in found_in(p.read_text())] == []


def test_the_search_finds_each_way_of_losing_it():
    assert found_in('raise BadInput({"a": f"Use {n}."})\nraise Unknown("No {x}.".format(x=1))') == [1, 2]
    assert found_in('raise BadInput({"a": ["x", "No " + y]})\nraise Stale()') == [1]
    assert found_in('raise BadInput({"a": Said(gettext_noop("Use {n}."), n=1)})') == []
