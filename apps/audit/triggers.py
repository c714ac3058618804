"""Database triggers that keep append-only tables append-only, on SQLite and PostgreSQL.

Python offers no update path for these tables; the trigger is the second lock. Which tables,
and which of their columns may still be set, stands in ``settings.APPEND_ONLY``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

REFUSAL = "this table only grows"


def _name(table: str, action: str) -> str:
    return f"grows_only_{table}_{action}"


def _columns(connection: BaseDatabaseWrapper, table: str) -> list[str]:
    with connection.cursor() as cursor:
        return [c.name for c in connection.introspection.get_table_description(cursor, table)]


def _sqlite(table: str, guarded: Sequence[str]) -> list[str]:
    guard = " OR ".join(f'NEW."{c}" IS NOT OLD."{c}"' for c in guarded)
    made = []
    for action, when in (("update", f"WHEN {guard}"), ("delete", "")):
        made.append(f'DROP TRIGGER IF EXISTS "{_name(table, action)}"')
        made.append(
            f'CREATE TRIGGER "{_name(table, action)}" BEFORE {action.upper()} ON "{table}" FOR EACH ROW {when} '
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        )
    return made


def _postgresql(table: str, guarded: Sequence[str]) -> list[str]:
    guard = " OR ".join(f'NEW."{c}" IS DISTINCT FROM OLD."{c}"' for c in guarded)
    made = [
        "CREATE OR REPLACE FUNCTION grows_only() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}: %', TG_TABLE_NAME USING ERRCODE = 'restrict_violation'; END $$"
    ]
    for action, level, when in (
        ("update", "ROW", f"WHEN ({guard})"),
        ("delete", "ROW", ""),
        ("truncate", "STATEMENT", ""),
    ):
        made.append(f'DROP TRIGGER IF EXISTS "{_name(table, action)}" ON "{table}"')
        made.append(
            f'CREATE TRIGGER "{_name(table, action)}" BEFORE {action.upper()} ON "{table}" '
            f"FOR EACH {level} {when} EXECUTE FUNCTION grows_only()"
        )
    return made


def present_tables(connection: BaseDatabaseWrapper) -> list[str]:
    """The append-only tables that exist in this database."""
    existing = set(connection.introspection.table_names())
    return [t for t in settings.APPEND_ONLY if t in existing]


def install(using: str = "default") -> None:
    """Create (or re-create) the triggers of every append-only table."""
    connection = connections[using]
    dialect = _postgresql if connection.vendor == "postgresql" else _sqlite
    for table in present_tables(connection):
        free = settings.APPEND_ONLY[table]
        guarded = [c for c in _columns(connection, table) if c not in free]
        with connection.cursor() as cursor:
            for statement in dialect(table, guarded):
                cursor.execute(statement)


def remove(using: str = "default") -> None:
    """Take the triggers away. Only for tests that must empty the database afterwards."""
    connection = connections[using]
    for table in present_tables(connection):
        on = f' ON "{table}"' if connection.vendor == "postgresql" else ""
        with connection.cursor() as cursor:
            for action in ("update", "delete", "truncate"):
                cursor.execute(f'DROP TRIGGER IF EXISTS "{_name(table, action)}"{on}')


def missing(using: str = "default") -> list[str]:
    """Names of triggers that should exist and do not."""
    connection = connections[using]
    query = (
        "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
        if connection.vendor == "postgresql"
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        have = {row[0] for row in cursor.fetchall()}
    return [
        _name(table, action)
        for table in present_tables(connection)
        for action in ("update", "delete")
        if _name(table, action) not in have
    ]


def after_migrate(sender: Any, using: str, **kwargs: Any) -> None:
    if sender.name == "apps.audit":
        install(using)


def check_installed(app_configs: Any, databases: Iterable[str] | None, **kwargs: Any) -> list[CheckMessage]:
    """System check: every append-only table has its triggers."""
    return [
        Error(f"Append-only trigger {name} is missing: run manage.py migrate.", id="audit.E001")
        for using in databases or ()
        for name in missing(using)
    ]
