"""Reading crops and plantings, and turning rows into the facts that other subjects judge by."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from django.db.models import Prefetch, QuerySet

from apps.crops import rules
from apps.crops.models import Crop, Planting, PlantingEvent, ScoutingNote, Variety
from apps.crops.rules import CropFacts, Event, EventKind, Look, PlantingFact, Purpose, Seen, StartedAs, Step
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import one
from farmops import clock


def today(farm: Farm, now: datetime) -> date:
    """The farm's own date at an instant."""
    return clock.to_local(now, farm.time_zone).date()


def crops(farm: Farm) -> QuerySet[Crop]:
    """The farm's crops by name."""
    return Crop.objects.for_farm(farm).order_by("name", "pk")


def crop(farm: Farm, crop_id: int) -> Crop:
    """One crop, or ``Unknown``."""
    return one(crops(farm).filter(pk=crop_id))


def varieties(farm: Farm) -> QuerySet[Variety]:
    """All varieties by name, each with its crop."""
    return Variety.objects.for_farm(farm).select_related("crop").order_by("name", "pk")


def variety(farm: Farm, variety_id: int) -> Variety:
    """One variety, or ``Unknown``."""
    return one(varieties(farm).filter(pk=variety_id))


def standing_events(farm: Farm) -> QuerySet[PlantingEvent]:
    """What was recorded and not withdrawn, in order of days."""
    return (
        PlantingEvent.objects.for_farm(farm)
        .filter(withdrawn_at=None)
        .select_related("recorded_by")
        .order_by("on", "pk")
    )


def plantings(farm: Farm) -> QuerySet[Planting]:
    """Every planting that was not called off, with crop, variety, block and standing events: two queries."""
    return (
        Planting.objects.for_farm(farm)
        .filter(called_off_at=None)
        .select_related("crop", "variety", "block", "block__field")
        .prefetch_related(Prefetch("events", queryset=standing_events(farm)))
        .order_by("planned_on", "pk")
    )


def planting(farm: Farm, planting_id: int) -> Planting:
    """One planting that was not called off, or ``Unknown``."""
    return one(plantings(farm).filter(pk=planting_id))


def notes(farm: Farm) -> QuerySet[ScoutingNote]:
    """Standing scouting notes, newest look first."""
    return (
        ScoutingNote.objects.for_farm(farm)
        .filter(withdrawn_at=None)
        .select_related("recorded_by", "block", "planting__crop")
        .order_by("-looked_on", "-pk")
    )


def note(farm: Farm, note_id: int) -> ScoutingNote:
    """One standing scouting note, or ``Unknown``."""
    return one(notes(farm).filter(pk=note_id))


def as_fact(row: Planting, events: tuple[Event, ...] | None = None) -> PlantingFact:
    """A planting row and its events (as prefetched by ``plantings``, unless given) -> the fact the rules read."""
    if events is None:
        events = tuple(Event(kind=EventKind(e.kind), on=e.on) for e in row.events.all() if e.withdrawn_at is None)
    started_as = StartedAs(row.started_as)
    starts_on = max((e.on for e in events if e.kind is EventKind.SOWN), default=row.planned_on)
    return PlantingFact(
        id=row.pk or 0,
        crop_code=row.crop.code,
        crop_name=row.crop.name,
        variety_name=row.variety.name if row.variety else "",
        purpose=Purpose(row.purpose),
        started_as=started_as,
        planned_on=row.planned_on,
        first_flower_on=rules.first_flower(
            row.first_flower_on,
            planned_on=row.planned_on,
            starts_on=starts_on,
            started_as=started_as,
            crop_days=row.crop.days_to_first_flower,
        ),
        terminate_planned_on=row.terminate_planned_on,
        harvest_from=row.harvest_from,
        harvest_to=row.harvest_to,
        events=events,
    )


def as_look(row: ScoutingNote) -> Look:
    """A scouting row -> the fact the rules read."""
    return Look(
        on=row.looked_on,
        crop_in_bloom=Seen(row.crop_in_bloom),
        weeds_in_bloom=Seen(row.weeds_in_bloom),
        stage=row.stage,
        planting_id=row.planting_id,
    )


def _ids(blocks: Iterable[Block]) -> dict[int, list[int]]:
    """farm id -> block ids."""
    found: dict[int, list[int]] = defaultdict(list)
    for row in blocks:
        found[row.farm_id].append(row.pk)
    return found


def planting_facts(blocks: Sequence[Block]) -> dict[int, list[PlantingFact]]:
    """block id -> all its plantings, for any number of one farm's blocks in two queries."""
    found: dict[int, list[PlantingFact]] = {row.pk: [] for row in blocks}
    for farm_id, ids in _ids(blocks).items():
        for row in plantings(farm_id).filter(block_id__in=ids):  # type: ignore[arg-type]
            found[row.block_id].append(as_fact(row))
    return found


def looks_at(blocks: Sequence[Block]) -> dict[int, list[Look]]:
    """block id -> all standing looks, for any number of one farm's blocks in one query."""
    found: dict[int, list[Look]] = {row.pk: [] for row in blocks}
    for farm_id, ids in _ids(blocks).items():
        for row in ScoutingNote.objects.for_farm(farm_id).filter(withdrawn_at=None, block_id__in=ids):  # type: ignore[arg-type]
            found[row.block_id].append(as_look(row))
    return found


def crop_facts(blocks: Iterable[Block], on_date: date, *, today: date | None = None) -> dict[int, CropFacts]:
    """block id -> the crop on it on a farm-local date: three queries for any number of one farm's blocks.

    Without ``today`` only recorded ends count; give the farm's present date when planning ahead, so
    that a termination planned for later is believed (see ``rules.PlantingFact.lives_on``).
    """
    wanted = list(blocks)
    planted, looks = planting_facts(wanted), looks_at(wanted)
    return {row.pk: rules.crop_facts_of(planted[row.pk], looks[row.pk], on_date, today=today) for row in wanted}


def sequences(blocks: Iterable[Block]) -> dict[int, tuple[Step, ...]]:
    """block id -> what stood, stands and shall stand there, in order: two queries."""
    wanted = list(blocks)
    return {block_id: rules.sequence(facts) for block_id, facts in planting_facts(wanted).items()}
