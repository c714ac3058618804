"""Database triggers that refuse what Python never does, on SQLite and PostgreSQL.

One registry of guards: which table, which rows (all, or those in which a column is set), which columns
may still be written. The append-only tables stand in ``settings.APPEND_ONLY``; an app whose rows become
fixed only later (a checked label) registers its own guard with ``register``. All are put back after every
migrate, named by the system check when one is missing, and reported by ``/readyz``.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

REFUSAL = "this table only grows"


@dataclass(frozen=True, kw_only=True)
class Guard:
    """One table and what the database refuses there.

    ``free`` names the columns that may still be written. ``once_set`` names a column: only rows in which it is
    set are guarded, and emptying the table is left to the caller's conscience; without it every row is.
    """

    table: str
    prefix: str
    refusal: str
    free: tuple[str, ...] = ()
    once_set: str = ""

    @property
    def actions(self) -> tuple[str, ...]:
        return ("update", "delete") if self.once_set else ("update", "delete", "truncate")

    def name(self, action: str) -> str:
        return f"{self.prefix}_{self.table}_{action}"


_REGISTERED: dict[str, Guard] = {}


def register(guard: Guard) -> Guard:
    """Add an app's own guard; one for each table, and none for a table that only grows anyway."""
    if guard.table in settings.APPEND_ONLY or _REGISTERED.get(guard.table, guard) != guard:
        raise ValueError(f"{guard.table} is guarded already")
    return _REGISTERED.setdefault(guard.table, guard)


def guards() -> list[Guard]:
    """Every guard there is, the append-only tables first."""
    only_grow = [
        Guard(table=table, prefix="grows_only", refusal=REFUSAL, free=tuple(free))
        for table, free in settings.APPEND_ONLY.items()
    ]
    return [*only_grow, *_REGISTERED.values()]


def present(connection: BaseDatabaseWrapper) -> list[Guard]:
    """The guards whose tables exist in this database."""
    existing = set(connection.introspection.table_names())
    return [g for g in guards() if g.table in existing]


def present_tables(connection: BaseDatabaseWrapper) -> list[str]:
    """The guarded tables that exist in this database."""
    return [g.table for g in present(connection)]


def _guarded_columns(connection: BaseDatabaseWrapper, guard: Guard) -> list[str]:
    with connection.cursor() as cursor:
        columns = connection.introspection.get_table_description(cursor, guard.table)
    return [c.name for c in columns if c.name not in guard.free]


def _when(guard: Guard, action: str, differs: str) -> str:
    """The condition under which a row's change is refused; empty = always."""
    conditions = [f'OLD."{guard.once_set}" IS NOT NULL'] if guard.once_set else []
    if action == "update":
        conditions.append(f"({differs})")
    return " AND ".join(conditions)


def _sqlite(guard: Guard, columns: Iterable[str]) -> list[str]:
    differs = " OR ".join(f'NEW."{c}" IS NOT OLD."{c}"' for c in columns)
    made = []
    for action in ("update", "delete"):
        condition = _when(guard, action, differs)
        made.append(f'DROP TRIGGER IF EXISTS "{guard.name(action)}"')
        made.append(
            f'CREATE TRIGGER "{guard.name(action)}" BEFORE {action.upper()} ON "{guard.table}" FOR EACH ROW '
            f"{f'WHEN {condition}' if condition else ''} BEGIN SELECT RAISE(ABORT, '{guard.refusal}'); END"
        )
    return made


def _postgresql(guard: Guard, columns: Iterable[str]) -> list[str]:
    differs = " OR ".join(f'NEW."{c}" IS DISTINCT FROM OLD."{c}"' for c in columns)
    made = [
        f"CREATE OR REPLACE FUNCTION {guard.prefix}() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{guard.refusal}: %', TG_TABLE_NAME USING ERRCODE = 'restrict_violation'; END $$"
    ]
    for action in guard.actions:
        condition = "" if action == "truncate" else _when(guard, action, differs)
        level = "STATEMENT" if action == "truncate" else "ROW"
        made.append(f'DROP TRIGGER IF EXISTS "{guard.name(action)}" ON "{guard.table}"')
        made.append(
            f'CREATE TRIGGER "{guard.name(action)}" BEFORE {action.upper()} ON "{guard.table}" FOR EACH {level} '
            f"{f'WHEN ({condition})' if condition else ''} EXECUTE FUNCTION {guard.prefix}()"
        )
    return made


def install(using: str = "default") -> None:
    """Create (or re-create) the triggers of every guard."""
    connection = connections[using]
    dialect = _postgresql if connection.vendor == "postgresql" else _sqlite
    for guard in present(connection):
        columns = _guarded_columns(connection, guard)
        with connection.cursor() as cursor:
            for statement in dialect(guard, columns):
                cursor.execute(statement)


def remove(using: str = "default") -> None:
    """Take the triggers away. Only for tests that must empty the database afterwards."""
    connection = connections[using]
    for guard in present(connection):
        on = f' ON "{guard.table}"' if connection.vendor == "postgresql" else ""
        with connection.cursor() as cursor:
            for action in guard.actions:
                cursor.execute(f'DROP TRIGGER IF EXISTS "{guard.name(action)}"{on}')


def _wanted(connection: BaseDatabaseWrapper, guard: Guard) -> list[str]:
    """The triggers this guard needs here; SQLite has no truncate."""
    return [guard.name(a) for a in guard.actions if a != "truncate" or connection.vendor == "postgresql"]


def missing(using: str = "default") -> list[str]:
    """Names of triggers that should exist and do not, or that somebody has switched off."""
    connection = connections[using]
    query = (
        "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')"
        if connection.vendor == "postgresql"
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        have = {row[0] for row in cursor.fetchall()}
    return [name for g in present(connection) for name in _wanted(connection, g) if name not in have]


def after_migrate(sender: Any, using: str, **kwargs: Any) -> None:
    """SQLite loses triggers whenever a migration rebuilds their table; once, when all apps are migrated."""
    if sender.name == "apps.audit":
        install(using)


def check_installed(app_configs: Any, databases: Iterable[str] | None, **kwargs: Any) -> list[CheckMessage]:
    """System check: every guard has its triggers. Silent for ``migrate``, which is what puts them back."""
    if sys.argv[1:2] == ["migrate"]:
        return []
    return [
        Error(f"Database trigger {name} is missing: run manage.py migrate.", id="audit.E001")
        for using in databases or ()
        for name in missing(using)
    ]
