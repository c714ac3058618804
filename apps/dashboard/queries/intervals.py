"""Each block's sprays and the windows between them, by the rule that also sends the notices."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from apps.crops.queries import crop_facts
from apps.dashboard.rules import Days, IntervalFacts, SprayMark
from apps.land import queries as land
from apps.people.models import Farm
from apps.spraying.facts import settings_of
from apps.spraying.history import Labels, events_on
from apps.spraying.models import SpraySettings
from apps.spraying.rules import Event
from apps.spraying.rules.interval import LOOK_BACK_DAYS, Phase, next_window, protects
from farmops import clock


def interval_facts(farm: Farm, now: datetime) -> list[IntervalFacts]:
    """Every block in use that was sprayed or booked within two months; the query count does not grow with blocks."""
    today = clock.to_local(now, farm.time_zone).date()
    blocks = list(land.blocks(farm))
    events = events_on(farm, [b.pk for b in blocks], labels=Labels(), since=now - timedelta(days=LOOK_BACK_DAYS + 2))
    crops = crop_facts([b for b in blocks if b.pk in events], today, today=today)
    house = settings_of(farm)
    return [
        _facts(str(block), events[block.pk], crops[block.pk].site_code, crops[block.pk].harvest_to, today, house)
        for block in blocks
        if block.pk in events
    ]


def _facts(
    block: str,
    events: Sequence[Event],
    site_code: str | None,
    harvest_to: date | None,
    today: date,
    house: SpraySettings,
) -> IntervalFacts:
    marks = [SprayMark(at=e.starts_at, ref=e.job_ref, done=e.done) for e in events if e.starts_at is not None]
    missed = _missed(events, site_code, house)
    window = None
    if harvest_to is None or harvest_to >= today:
        found = next_window(
            events,
            site_code=site_code,
            today=today,
            from_days=house.interval_from_days,
            to_days=house.interval_to_days,
        )
        if found is not None and found.phase(today) is Phase.MISSED:
            missed.append(Days(first_on=found.opens_on, last_on=found.closes_on))
        elif found is not None:
            window = Days(first_on=found.opens_on, last_on=found.closes_on)
    return IntervalFacts(block=block, sprays=tuple(marks), missed=tuple(missed), window=window)


def _missed(events: Sequence[Event], site_code: str | None, house: SpraySettings) -> list[Days]:
    """The windows after which the next spray of the program came too late."""
    program = sorted(
        (e for e in events if e.done and e.site_code == site_code and protects(e)), key=lambda e: e.on_date
    )
    found = []
    for place, later in enumerate(program[1:], start=1):
        last = program[place - 1]
        window = next_window(
            program[:place],
            site_code=site_code,
            today=last.on_date,
            from_days=house.interval_from_days,
            to_days=house.interval_to_days,
        )
        if window is not None and later.on_date > window.closes_on:
            found.append(Days(first_on=window.opens_on, last_on=window.closes_on))
    return found
