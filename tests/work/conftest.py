"""A block with nothing hung on it, and closures to hang."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from apps.land.models import Block
from apps.safety.models import Closure
from tests.factories.land import BlockFactory

NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def block(cast) -> Block:
    return BlockFactory(farm=cast.farm, code="R1", name="River")


@pytest.fixture
def hang(block) -> Callable[..., Closure]:
    """``hang("entry", "rei", ends_at=…)``: a closure on the block that began an hour before noon."""

    def up(kind: str, reason: str, *, ends_at: datetime | None = None, starts_at: datetime = NOON - HOUR):
        return Closure.rows.create(
            farm=block.farm,
            block=block,
            kind=kind,
            reason_code=reason,
            starts_at=starts_at,
            ends_at=ends_at,
            product_names=["Demo Fungicide"],
            source="job:1",
            set_by_name="Luis Mora",
            contact="Ines Prado 555-0101",
            hung_at=starts_at,
        )

    return up
