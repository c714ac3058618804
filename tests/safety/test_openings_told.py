"""Blocks that open at the same moment are told of together; those that open apart, apart."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from apps.safety import queries
from tests.factories.land import BlockFactory
from tests.factories.safety import ClosureFactory

pytestmark = pytest.mark.django_db
OPENS = datetime(2026, 6, 2, 2, 30, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def blocks(cast):
    return [BlockFactory(farm=cast.farm, code=f"K{n}", name=f"Strip {n}") for n in (1, 2, 3)]


def close(block, ends_at) -> None:
    ClosureFactory(block=block, starts_at=ends_at - timedelta(hours=12), ends_at=ends_at)


def told(cast, at) -> list[tuple[str, str]]:
    return [(d.occasion, str(d.numbers["block"])) for d in queries.due(cast.farm, at)]


def test_one_notice_for_all_that_open_at_once(cast, blocks):
    close(blocks[0], OPENS)
    close(blocks[1], OPENS)
    close(blocks[2], OPENS + MINUTE)
    together = (OPENS.isoformat(), "K1 Strip 1, K2 Strip 2")
    assert told(cast, OPENS) == [together]
    assert told(cast, OPENS + MINUTE) == [together, ((OPENS + MINUTE).isoformat(), "K3 Strip 3")]


def test_one_that_is_still_closed_for_another_reason_is_not_named(cast, blocks):
    close(blocks[0], OPENS)
    close(blocks[1], OPENS)
    close(blocks[1], OPENS + timedelta(hours=5))
    assert told(cast, OPENS) == [(OPENS.isoformat(), "K1 Strip 1")]
