from __future__ import annotations

import pytest


@pytest.fixture
def only_land(settings):
    """No other subject has a say about a block; what they say is tested with them."""
    settings.BLOCK_GUARDS = []
