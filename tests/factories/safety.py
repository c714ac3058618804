"""Closures, all invented. They are written as they stand, past the services' checks but not past the database's."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import factory

from apps.safety.models import Closure
from apps.safety.rules import FAR_AHEAD, TIMED_KINDS, Kind, Reason
from tests.factories.base import FarmOwnedFactory
from tests.factories.land import BlockFactory

REASONS = {
    Kind.PLANNED: Reason.WINDOW,
    Kind.UNDERWAY: Reason.SPRAYING,
    Kind.UNCONFIRMED: Reason.UNSIGNED,
    Kind.ENTRY: Reason.REI,
    Kind.HARVEST: Reason.PHI,
    Kind.POSTED: Reason.SIGN,
    Kind.ZONE_PLANNED: Reason.ZONE,
    Kind.ZONE: Reason.ZONE,
}


class ClosureFactory(FarmOwnedFactory):
    """An entry interval of 12 hours after Monday, June 1 2026, 9:30 AM CDT; give ``kind`` for another closure."""

    class Meta:
        model = Closure

    block = factory.SubFactory(BlockFactory)
    farm = factory.SelfAttribute("block.farm")
    kind = Kind.ENTRY
    reason_code = factory.LazyAttribute(lambda o: REASONS[Kind(o.kind)])
    starts_at = datetime(2026, 6, 1, 13, 0, tzinfo=UTC)
    ends_at = factory.LazyAttribute(lambda o: o.starts_at + timedelta(hours=13.5) if _ends(o) else None)
    speaks_until = factory.LazyAttribute(lambda o: o.ends_at if o.kind in TIMED_KINDS and o.ends_at else FAR_AHEAD)
    product_names = factory.LazyFunction(lambda: ["Demo Cover 40"])
    numbers = factory.LazyAttribute(
        lambda o: {"next_to": "N1 North"} if o.kind in {Kind.ZONE, Kind.ZONE_PLANNED} else {}
    )
    source = factory.Sequence(lambda n: f"job:{n}")
    set_by_name = "Luis Mora"
    contact = "Ines Prado 555-0101"
    hung_at = factory.SelfAttribute("starts_at")


def _ends(closure: factory.builder.Resolver) -> bool:
    return closure.reason_code in {Reason.WINDOW, Reason.REI, Reason.PHI}
