"""What is done about the weather: it is read."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.db import transaction

from apps.audit import services as audit
from apps.land import queries as land
from apps.people.queries import Member
from apps.people.rules import Can
from apps.weather.models import Reading
from apps.weather.rules.readings import ReadingFacts, Source, check_reading
from farmops.errors import BadInput, Unknown, gettext_noop


@transaction.atomic
def record_reading(
    *,
    member: Member,
    taken_at: datetime,
    wind_mph: Decimal,
    now: datetime,
    block_id: int | None = None,
    gust_mph: Decimal | None = None,
    wind_from: str = "",
    temperature_f: Decimal | None = None,
    humidity_percent: Decimal | None = None,
    source: str = Source.HANDHELD.value,
    note: str = "",
) -> Reading:
    """Record a reading on a block, or for the farm at large. ``BadInput`` names every value that cannot be."""
    member.require(Can.SCOUT)
    facts = ReadingFacts(
        taken_at=taken_at,
        wind_mph=wind_mph,
        gust_mph=gust_mph,
        wind_from=wind_from,
        temperature_f=temperature_f,
        humidity_percent=humidity_percent,
        source=Source(source),
    )
    check_reading(facts, now)
    values = {**vars(facts), "source": facts.source.value, "block": _block(member, block_id), "note": note}
    row: Reading = Reading.objects.add(farm=member.farm, recorded_at=now, taken_by_id=member.person_id, **values)
    audit.record(farm=member.farm, actor=member, verb="recorded", subject=row, now=now, after=values)
    return row


def _block(member: Member, block_id: int | None) -> land.Block | None:
    if block_id is None:
        return None
    try:
        return land.block(member.farm, block_id)
    except Unknown:
        raise BadInput({"block_id": gettext_noop("This farm has no such block.")}) from None
