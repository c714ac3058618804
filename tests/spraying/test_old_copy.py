"""An old copy of the database is put back: it agrees with itself, and only a head kept elsewhere finds it out."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from datetime import timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.apps import apps
from django.core import serializers
from django.core.management import CommandError, call_command
from django.db import connection

from apps.audit import triggers
from apps.spraying.models import SprayRecord
from tests.factories.spraying import SIGNED

pytestmark = pytest.mark.django_db(transaction=True)


def copied(path: Path) -> Callable[[], None]:
    """A real copy of the whole database; call what is returned to put it back."""
    if connection.vendor == "sqlite":
        with sqlite3.connect(path) as file:
            connection.connection.backup(file)
        return lambda: _restore_file(path)
    rows = [row for model in apps.get_models() for row in model._base_manager.order_by("pk")]
    text = serializers.serialize("json", rows)
    return lambda: _restore_rows(text)


def _restore_file(path: Path) -> None:
    with sqlite3.connect(path) as file:
        file.backup(connection.connection)


def _restore_rows(text: str) -> None:
    triggers.remove()
    call_command("flush", verbosity=0, interactive=False, inhibit_post_migrate=True, reset_sequences=False)
    connection.creation.deserialize_db_from_string(text)
    triggers.install()


def test_an_old_copy_put_back_is_found_by_the_head(bench, tmp_path):
    bench.signed()
    put_back = copied(tmp_path / "old.sqlite3")
    bench.signed(blocks=[{"block_id": bench.blocks[1].pk}])
    out, heads = StringIO(), tmp_path / "heads.json"
    call_command("chain_head", stdout=out)
    heads.write_text(out.getvalue(), encoding="utf-8")
    assert json.loads(out.getvalue())["heads"][0]["records"] == 2

    put_back()
    assert SprayRecord.rows.count() == 1
    said = StringIO()
    call_command("check_records", stdout=said)
    assert "alder-bend: 1 records" in said.getvalue()
    with pytest.raises(CommandError, match="the book had 2 records then and has 1 now"):
        call_command("check_records", f"--against={heads}")

    bench.signed(blocks=[{"block_id": bench.blocks[1].pk}], now=SIGNED + timedelta(minutes=1))
    with pytest.raises(CommandError, match="record 2 is not the one that stood there then"):
        call_command("check_records", f"--against={heads}")
