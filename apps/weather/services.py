"""What is done about the weather: it is read, and rain is measured."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.db import transaction

from apps.audit import services as audit
from apps.land import queries as land
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.weather.models import Rainfall, Reading
from apps.weather.rules.rain import Gauge, check_rainfall
from apps.weather.rules.readings import ReadingFacts, Source, check_reading
from farmops.errors import BadInput, NotYourRole, Unknown, gettext_noop


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


@transaction.atomic
def record_rainfall(
    *,
    member: Member,
    from_at: datetime,
    until_at: datetime,
    inches: Decimal,
    now: datetime,
    block_id: int | None = None,
    source: str = Gauge.GAUGE.value,
    note: str = "",
) -> Rainfall:
    """Record what a gauge caught since it was last empty, on a block or for the farm at large; 0 is a reading too."""
    member.require(Can.SCOUT)
    check_rainfall(from_at=from_at, until_at=until_at, inches=inches, now=now)
    values = {
        "block": _block(member, block_id),
        "from_at": from_at,
        "until_at": until_at,
        "inches": inches,
        "source": Gauge(source).value,
        "note": note.strip()[:200],
    }
    row: Rainfall = Rainfall.objects.add(farm=member.farm, recorded_at=now, read_by_id=member.person_id, **values)
    audit.record(farm=member.farm, actor=member, verb="recorded", subject=row, now=now, after=values)
    return row


@transaction.atomic
def withdraw_rainfall(*, member: Member, rainfall_id: int, reason: str, now: datetime) -> Rainfall:
    """Take back a wrong reading, with the reason; one's own, or any by a manager. The row stays."""
    member.require(Can.SCOUT)
    rows = Rainfall.objects.for_farm(member.farm).select_for_update().filter(pk=rainfall_id, withdrawn_at=None)
    row: Rainfall = one(rows)
    if row.read_by_id != member.person_id and not member.can(Can.EDIT_CROPS):
        raise NotYourRole(gettext_noop("Only who recorded this reading or a manager may withdraw it."))
    if not reason.strip():
        raise BadInput({"reason": gettext_noop("Enter why this entry is wrong.")})
    row.withdrawn_at = now
    row.save(update_fields=["withdrawn_at"])
    audit.record(
        farm=member.farm, actor=member, verb="withdrew", subject=row, now=now, after={"reason": reason.strip()}
    )
    return row
