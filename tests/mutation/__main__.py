"""Mutation testing of the rules of products, crops and spraying: which changes of a rule would no pure test notice?

Run: ``python -m tests.mutation [--only spraying.rules.caps …] [--sample 500 --seed 1] [--budget 1.2] [--workers 2]``.
mutmut makes the mutants in a copy of the project; ``forks.py`` runs each in a fork of a process that has collected the
tests already, the likeliest killer first. A mutant that lives through the budget is tried against every test that
reaches its function before it counts as a survivor. Results stand in ``<copy>/results<worker>.jsonl`` (``--copy`` goes
on where an earlier run stopped); each survivor is printed with its difference, to be looked at by people.
"""

from __future__ import annotations

import argparse
import ast
import difflib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RULES = ("apps/products/rules", "apps/crops/rules", "apps/spraying/rules")
SETTINGS = """[mutmut]
source_paths=
    apps
only_mutate=
    {rules}
also_copy=
    farmops
    fixtures
    tests
    manage.py
    pytest.ini
"""
MAKE = """
from pathlib import Path
from mutmut import __main__ as mutmut
mutmut.set_mutant_under_test("mutant_generation")
Path("mutants").mkdir()
mutmut.copy_src_dir()
mutmut.copy_also_copy_files()
mutmut.setup_source_paths()
mutmut.store_lines_covered_by_tests()
print(mutmut.create_mutants(2))
"""


def main() -> None:
    asked = arguments()
    copy = Path(asked.copy or tempfile.mkdtemp(prefix="mutants-"))
    if not (copy / "mutants").is_dir():
        make(copy)
    names = [m for m in all_mutants(copy) if not asked.only or any(word in m for word in asked.only)]
    if asked.sample:
        names = sorted(random.Random(asked.seed).sample(names, min(asked.sample, len(names))))
    (copy / "names.txt").write_text("\n".join(names))
    run(copy, asked)
    report(copy, set(names))


def arguments() -> argparse.Namespace:
    ask = argparse.ArgumentParser(prog="tests.mutation")
    ask.add_argument("--only", nargs="*", default=[], help="parts of module or function names")
    ask.add_argument("--sample", type=int, default=0, help="this many mutants, drawn at random")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--budget", type=float, default=1.2, help="seconds of tests before a mutant is tried against all")
    ask.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    ask.add_argument("--copy", default="", help="a folder of an earlier run")
    return ask.parse_args()


def make(copy: Path) -> None:
    """The project's files as they stand, and mutmut's mutants of the rules beside them."""
    ask = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(ask, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    for name in listed.split("\n"):
        if name and (ROOT / name).is_file():
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, copy / name)
    shutil.copy2(ROOT / ".pytest.ini", copy / "pytest.ini")
    (copy / "setup.cfg").write_text(SETTINGS.format(rules="\n    ".join(f"{place}/*" for place in RULES)))
    subprocess.run([sys.executable, "-c", MAKE], cwd=copy, check=True, stdout=subprocess.DEVNULL)


def all_mutants(copy: Path) -> list[str]:
    found: list[str] = []
    for meta in sorted((copy / "mutants" / "apps").glob("**/*.meta")):
        found += json.loads(meta.read_text())["exit_code_by_key"]
    return found


def run(copy: Path, asked: argparse.Namespace) -> None:
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "farmops.settings", "MUTANT_UNDER_TEST": "", "DATABASE_URL": ""}
    forks = [sys.executable, "-m", "tests.mutation.forks", str(copy), str(asked.budget), str(asked.workers)]
    subprocess.run([*forks, "-1"], cwd=copy / "mutants", env=env, check=True)  # which test reaches what, once
    turns = [subprocess.Popen([*forks, str(worker)], cwd=copy / "mutants", env=env) for worker in range(asked.workers)]
    if any(turn.wait() for turn in turns):
        raise SystemExit("A worker stopped before its end; --copy goes on from here.")


def results(copy: Path) -> dict[str, str]:
    rows = [json.loads(line) for part in copy.glob("results*.jsonl") for line in part.read_text().splitlines()]
    return {row["mutant"]: row["result"] for row in rows}


def report(copy: Path, names: set[str]) -> None:
    """Counts, by module where something lived, and each survivor with its difference."""
    found = {mutant: result for mutant, result in results(copy).items() if mutant in names}
    for mutant in sorted(m for m, result in found.items() if result == "survived"):
        print(f"\n{mutant}\n{difference(copy, mutant)}")
    modules: dict[str, Counter[str]] = {}
    for mutant, result in found.items():
        modules.setdefault(mutant.rpartition(".")[0], Counter())[result] += 1
    print()
    for module, counts in sorted(modules.items()):
        print(f"{module:45} {dict(sorted(counts.items()))}")
    counts = Counter(found.values())
    reached = sum(counts.values()) - counts["not reached"]
    dead = counts["killed"] + counts["timeout"]
    print(f"{dict(counts)}: {dead} of {reached} reached ones found, {100 * dead / max(1, reached):.1f} % ({copy})")


def difference(copy: Path, mutant: str) -> str:
    module, _, name = mutant.rpartition(".")
    path = copy / "mutants" / (module.replace(".", "/") + ".py")
    source = (path if path.exists() else path.with_suffix("") / "__init__.py").read_text()
    lines = source.splitlines()
    texts = {
        node.name: [line.strip() for line in lines[node.lineno : node.end_lineno]]
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef)
    }
    before = texts.get(name.rpartition("__mutmut_")[0] + "__mutmut_orig", [])
    changed = difflib.unified_diff(before, texts.get(name, []), lineterm="", n=0)
    return "\n".join(f"    {line}" for line in changed if not line.startswith(("---", "+++", "@@")))


if __name__ == "__main__":
    main()
