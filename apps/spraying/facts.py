"""Rows to facts: everything the check of a job rests on, read in a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from apps.crops.queries import crop_facts
from apps.crops.rules import Bloom, CropFacts
from apps.equipment.queries import sprayer_facts
from apps.equipment.rules import SprayerFacts
from apps.equipment.rules.zone import label_method
from apps.inventory import queries as shed
from apps.inventory.rules import in_stock_unit
from apps.land import queries as land
from apps.land.models import Block, SensitivePlace
from apps.land.rules import SensitiveKind, box_around, box_of, distance_ft
from apps.people.models import Farm
from apps.products.models import LabelVersion
from apps.products.queries import label_versions, labels_in_force
from apps.products.rules import Rate
from apps.spraying.history import Labels, events_on, mix_line, planned_rate
from apps.spraying.models import Job, JobBlock, JobProduct, SpraySettings
from apps.spraying.rules import (
    PRESETS,
    BloomNearby,
    CertificateFact,
    CheckFacts,
    Entry,
    FarmPolicy,
    MixLine,
    SprayerFact,
    StockFact,
    TrainingFact,
    Weather,
    Worker,
)
from apps.spraying.rules.ahead import dusk_on, expected_harvest, nights_around
from apps.spraying.rules.outcome import product_needed
from apps.training.queries import credentials
from apps.training.rules import Credentials, TrainingKind, good_through, latest_training
from apps.work.queries import entries_planned
from farmops import clock
from farmops.errors import BadInput
from farmops.units import Quantity


@dataclass(frozen=True, kw_only=True)
class Moment:
    """When a job is judged: its window while planning, the present at the start, the reported times afterwards.

    ``rates`` (job product id -> rate) stand in for the planned ones once amounts are reported;
    ``kept_labels`` judges by the label versions the job already carries; ``stock`` false leaves the shed out.
    """

    start_at: datetime
    end_at: datetime
    now: datetime
    weather: Weather | None = None
    at_start: bool = False
    rates: Mapping[int, Rate] = field(default_factory=dict)
    kept_labels: bool = False
    stock: bool = True


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


def with_drafts(job: Job, found: dict[int, LabelVersion], on_date: date) -> dict[int, LabelVersion]:
    """Where no checked label is in force, the newest unchecked one: the check refuses it and shows all the rest."""
    missing = [r.product_id for r in job.job_products.all() if r.product_id not in found]
    if not missing:
        return found
    drafts = label_versions(job.farm).filter(
        product__in=missing, checked_at=None, withdrawn_at=None, effective_on__lte=on_date
    )
    return {**{row.product_id: row for row in drafts.order_by("number")}, **found}


def check_facts(job: Job, moment: Moment) -> dict[int, CheckFacts]:
    """job block id -> everything the check of that block rests on."""
    return _Gathering(job, moment).facts()


class _Gathering:
    """One reading of everything around a job; each part is read once for all its blocks."""

    def __init__(self, job: Job, moment: Moment) -> None:
        self.job, self.moment, self.farm = job, moment, job.farm
        self.zone = clock.zone(self.farm.time_zone)
        self.day = moment.start_at.astimezone(self.zone).date()
        self.rows: list[JobBlock] = list(job.job_blocks.all())
        self.blocks: list[Block] = [row.block for row in self.rows]
        self.labels = Labels()
        self.settings = settings_of(self.farm)
        self.policy: FarmPolicy = PRESETS[self.settings.preset]
        found = versions_for(job, self.day, kept=moment.kept_labels)
        self.versions = found if moment.kept_labels else with_drafts(job, found, self.day)

    def facts(self) -> dict[int, CheckFacts]:
        near = self._neighbours()
        crops = crop_facts(
            {b.pk: b for b in (*self.blocks, *(n for found in near.values() for n, _ in found))}.values(),
            self.day,
            today=clock.to_local(self.moment.now, self.farm.time_zone).date(),
        )
        history = events_on(self.farm, [b.pk for b in self.blocks], labels=self.labels, but_job=self.job.pk)
        entries = self._entries()
        places = list(land.sensitive_places(self.farm))
        shared = self._shared()
        return {
            row.pk: CheckFacts(
                **shared,
                **self._ground(row.block, places),
                **_crop(crops[row.block_id], entries.get(row.block_id, ()), self.moment.start_at, self.zone),
                block_name=str(row.block),
                parts=frozenset({row.zone}) if row.zone else frozenset(),
                lines=self.lines(crops[row.block_id].site_code),
                history=history.get(row.block_id, ()),
                bloom_nearby=_blooming(near[row.block_id], crops),
            )
            for row in self.rows
        }

    def lines(self, site_code: str | None) -> tuple[MixLine, ...]:
        return tuple(
            mix_line(
                row,
                version=self.versions.get(row.product_id),
                rate=self.moment.rates.get(row.pk) or planned_rate(row),
                labels=self.labels,
                targets=self.job.targets,
                site_code=site_code,
            )
            for row in self.job.job_products.all()
        )

    def _shared(self) -> dict[str, Any]:
        """What is the same for every block of the job."""
        job, moment, farm = self.job, self.moment, self.farm
        latitude, longitude = float(farm.latitude), float(farm.longitude)
        sprayer = sprayer_facts(job.sprayer, self.day)
        known = credentials(farm, [p for p in (job.applicator_id, job.supervisor_id) if p])
        return {
            "zone": self.zone,
            "start_at": moment.start_at,
            "end_at": moment.end_at,
            "at_start": moment.at_start,
            "weather": moment.weather or Weather(wind_mph=job.expected_wind_mph),
            "forecast_high_f": job.expected_high_f,
            "rain_in_hours": job.expected_dry_hours,
            "history_known_from": self.settings.history_known_from,
            "nights": nights_around(latitude, longitude, self.day, self.zone),
            "dusk_at": dusk_on(latitude, longitude, self.day, self.zone),
            "method": label_method(sprayer.method),
            "sprayer": _sprayer(sprayer),
            "spray_gpa": job.spray_gpa,
            "applicator": _worker(known.get(job.applicator_id), self.day),
            "supervisor": _worker(known.get(job.supervisor_id), self.day),
            "supervised": job.supervisor_id is not None,
            "jurisdiction": farm.jurisdiction,
            "water_ph": job.water_ph,
            "surfactant": job.surfactant,
            "stock": self._stock() if moment.stock else None,
            "policy": self.policy,
        }

    def _stock(self) -> dict[int | str, StockFact]:
        job = self.job
        rows = list(job.job_products.all())
        acres = sum((row.planned_acres for row in self.rows), start=Decimal(0))
        have = shed.available(self.farm, [r.product_id for r in rows], source_of(job))
        found: dict[int | str, StockFact] = {}
        for row in rows:
            needed = product_needed(planned_rate(row), acres=acres, spray_gpa=job.spray_gpa)
            if needed is not None:
                found[row.product_id] = StockFact(
                    available=have[row.product_id], needed=self._in_shed_unit(row, needed, have[row.product_id].unit)
                )
        return found

    def _in_shed_unit(self, row: JobProduct, needed: Quantity, unit: str) -> Quantity:
        """Needed amount in the unit of the shed where the label's density allows; else as it is."""
        version = self.versions.get(row.product_id)
        density = self.labels.facts(version).density_lb_per_gal if version is not None else None
        try:
            return Quantity(in_stock_unit(needed, unit, density, field="products"), unit)
        except BadInput:
            return needed

    def _entries(self) -> dict[int, tuple[Entry, ...]]:
        found: dict[int, list[Entry]] = {}
        for e in entries_planned([b.pk for b in self.blocks], self.moment.start_at):
            entry = Entry(at=e.at, activity=e.activity, is_harvest=e.is_harvest, ref=f"task {e.task_id}")
            found.setdefault(e.block_id, []).append(entry)
        return {block_id: tuple(rows) for block_id, rows in found.items()}

    def _neighbours(self) -> dict[int, list[tuple[Block, Decimal]]]:
        """block id -> other blocks within the distance at which bloom matters; one query."""
        feet = self.policy.bee_drift_ft
        if feet is None:
            return {b.pk: [] for b in self.blocks}
        everything = list(land.blocks(self.farm))
        return {b.pk: within(b, everything, feet) for b in self.blocks}

    def _ground(self, block: Block, places: Sequence[SensitivePlace]) -> dict[str, Any]:
        nearby = land.nearest_among(block, places)
        return {
            "water_ft": _nearest(nearby, SensitiveKind.WATER),
            "hive_ft": _nearest(nearby, SensitiveKind.HIVES),
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
        "stage": None if crop.stage is None else f"z{crop.stage}",
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


def _worker(known: Credentials | None, day: date) -> Worker | None:
    if known is None:
        return None
    return Worker(
        name=known.name,
        certificates=tuple(
            CertificateFact(
                number=c.number,
                jurisdiction=c.jurisdiction,
                valid_from=c.valid_from,
                valid_to=c.valid_to,
                categories=c.categories,
                suspended=c.suspended_on(day),
            )
            for c in known.certificates
        ),
        trainings=tuple(
            TrainingFact(topic=t.topic if t.kind is TrainingKind.PRODUCT else t.kind.value, done_on=t.trained_on)
            for t in known.trainings
        ),
        respirator_until=_respirator_until(known, day),
        born_on=known.born_on,
    )


def _respirator_until(known: Credentials, day: date) -> date | None:
    """Last day of clearance, fit test and training together; ``None`` when one of them is not on record."""
    medical, fit, use = (
        latest_training(known, kind, day)
        for kind in (TrainingKind.RESPIRATOR_MEDICAL, TrainingKind.RESPIRATOR_FIT, TrainingKind.RESPIRATOR_USE)
    )
    if medical is None or fit is None or use is None:
        return None
    return min(good_through(fit.trained_on, 12), good_through(use.trained_on, 12))
