"""The day on which these tests play: Monday, 1 June 2026, nine in the morning on the farm."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import time_machine


@pytest.fixture
def june() -> Iterator[None]:
    with time_machine.travel(datetime(2026, 6, 1, 14, 0, tzinfo=UTC), tick=False):
        yield
