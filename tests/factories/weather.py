"""Weather readings, all invented."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import factory

from apps.weather.models import Reading
from tests.factories.base import FarmOwnedFactory
from tests.factories.people import FarmFactory, PersonFactory


class ReadingFactory(FarmOwnedFactory):
    """A pleasant late morning: 6 mph from the north-west, 75 °F, 50 %."""

    class Meta:
        model = Reading

    farm = factory.SubFactory(FarmFactory)
    taken_at = datetime(2026, 6, 1, 16, 0, tzinfo=UTC)
    wind_mph = Decimal("6")
    wind_from = "nw"
    temperature_f = Decimal("75")
    humidity_percent = Decimal("50")
    source = "handheld"
    recorded_at = factory.SelfAttribute("taken_at")
    taken_by = factory.SubFactory(PersonFactory)
