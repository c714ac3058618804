"""Season limits of active ingredients: the same stretches and the same tightest limits as the check of a job."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from fractions import Fraction

from apps.crops.queries import crop_facts
from apps.crops.rules import CropFacts
from apps.dashboard.rules import LimitFacts
from apps.land import queries as land
from apps.people.models import Farm
from apps.products.rules import CapPer, IngredientCap, YearBasis
from apps.spraying.history import Labels, events_on
from apps.spraying.rules import CheckFacts, Event, MixLine
from apps.spraying.rules.caps import Stretch, label_caps, stretches
from apps.spraying.rules.saying import grounds
from farmops import clock
from farmops.units import CONTEXT


def limit_facts(farm: Farm, now: datetime) -> list[LimitFacts]:
    """One row for each block and limited ingredient sprayed or booked there; queries do not grow with blocks."""
    today = clock.to_local(now, farm.time_zone).date()
    blocks = list(land.blocks(farm))
    events = events_on(farm, [b.pk for b in blocks], labels=Labels())
    crops = crop_facts([b for b in blocks if b.pk in events], today, today=today)
    return [
        row
        for block in blocks
        if block.pk in events
        for row in _of_block(str(block), events[block.pk], crops[block.pk], farm, now)
    ]


def _of_block(block: str, events: Sequence[Event], crop: CropFacts, farm: Farm, now: datetime) -> list[LimitFacts]:
    """Of each ingredient the limit with the least left, on the piece of ground where that is so."""
    facts = CheckFacts(
        block_name=block,
        zone=clock.zone(farm.time_zone),
        start_at=now,
        end_at=now,
        lines=(),
        site_code=crop.site_code,
        planted_on=crop.planted_on,
        history=tuple(events),
    )
    fullest: dict[str, LimitFacts] = {}
    for piece in grounds(facts).values():
        for cap, line in _caps(piece, crop.site_code):
            for stretch in stretches(facts, piece, _basis(cap)):
                row = _row(block, cap, line, stretch, now)
                best = fullest.get(cap.ingredient)
                if row is not None and (best is None or row.left / row.limit < best.left / best.limit):
                    fullest[cap.ingredient] = row
    return list(fullest.values())


def _basis(cap: IngredientCap) -> YearBasis:
    return YearBasis.CROP if cap.per is CapPer.CROP else cap.year_basis


def _caps(events: Sequence[Event], site_code: str | None) -> list[tuple[IngredientCap, MixLine]]:
    """Every season limit on the labels of what was sprayed or is booked."""
    judged = {(j.line.product_id, j.line.label_ref): j for e in events for j in e.judged}
    return [row for j in judged.values() for per in (CapPer.YEAR, CapPer.CROP) for row in label_caps(j, per, site_code)]


def _row(block: str, cap: IngredientCap, line: MixLine, stretch: Stretch, now: datetime) -> LimitFacts | None:
    """``None`` when nothing that counts against the limit falls into the stretch."""
    used, booked = Fraction(0), Fraction(0)
    for event in stretch.events:
        pounds = event.pounds.get(cap.ingredient, Fraction(0))
        if event.done or (event.starts_at is not None and event.starts_at <= now):
            used += pounds
        else:
            booked += pounds
    if not used and not booked:
        return None
    return LimitFacts(
        block=block,
        ingredient=cap.ingredient,
        limit=Decimal(cap.pounds),
        used=_decimal(used),
        booked=_decimal(booked),
        since=stretch.since,
        until=stretch.until,
        product=line.name,
        unread=", ".join(sorted({name for e in stretch.events for name in e.unread})),
    )


def _decimal(value: Fraction) -> Decimal:
    return CONTEXT.divide(Decimal(value.numerator), Decimal(value.denominator))
