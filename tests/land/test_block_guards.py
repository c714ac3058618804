"""Every subject listed as a block's guard can be asked, and has nothing against a block nobody uses."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from apps.land import queries
from tests.factories.land import BlockFactory


@pytest.mark.django_db
def test_a_block_nobody_uses_may_leave(cast):
    block = BlockFactory(farm=cast.farm)
    assert queries.against_leaving(block, datetime(2026, 6, 3, 12, tzinfo=UTC)) == []
