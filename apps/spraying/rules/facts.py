"""Everything the check of one block rests on. ``None`` means nobody knows; it never means fine.

Several blocks in one job are several ``CheckFacts``, judged one by one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from zoneinfo import ZoneInfo

from apps.crops.rules import FALLOW_COVER, Bloom, NextCrop
from apps.products.rules import Method
from apps.spraying.rules.mix import Event, Judged, MixLine, judge_all
from apps.spraying.rules.policies import FarmPolicy
from farmops.units import Quantity
from farmops.wording import stamp


@dataclass(frozen=True)
class Span:
    """A stretch of time, half open."""

    starts_at: datetime
    ends_at: datetime

    def holds(self, starts_at: datetime, ends_at: datetime) -> bool:
        """Whether a whole job fits inside."""
        return self.starts_at <= starts_at and ends_at <= self.ends_at


@dataclass(frozen=True, kw_only=True)
class Entry:
    """Work that is scheduled on the block: what kind (an activity code of the field board) and when it begins."""

    at: datetime
    activity: str | None = None
    is_harvest: bool = False
    ref: str = ""


@dataclass(frozen=True, kw_only=True)
class Weather:
    """A reading or a forecast for the start; ``taken_at`` is ``None`` for a forecast."""

    wind_mph: Decimal | None = None
    gust_mph: Decimal | None = None
    temperature_f: Decimal | None = None
    humidity_percent: Decimal | None = None
    taken_at: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class CertificateFact:
    """An applicator certificate; valid from and through its dates, farm-local."""

    number: str
    jurisdiction: str
    valid_from: date
    valid_to: date
    categories: frozenset[str] = frozenset()
    suspended: bool = False


@dataclass(frozen=True, kw_only=True)
class TrainingFact:
    """A training on record: its topic code (``handler``, ``paraquat`` …) and day."""

    topic: str
    done_on: date


@dataclass(frozen=True, kw_only=True)
class Worker:
    """Who applies, or who supervises. ``training_exempt``: owner or immediate family, 40 CFR 170.601(a)."""

    name: str
    person_id: int | None = None
    certificates: tuple[CertificateFact, ...] = ()
    trainings: tuple[TrainingFact, ...] = ()
    training_exempt: bool = False
    respirator_until: date | None = None
    born_on: date | None = None


@dataclass(frozen=True, kw_only=True)
class SprayerFact:
    """The sprayer that is to do it and its last measured rate; no ``measured_on`` = never calibrated."""

    name: str
    measured_gpa: Decimal | None = None
    measured_on: date | None = None
    good_until: date | None = None


@dataclass(frozen=True, kw_only=True)
class StockFact:
    """For one product: what this job may draw on (its own reservation counted in) and what all of the job needs."""

    available: Quantity
    needed: Quantity


@dataclass(frozen=True, kw_only=True)
class BloomNearby:
    """A neighbouring block in bloom, or not known to be out of it."""

    name: str
    distance_ft: Decimal


@dataclass(frozen=True, kw_only=True)
class CheckFacts:
    """One block, one tank mix, one window.

    ``stage`` and ``stage_also`` are one crop's stage on two scales; ``stage_days`` and ``height_days`` are the days
    from the look to the spray: a crop grows on, so an old look cannot tell that a limit is not reached yet.
    """

    block_name: str
    zone: ZoneInfo
    start_at: datetime
    end_at: datetime
    lines: tuple[MixLine, ...]
    site_code: str | None
    crop_name: str = ""
    planted_on: date | None = None
    parts: frozenset[str] = frozenset()
    history: tuple[Event, ...] = ()
    history_known_from: date | None = None
    program_sprays: int | None = None
    next_crops: tuple[NextCrop, ...] = ()
    harvest_at: datetime | None = None
    harvest_activity: str | None = "picking_by_hand"
    all_mature: bool | None = None
    entries: tuple[Entry, ...] = ()
    bloom: Bloom = Bloom.UNKNOWN
    bloom_nearby: tuple[BloomNearby, ...] = ()
    nights: tuple[Span, ...] = ()
    dusk_at: datetime | None = None
    weather: Weather | None = None
    forecast_high_f: Decimal | None = None
    rain_in_hours: Decimal | None = None
    method: Method | None = None
    spray_gpa: Decimal | None = None
    sprayer: SprayerFact | None = None
    water_ft: Decimal | None = None
    hive_ft: Decimal | None = None
    applicator: Worker | None = None
    supervisor: Worker | None = None
    supervised: bool = False
    same_family: bool = False
    jurisdiction: str = ""
    stage: str | None = None
    stage_also: str | None = None
    stage_days: int = 0
    crop_height_in: Decimal | None = None
    height_days: int = 0
    water_ph: Decimal | None = None
    surfactant: bool | None = None
    stock: Mapping[int | str, StockFact] | None = None
    at_start: bool = False
    policy: FarmPolicy = field(default_factory=FarmPolicy)

    @cached_property
    def on_date(self) -> date:
        """The farm-local day of the spray: what labels count days from."""
        return self.start_at.astimezone(self.zone).date()

    @cached_property
    def judged(self) -> tuple[Judged, ...]:
        """Every line that has a label, beside the use it is judged by."""
        return judge_all(self.lines, self.site_code, self.spray_gpa)

    @cached_property
    def is_cash_crop(self) -> bool:
        """Whether something stands here that is meant to be harvested."""
        return self.site_code not in (None, FALLOW_COVER)

    @cached_property
    def planned_event(self) -> Event:
        """The planned spray as an event, to stand in line with the others."""
        return Event(
            on_date=self.on_date,
            lines=self.lines,
            site_code=self.site_code,
            parts=self.parts,
            starts_at=self.start_at,
            ends_at=self.end_at,
            spray_gpa=self.spray_gpa,
            signed=False,
            done=False,
        )

    def local(self, instant: datetime) -> str:
        """An instant for a sentence: worded in farm time and the reader's language when it is shown."""
        return stamp(instant, self.zone.key)
