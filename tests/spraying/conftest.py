"""The bench: the cast's farm, ready to spray."""

from __future__ import annotations

import pytest

from tests.factories.spraying import Bench, bench_for


@pytest.fixture
def bench(cast) -> Bench:
    return bench_for(cast)
