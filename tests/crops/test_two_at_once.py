"""Two people at the same moment: the second one is told, nothing is doubled. Needs PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from threading import Barrier

import pytest
from django.db import connection

from apps.crops import services
from apps.crops.models import Planting
from apps.land.models import Block
from apps.land.services import add_block
from farmops.errors import Refused
from tests.factories.crops import CropFactory
from tests.factories.land import BlockFactory, FieldFactory, plot

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]
NOW = datetime(2026, 6, 3, 14, 30, tzinfo=UTC)
HANDS = 6


def together(act: Callable[[int], object]) -> list[str]:
    """What each of several hands got that acted at once: ``done`` or the refusal's code."""
    gate = Barrier(HANDS)

    def hand(number: int) -> str:
        try:
            gate.wait()
            act(number)
            return "done"
        except Refused as refused:
            return refused.findings[0].code
        finally:
            connection.close()

    with ThreadPoolExecutor(HANDS) as hands:
        return sorted(hands.map(hand, range(HANDS)))


def test_the_same_ground_becomes_one_block(cast):
    field = FieldFactory(farm=cast.farm)

    def draw(number: int) -> None:
        add_block(member=cast.manager, field_id=field.pk, name="North", code=f"R{number}", polygon=plot(0), now=NOW)

    assert together(draw) == ["done", *["ground_shared"] * (HANDS - 1)]
    assert Block.objects.for_farm(cast.farm).count() == 1


def test_one_block_gets_one_cash_crop(cast):
    block, crop = BlockFactory(farm=cast.farm), CropFactory(farm=cast.farm)

    def plan(number: int) -> None:
        services.plan_planting(
            member=cast.manager,
            block_id=block.pk,
            crop_id=crop.pk,
            purpose="cash",
            planned_on=date(2026, 6, 1 + number),
            now=NOW,
        )

    assert together(plan) == ["block_taken"] * (HANDS - 1) + ["done"]
    assert Planting.objects.for_farm(cast.farm).count() == 1
