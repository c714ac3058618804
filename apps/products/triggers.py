"""A database trigger that keeps a checked label version as it was checked, on SQLite and PostgreSQL.

``products.services`` offers no way to change one; this is the second lock. Only the
withdrawal of a checked version may still be written.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.core.checks import CheckMessage, Error
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

TABLE = "products_labelversion"
NAME = "checked_label_stays"
REFUSAL = "a checked label never changes"
FREE = ("withdrawn_by_id", "withdrawn_at", "withdrawn_reason", "version")


def _guarded(connection: BaseDatabaseWrapper) -> list[str]:
    with connection.cursor() as cursor:
        columns = connection.introspection.get_table_description(cursor, TABLE)
    return [c.name for c in columns if c.name not in FREE]


def _statements(connection: BaseDatabaseWrapper) -> list[str]:
    columns = _guarded(connection)
    if connection.vendor == "postgresql":
        changed = " OR ".join(f'NEW."{c}" IS DISTINCT FROM OLD."{c}"' for c in columns)
        return [
            f"CREATE OR REPLACE FUNCTION {NAME}() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'restrict_violation'; END $$",
            f'DROP TRIGGER IF EXISTS "{NAME}" ON "{TABLE}"',
            f'CREATE TRIGGER "{NAME}" BEFORE UPDATE ON "{TABLE}" FOR EACH ROW '
            f"WHEN (OLD.checked_at IS NOT NULL AND ({changed})) EXECUTE FUNCTION {NAME}()",
        ]
    changed = " OR ".join(f'NEW."{c}" IS NOT OLD."{c}"' for c in columns)
    return [
        f'DROP TRIGGER IF EXISTS "{NAME}"',
        f'CREATE TRIGGER "{NAME}" BEFORE UPDATE ON "{TABLE}" FOR EACH ROW '
        f"WHEN OLD.checked_at IS NOT NULL AND ({changed}) BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END",
    ]


def install(using: str = "default") -> None:
    """Create (or re-create) the trigger."""
    connection = connections[using]
    if TABLE not in connection.introspection.table_names():
        return
    with connection.cursor() as cursor:
        for statement in _statements(connection):
            cursor.execute(statement)


def missing(using: str = "default") -> bool:
    """Whether the table stands there without its trigger."""
    connection = connections[using]
    if TABLE not in connection.introspection.table_names():
        return False
    query = (
        "SELECT count(*) FROM pg_trigger WHERE tgname = %s"
        if connection.vendor == "postgresql"
        else "SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND name = %s"
    )
    with connection.cursor() as cursor:
        cursor.execute(query, [NAME])
        return cursor.fetchone()[0] == 0


def after_migrate(sender: Any, using: str, **kwargs: Any) -> None:
    if sender.name == "apps.products":
        install(using)


def check_installed(app_configs: Any, databases: Iterable[str] | None, **kwargs: Any) -> list[CheckMessage]:
    """System check: checked labels are guarded."""
    return [
        Error(f"Database trigger {NAME} is missing: run manage.py migrate.", id="products.E001")
        for using in databases or ()
        if missing(using)
    ]
