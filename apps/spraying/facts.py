"""Rows to facts: everything the check of a job rests on, read in a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from apps.crops.queries import looks_at, planting_facts
from apps.crops.rules import Bloom, CropFacts, Look, PlantingFact, crop_facts_of
from apps.equipment.queries import sprayer_facts
from apps.equipment.rules import SprayerFacts
from apps.equipment.rules.zone import label_method
from apps.inventory import queries as shed
from apps.inventory.rules import in_stock_unit
from apps.land import queries as land
from apps.land.models import Block
from apps.land.rules import SensitiveKind, box_around, box_of, distance_ft
from apps.people.models import Farm
from apps.products.models import LabelVersion
from apps.products.queries import label_versions, labels_in_force
from apps.products.rules import Rate
from apps.spraying.history import Labels, events_on, mix_line, planned_rate
from apps.spraying.models import Job, JobBlock, SpraySettings
from apps.spraying.policies.queries import policy_of
from apps.spraying.programs.lengths import program_sprays
from apps.spraying.rules import (
    BloomNearby,
    CheckFacts,
    Entry,
    Event,
    FarmPolicy,
    MixLine,
    SprayerFact,
    StockFact,
    Weather,
    Worker,
)
from apps.spraying.rules.ahead import dusk_on, expected_harvest, nights_around
from apps.spraying.rules.outcome import product_needed
from apps.spraying.workers import worker_on
from apps.training.queries import credentials
from apps.work.queries import entries_planned
from apps.work.rules import PlannedEntry
from farmops import clock
from farmops.errors import BadInput
from farmops.units import Quantity


@dataclass(frozen=True, kw_only=True)
class Moment:
    """When a job is judged: its window while planning, the present at the start, the reported times afterwards.

    ``rates`` (job product id -> rate) stand in for the planned ones once amounts are reported;
    ``kept_labels`` judges by the label versions the job already carries; ``stock`` false leaves the shed out;
    ``spray_gpa`` is the volume really put on, once gallons are reported.
    """

    start_at: datetime
    end_at: datetime
    now: datetime
    weather: Weather | None = None
    at_start: bool = False
    rates: Mapping[int, Rate] = field(default_factory=dict)
    kept_labels: bool = False
    stock: bool = True
    spray_gpa: Decimal | None = None


def settings_of(farm: Farm) -> SpraySettings:
    """The farm's spray settings; the defaults while nobody has set any."""
    return SpraySettings.objects.for_farm(farm).first() or SpraySettings(farm=farm)


def source_of(job: Job) -> tuple[str, str]:
    """What the shed and the board know a job by."""
    return ("job", str(job.pk))


def versions_for(job: Job, on_date: date, *, kept: bool) -> dict[int, LabelVersion]:
    """product id -> the label version the job is judged by on the day."""
    rows = list(job.job_products.all())
    if kept:
        return {r.product_id: r.label_version for r in rows if r.label_version is not None}
    return labels_in_force(job.farm, [r.product_id for r in rows], on_date)


def check_facts(job: Job, moment: Moment) -> dict[int, CheckFacts]:
    """job block id -> everything the check of that block rests on."""
    return Situation(job, moment).facts()


class Situation:
    """Everything around a job, read once for all its blocks; ``facts`` may be asked for other starts as well.

    ``also`` are further products (of the shed) whose labels are wanted, ``people`` further workers.
    """

    def __init__(self, job: Job, moment: Moment, *, also: Iterable[int] = (), people: Iterable[int] = ()) -> None:
        self.job, self.moment, self.farm = job, moment, job.farm
        self.zone = clock.zone(self.farm.time_zone)
        self.rows: list[JobBlock] = list(job.job_blocks.all())
        self.blocks: list[Block] = [row.block for row in self.rows]
        self.labels = Labels()
        self.settings = settings_of(self.farm)
        self.policy: FarmPolicy = policy_of(self.settings)
        self.also = tuple(also)
        self.known = credentials(self.farm, {p for p in (job.applicator_id, job.supervisor_id, *people) if p})
        self._sprayers: dict[date, SprayerFacts] = {}

    def facts(self, moment: Moment | None = None) -> dict[int, CheckFacts]:
        """job block id -> facts at ``moment``; only work ahead and the sprayer's day are read again for another one."""
        moment = moment or self.moment
        day = self.day(moment)
        crops = self.crops(day)
        entries, shared = self._entries(moment.start_at), self._shared(moment, day)
        return {
            row.pk: CheckFacts(
                **shared,
                **self._ground[row.block_id],
                **_crop(crops[row.block_id], entries.get(row.block_id, ()), moment.start_at, self.zone),
                block_name=str(row.block),
                parts=frozenset({row.zone}) if row.zone else frozenset(),
                lines=self.lines(crops[row.block_id].site_code, moment),
                history=self.history.get(row.block_id, ()),
                program_sprays=self._program_sprays.get(row.block_id),
                bloom_nearby=_blooming(self._near[row.block_id], crops),
            )
            for row in self.rows
        }

    def day(self, moment: Moment) -> date:
        """The farm-local day a job at ``moment`` is judged on."""
        return moment.start_at.astimezone(self.zone).date()

    @cached_property
    def history(self) -> dict[int, tuple[Event, ...]]:
        """block id -> what is or may be on its ground already."""
        return events_on(self.farm, [b.pk for b in self.blocks], labels=self.labels, but_job=self.job.pk)

    @cached_property
    def _program_sprays(self) -> dict[int, int]:
        """block id -> sprays that the season program there plans against the job's targets."""
        return program_sprays(self.farm, [b.pk for b in self.blocks], self.job.targets)

    @cached_property
    def _near(self) -> dict[int, list[tuple[Block, Decimal]]]:
        """block id -> other blocks within the distance at which bloom matters; one query."""
        feet = self.policy.bee_drift_ft
        if feet is None:
            return {b.pk: [] for b in self.blocks}
        everything = list(land.blocks(self.farm))
        return {b.pk: within(b, everything, feet) for b in self.blocks}

    @cached_property
    def _planted(self) -> tuple[dict[int, list[PlantingFact]], dict[int, list[Look]]]:
        around = {b.pk: b for b in (*self.blocks, *(n for found in self._near.values() for n, _ in found))}
        return planting_facts(list(around.values())), looks_at(list(around.values()))

    def crops(self, day: date) -> dict[int, CropFacts]:
        """block id -> the crop on the day, of the job's blocks and their neighbours."""
        planted, looks = self._planted
        today = clock.to_local(self.moment.now, self.farm.time_zone).date()
        return {pk: crop_facts_of(rows, looks[pk], day, today=today) for pk, rows in planted.items()}

    @cached_property
    def _every_version(self) -> dict[int, list[LabelVersion]]:
        """product id -> its label versions that were not withdrawn, the one to go by last."""
        wanted = [*(row.product_id for row in self.job.job_products.all()), *self.also]
        found: dict[int, list[LabelVersion]] = {}
        rows = label_versions(self.farm).filter(product__in=wanted, withdrawn_at=None)
        for row in rows.order_by("effective_on", "number"):
            found.setdefault(row.product_id, []).append(row)
        return found

    def version(self, product_id: int, day: date) -> LabelVersion | None:
        """The checked label version in force; without one the newest unchecked, which the check refuses and reads."""
        rows = [row for row in self._every_version.get(product_id, ()) if row.effective_on <= day]
        checked = [row for row in rows if row.checked_at is not None]
        drafts = sorted(rows, key=lambda row: row.number)
        usable = checked or drafts
        return usable[-1] if usable else None

    @cached_property
    def _kept(self) -> dict[int, LabelVersion]:
        rows = self.job.job_products.all()
        return {row.product_id: row.label_version for row in rows if row.label_version is not None}

    def _version(self, product_id: int, moment: Moment) -> LabelVersion | None:
        return self._kept.get(product_id) if moment.kept_labels else self.version(product_id, self.day(moment))

    def lines(self, site_code: str | None, moment: Moment) -> tuple[MixLine, ...]:
        """The mix as it is judged on a site."""
        return tuple(
            mix_line(
                row,
                version=self._version(row.product_id, moment),
                rate=moment.rates.get(row.pk) or planned_rate(row),
                labels=self.labels,
                targets=self.job.targets,
                site_code=site_code,
            )
            for row in self.job.job_products.all()
        )

    def worker(self, person_id: int | None, day: date) -> Worker | None:
        """A person as the check knows them on the day."""
        return worker_on(self.known.get(person_id or 0), day)

    def _same_family(self) -> bool:
        """Both stand on the farm's list as an owner or of an owner's immediate family; which one is asked there."""
        both = [self.known.get(p or 0) for p in (self.job.applicator_id, self.job.supervisor_id)]
        return all(known is not None and known.family for known in both)

    def sprayer(self, day: date) -> SprayerFacts:
        """The job's sprayer on the day."""
        if day not in self._sprayers:
            self._sprayers[day] = sprayer_facts(self.job.sprayer, day)
        return self._sprayers[day]

    def _shared(self, moment: Moment, day: date) -> dict[str, Any]:
        """What is the same for every block of the job."""
        job, farm, sprayer = self.job, self.farm, self.sprayer(day)
        latitude, longitude = float(farm.latitude), float(farm.longitude)
        as_planned = moment.start_at == self.moment.start_at  # a forecast for one day says nothing about another
        return {
            "zone": self.zone,
            "start_at": moment.start_at,
            "end_at": moment.end_at,
            "at_start": moment.at_start,
            "weather": moment.weather or Weather(wind_mph=job.expected_wind_mph if as_planned else None),
            "forecast_high_f": job.expected_high_f if as_planned else None,
            "rain_in_hours": job.expected_dry_hours if as_planned else None,
            "history_known_from": self.settings.history_known_from,
            "nights": nights_around(latitude, longitude, day, self.zone),
            "dusk_at": dusk_on(latitude, longitude, day, self.zone),
            "method": label_method(sprayer.method),
            "sprayer": _sprayer(sprayer),
            "spray_gpa": moment.spray_gpa or job.spray_gpa,
            "applicator": self.worker(job.applicator_id, day),
            "supervisor": self.worker(job.supervisor_id, day),
            "supervised": job.supervisor_id is not None,
            "same_family": self._same_family(),
            "jurisdiction": farm.jurisdiction,
            "water_ph": job.water_ph,
            "surfactant": job.surfactant,
            "stock": self._stock if moment.stock else None,
            "policy": self.policy,
        }

    @property
    def acres(self) -> Decimal:
        """All acres of the job, as planned."""
        return sum((row.planned_acres for row in self.rows), start=Decimal(0))

    @cached_property
    def have(self) -> dict[int, Quantity]:
        """product id -> what the shed has free for this job."""
        wanted = [*(row.product_id for row in self.job.job_products.all()), *self.also]
        return shed.available(self.farm, wanted, source_of(self.job))

    @cached_property
    def _stock(self) -> dict[int | str, StockFact]:
        found: dict[int | str, StockFact] = {}
        for row in self.job.job_products.all():
            needed = product_needed(planned_rate(row), acres=self.acres, spray_gpa=self.job.spray_gpa)
            if needed is not None:
                have = self.have[row.product_id]
                needed = self._in_shed_unit(row.product_id, needed, have.unit)
                found[row.product_id] = StockFact(available=have, needed=needed)
        return found

    def _in_shed_unit(self, product_id: int, needed: Quantity, unit: str) -> Quantity:
        """Needed amount in the unit of the shed where the label's density allows; else as it is."""
        version = self._version(product_id, self.moment)
        density = self.labels.facts(version).density_lb_per_gal if version is not None else None
        try:
            return Quantity(in_stock_unit(needed, unit, density, field="products"), unit)
        except BadInput:
            return needed

    @cached_property
    def _planned_work(self) -> list[PlannedEntry]:
        return entries_planned([b.pk for b in self.blocks], self.moment.start_at)

    def _entries(self, start_at: datetime) -> dict[int, tuple[Entry, ...]]:
        """block id -> work ahead of the start; whatever is ahead of a later start is ahead of an earlier one too."""
        planned = self._planned_work
        if planned and start_at != self.moment.start_at:
            planned = entries_planned([b.pk for b in self.blocks], start_at)
        found: dict[int, list[Entry]] = {}
        for e in planned:
            entry = Entry(at=e.at, activity=e.activity, is_harvest=e.is_harvest, ref=f"task {e.task_id}")
            found.setdefault(e.block_id, []).append(entry)
        return {block_id: tuple(rows) for block_id, rows in found.items()}

    @cached_property
    def _ground(self) -> dict[int, dict[str, Any]]:
        """block id -> how far water and hives are."""
        places = list(land.sensitive_places(self.farm))
        near = {b.pk: land.nearest_among(b, places) for b in self.blocks}
        return {
            pk: {"water_ft": _nearest(found, SensitiveKind.WATER), "hive_ft": _nearest(found, SensitiveKind.HIVES)}
            for pk, found in near.items()
        }


def within(block: Block, others: Iterable[Block], feet: Decimal | int) -> list[tuple[Block, Decimal]]:
    """Of ``others`` those whose ground comes within ``feet`` of ``block``, with the distance."""
    box = box_around(box_of(block.polygon), feet)
    found = []
    for other in others:
        apart = other.min_lon > box.max_lon or other.max_lon < box.min_lon
        if other.pk == block.pk or apart or other.min_lat > box.max_lat or other.max_lat < box.min_lat:
            continue
        distance = distance_ft(block.polygon, other.polygon)
        if distance <= feet:
            found.append((other, distance))
    return found


def _nearest(nearby: Iterable[land.Nearby], kind: SensitiveKind) -> Decimal | None:
    return min((n.distance_ft for n in nearby if n.kind is kind), default=None)


def _crop(crop: CropFacts, entries: tuple[Entry, ...], start_at: datetime, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "site_code": crop.site_code,
        "crop_name": crop.crop_name,
        "planted_on": crop.planted_on,
        "next_crops": crop.next_crops,
        "bloom": crop.bloom,
        "stage": crop.stage_code or None,
        "stage_also": None if crop.stage is None else f"z{crop.stage}",
        "stage_days": max(crop.stage_days or 0, crop.stage_code_days or 0),
        "crop_height_in": crop.height_in,
        "height_days": crop.height_days or 0,
        "all_mature": crop.all_mature,
        "entries": entries,
        "harvest_at": expected_harvest(
            crop.harvest_from, crop.harvest_to, entries=entries, start_at=start_at, zone=zone
        ),
    }


def _blooming(near: Iterable[tuple[Block, Decimal]], crops: Mapping[int, CropFacts]) -> tuple[BloomNearby, ...]:
    return tuple(
        BloomNearby(name=str(block), distance_ft=feet) for block, feet in near if crops[block.pk].bloom is not Bloom.NO
    )


def _sprayer(facts: SprayerFacts) -> SprayerFact:
    measured = facts.calibration
    return SprayerFact(
        name=facts.name,
        measured_gpa=measured.gpa if measured else None,
        measured_on=measured.measured_on if measured else None,
        good_until=measured.good_until if measured else None,
    )
