"""One step of a job in a process of its own, killed after one write, then after more, until it gets through.

Run by ``test_killed``; works on the database in ``DATABASE_URL``. After every death it looks at the whole
database with a connection of its own, and prints as JSON how often it died and what a death had changed.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable
from datetime import datetime
from typing import Any

import django
import pytest  # noqa: F401  with it the settings are those of the tests

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
django.setup()

from django.apps import apps  # noqa: E402
from django.db import connection, connections  # noqa: E402

from apps.people.models import Farm  # noqa: E402
from apps.people.queries import active_member_for_person  # noqa: E402
from apps.spraying import queries, services  # noqa: E402
from apps.spraying.amending.services import amend_job  # noqa: E402
from apps.spraying.rules.record import Meaning  # noqa: E402
from farmops.errors import FarmError, Refused  # noqa: E402
from tests.factories.spraying import Bench  # noqa: E402

WRITES = ("INSERT", "UPDATE", "DELETE")
STRIDE = 1 if os.environ.get("NIGHTLY") else 4
"""By night it dies after every write, by day after every fourth."""


class Killer:
    """Ends the process, without a word, after its ``at``-th write."""

    def __init__(self, at: int) -> None:
        self.left = at

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        result = execute(sql, params, many, context)
        if sql.lstrip().upper().startswith(WRITES):
            self.left -= 1
            if not self.left:
                os.kill(os.getpid(), signal.SIGKILL)
        return result


def everything() -> dict[str, list[str]]:
    """Every row of every table, as another process sees it."""
    found = {}
    for model in apps.get_models():
        rows = model._base_manager.order_by("pk").values_list(*[f.attname for f in model._meta.concrete_fields])
        found[model._meta.db_table] = [repr(row) for row in rows]
    connections.close_all()
    return found


def act(step: str, asked: dict[str, Any]) -> None:
    farm = Farm.objects.get(slug=asked["farm"])
    member = active_member_for_person(farm, asked["person"])
    nothing: Any = None
    bench = Bench(
        farm=farm, manager=member, applicator=member, crop=nothing, blocks=[], product=nothing, label=nothing,
        sprayer=nothing,
    )  # fmt: skip
    job, now = queries.job(farm, asked["job"]), datetime.fromisoformat(asked["now"])
    steps: dict[str, Callable[[], object]] = {
        "finish": lambda: services.finish_spraying(member=member, job_id=job.pk, done=bench.done_values(job), now=now),
        "sign": lambda: bench.sign(job, now=now),
        "not_applied": lambda: bench.sign(job, meaning=Meaning.NOT_APPLIED, now=now),
        "void": lambda: bench.sign(job, meaning=Meaning.VOIDED, now=now),
        "amend": lambda: amend_job(
            member=member, job_id=job.pk, done=bench.done_values(job, loads="4"), reason="miscounted", now=now
        ),
    }
    steps[step]()


def die(step: str, asked: dict[str, Any]) -> dict[str, Any]:
    """Fork until one gets through; each that dies must leave the database as it was."""
    before, changed, deaths = everything(), [], 0
    while True:
        child = os.fork()
        if not child:
            with connection.execute_wrapper(Killer(1 + deaths * STRIDE)):
                act(step, asked)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            return {"code": os.WEXITSTATUS(status), "deaths": deaths, "changed": changed}
        deaths += 1
        after = everything()
        changed += [f"{deaths}: {table}" for table in before if before[table] != after[table]]


def once(step: str, asked: dict[str, Any]) -> dict[str, Any]:
    """Take the step at the agreed moment; what came of it."""
    connection.ensure_connection()
    time.sleep(max(0.0, float(asked["at"]) - time.time()))
    try:
        act(step, asked)
    except Refused as no:
        return {"outcome": no.findings[0].code}
    except FarmError as no:
        return {"outcome": type(no).__name__}
    return {"outcome": "done"}


if __name__ == "__main__":
    how, which, given = sys.argv[1:]
    print(json.dumps({"die": die, "once": once}[how](which, json.loads(given))))
