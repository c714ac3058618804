"""The house rules that a machine can keep."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CODE = [p for top in ("apps", "farmops") for p in (ROOT / top).rglob("*.py") if "migrations" not in p.parts]
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "requirements.txt",
    "farmops",
    "apps",
    "tests",
    "fixtures",
    "docker-compose.yml",
}


def _functions(path: Path) -> list[tuple[str, int]]:
    tree = ast.parse(path.read_text())
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
    return [(n.name, (n.end_lineno or 0) - n.lineno + 1) for n in ast.walk(tree) if isinstance(n, kinds)]


def _tracked() -> set[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return {line.split("/")[0] for line in listed.splitlines()}


def test_the_top_level_is_exactly_what_it_should_be():
    assert {name for name in _tracked() if not name.startswith(".")} == TOP_LEVEL


def test_no_function_is_longer_than_60_lines():
    assert {f"{p.relative_to(ROOT)}:{name}": n for p in CODE for name, n in _functions(p) if n > 60} == {}


def test_no_file_is_longer_than_400_lines():
    assert {str(p.relative_to(ROOT)): n for p in CODE if (n := p.read_text().count("\n")) > 400} == {}


def test_most_functions_are_short():
    lengths = sorted(n for p in CODE for _, n in _functions(p))
    assert lengths[len(lengths) // 2] <= 10
    assert lengths[int(len(lengths) * 0.9)] <= 30


@pytest.mark.parametrize(
    "path", [p for p in CODE if "rules" in p.parts or p.name == "rules.py"], ids=lambda p: str(p.relative_to(ROOT))
)
def test_rules_are_plain_python(path):
    found = re.findall(
        r"^\s*(?:from|import) (django|rest_framework|celery|farmops\.clock|farmops\.web)\b", path.read_text(), re.M
    )
    assert found == []


# Where the unscoped manager may be used, and why.
MAY_USE_ROWS = {
    "apps/people/managers.py": "defines it",
    "apps/people/models.py": "defines it",
    "apps/people/queries.py": "the member behind a request is found before its farm is",
    "apps/people/services.py": "an invitation code names its own farm",
    "farmops/tokens.py": "a key names its own farm",
    "apps/reminders/delivery/outbox.py": "the outbox is swept over all farms",
    "apps/reminders/delivery/mail.py": "the outbox is swept over all farms",
    "apps/reminders/services/escalating.py": "what nobody answered is found over all farms",
    "apps/reminders/metrics.py": "a monitor counts over all farms and sees none",
    "apps/reminders/queries.py": "a calendar's secret names its own farm",
    "apps/safety/gate/queries.py": "the code on a plate names its own farm",
    "apps/safety/reading.py": "closures are asked by block, and a block belongs to one farm",
    "apps/work/queries.py": "planned entries are asked by block, and a block belongs to one farm",
}


def test_the_unscoped_manager_stays_where_it_must():
    used = {str(p.relative_to(ROOT)) for p in CODE if re.search(r"\b[A-Z]\w+\.rows\b(?!\.none)", p.read_text())}
    assert used - set(MAY_USE_ROWS) == set()


def test_only_the_clock_reads_the_time():
    pattern = re.compile(r"datetime\.now\(|timezone\.now\(|date\.today\(|time\.time\(")
    found = {str(p.relative_to(ROOT)) for p in CODE if pattern.search(p.read_text())}
    assert found == {"farmops/clock.py"}


def test_requests_never_touch_celery():
    found = {str(p.relative_to(ROOT)) for p in CODE if re.search(r"^\s*(?:from|import) celery\b", p.read_text(), re.M)}
    assert found == {"farmops/celery.py", "apps/reminders/tasks.py"}


def test_no_vague_module_names():
    assert [str(p) for p in CODE if p.stem in {"common", "utils", "helpers"}] == []
