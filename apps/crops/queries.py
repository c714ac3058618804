"""Reading crops and plantings, and turning rows into the facts that other subjects judge by."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from django.db.models import Prefetch, QuerySet

from apps.crops import rules
from apps.crops.models import Crop, Planting, PlantingEvent, ScoutingNote, Variety
from apps.crops.rules import CropFacts, Event, EventKind, Look, PlantingFact, Purpose, Seen, StartedAs, Step
from apps.land import queries as land
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
        stage_code=row.stage_code,
        height_in=row.height_in,
        all_mature=Seen(row.all_mature),
        planting_id=row.planting_id,
    )


def _ground(blocks: Sequence[Block]) -> dict[int, dict[int, list[int]]]:
    """farm id -> {block id: the asked blocks that hold some of its ground}: of a split block, its pieces too."""
    found: dict[int, dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
    farms: dict[int, list[Block]] = defaultdict(list)
    for row in blocks:
        farms[row.farm_id].append(row)
    for farm_id, rows in farms.items():
        for row_id, shares in land.shared_history(farm_id, rows).items():  # type: ignore[arg-type]
            for source_id in shares:
                found[farm_id][source_id].append(row_id)
    return found


def planting_facts(blocks: Sequence[Block]) -> dict[int, list[PlantingFact]]:
    """block id -> all plantings on its ground, for any number of one farm's blocks in two queries.

    What was planted before a block was split or merged counts on what became of it (two more queries then).
    """
    found: dict[int, list[PlantingFact]] = {row.pk: [] for row in blocks}
    for farm_id, ground in _ground(blocks).items():
        for row in plantings(farm_id).filter(block_id__in=list(ground)):  # type: ignore[arg-type]
            for block_id in ground[row.block_id]:
                found[block_id].append(as_fact(row))
    return found


def looks_at(blocks: Sequence[Block]) -> dict[int, list[Look]]:
    """block id -> all standing looks at its ground, for any number of one farm's blocks in one query."""
    found: dict[int, list[Look]] = {row.pk: [] for row in blocks}
    for farm_id, ground in _ground(blocks).items():
        rows = ScoutingNote.objects.for_farm(farm_id)  # type: ignore[arg-type]
        for row in rows.filter(withdrawn_at=None, block_id__in=list(ground)):
            for block_id in ground[row.block_id]:
                found[block_id].append(as_look(row))
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
