"""A farm that has sprayed."""

from __future__ import annotations

from typing import Any

import pytest

from tests.factories.spraying import Bench, bench_for


@pytest.fixture(autouse=True)
def _quick_hash(settings: Any) -> None:
    """Signing asks for the password; the slow hash of real ones would only cost time here."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def bench(cast: Any) -> Bench:
    return bench_for(cast)
