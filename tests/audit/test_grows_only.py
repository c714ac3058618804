"""The database itself refuses to change or delete what only grows."""

from __future__ import annotations

import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import DatabaseError, connection, transaction

from apps.audit import services, triggers
from apps.audit.models import AuditEvent
from farmops import clock

pytestmark = pytest.mark.django_db


@pytest.fixture
def event(cast):
    return services.record(farm=cast.farm, actor=cast.manager, verb="tried", subject=cast.farm, now=clock.now())


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE audit_auditevent SET verb = 'hid' WHERE id = %s",
        "DELETE FROM audit_auditevent WHERE id = %s",
    ],
    ids=["update", "delete"],
)
def test_raw_sql_is_refused_and_the_row_stays(event, statement):
    with pytest.raises(DatabaseError, match=triggers.REFUSAL), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, [event.pk])
    assert AuditEvent.objects.get(pk=event.pk).verb == "tried"


def test_replace_does_not_slip_past_on_sqlite(event):
    if connection.vendor != "sqlite":
        assert triggers.missing() == []
        return
    columns = ", ".join(f.column for f in AuditEvent._meta.concrete_fields if f.column != "verb")
    with pytest.raises(DatabaseError, match=triggers.REFUSAL), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            f"INSERT OR REPLACE INTO audit_auditevent ({columns}, verb) SELECT {columns}, 'hid' "
            "FROM audit_auditevent WHERE id = %s",
            [event.pk],
        )
    assert AuditEvent.objects.get(pk=event.pk).verb == "tried"


def test_every_listed_table_exists_and_has_its_triggers(db):
    fixed_later = {"products_labelversion"}
    assert sorted(triggers.present_tables(connection)) == sorted({*settings.APPEND_ONLY, *fixed_later})
    assert triggers.missing() == []


def test_a_missing_trigger_is_found_and_migrate_puts_it_back(db):
    name = "grows_only_audit_auditevent_update"
    on = ' ON "audit_auditevent"' if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f'DROP TRIGGER "{name}"{on}')
    assert triggers.missing() == [name]
    assert [e.id for e in triggers.check_installed(None, ["default"])] == ["audit.E001"]
    call_command("migrate", verbosity=0)
    assert triggers.missing() == []


def test_a_half_migrated_database_can_be_migrated_on(db, monkeypatch):
    """``migrate`` asks the checks first: what it is about to put back must not stop it."""
    triggers.remove()
    monkeypatch.setattr("sys.argv", ["manage.py", "check"])
    with pytest.raises(SystemCheckError, match="run manage.py migrate"):
        call_command("migrate", verbosity=0, skip_checks=False)
    monkeypatch.setattr("sys.argv", ["manage.py", "migrate"])
    call_command("migrate", verbosity=0, skip_checks=False)
    assert triggers.missing() == []


def test_a_table_has_one_guard():
    for table in ("products_labelversion", "audit_auditevent"):
        with pytest.raises(ValueError, match=f"{table} is guarded already"):
            triggers.register(triggers.Guard(table=table, prefix="other", refusal="no"))


def test_on_postgresql_a_trigger_that_is_switched_off_counts_as_missing(db):
    if connection.vendor != "postgresql":
        assert triggers.missing() == []
        return
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE audit_auditevent DISABLE TRIGGER USER")
        assert triggers.missing() == [
            f"grows_only_audit_auditevent_{action}" for action in ("update", "delete", "truncate")
        ]
        cursor.execute("ALTER TABLE audit_auditevent ENABLE TRIGGER USER")
