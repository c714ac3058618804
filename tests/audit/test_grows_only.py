"""The database itself refuses to change or delete what only grows."""

from __future__ import annotations

import pytest
from django.conf import settings
from django.core.management import call_command
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
    with pytest.raises(DatabaseError, match=triggers.REFUSAL), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "INSERT OR REPLACE INTO audit_auditevent SELECT id, at, 'x', 'hid', subject_type, subject_id, "
            "subject_name, before, after, actor_id, farm_id FROM audit_auditevent WHERE id = %s",
            [event.pk],
        )
    assert AuditEvent.objects.get(pk=event.pk).verb == "tried"


def test_every_listed_table_exists_and_has_its_triggers(db):
    assert sorted(triggers.present_tables(connection)) == sorted(settings.APPEND_ONLY)
    assert triggers.missing() == []


def test_a_missing_trigger_is_found_and_migrate_puts_it_back(db):
    name = triggers._name("audit_auditevent", "update")
    on = ' ON "audit_auditevent"' if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f'DROP TRIGGER "{name}"{on}')
    assert triggers.missing() == [name]
    assert [e.id for e in triggers.check_installed(None, ["default"])] == ["audit.E001"]
    call_command("migrate", verbosity=0)
    assert triggers.missing() == []
