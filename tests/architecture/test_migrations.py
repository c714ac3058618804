"""Most tests make their tables from the models; this one says that the migrations lead to the same."""

from __future__ import annotations

import pytest
from django.core.management import call_command


@pytest.mark.django_db
def test_the_migrations_lead_to_the_models(capsys):
    call_command("makemigrations", "--check", "--dry-run", "--verbosity", "1")
    assert "No changes detected" in capsys.readouterr().out
