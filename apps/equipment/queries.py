"""Reading sprayers: rows to facts, the calibration that counts on a day, and what runs out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import QuerySet

from apps.equipment.models import Calibration, Sprayer
from apps.equipment.rules.calibration import CalibrationFacts, SprayerFacts, in_force, reminder_mark
from apps.equipment.rules.catch import CatchTest, Verdict, judge_catches
from apps.equipment.rules.measuring import Rig
from apps.equipment.rules.zone import DropletClass, ExclusionZone, Method, exclusion_zone
from apps.people import queries as people
from apps.people.models import Farm
from apps.people.queries import one
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, register
from apps.reminders.rules.timing import next_midnight
from farmops import clock
from farmops.errors import gettext_noop
from farmops.units import Quantity

ENDING = register("calibration_ending", Level.INFORMATION)
ENDS_SOON = register("calibration_ends_soon", Level.DO_TODAY)


def today(farm: Farm, now: datetime) -> date:
    """The farm's own calendar day."""
    return clock.to_local(now, farm.time_zone).date()


def sprayers(farm: Farm) -> QuerySet[Sprayer]:
    """Every sprayer of the farm, those in use first, by name."""
    return Sprayer.objects.for_farm(farm).order_by("retired_at", "name", "id")


def sprayer(farm: Farm, sprayer_id: int) -> Sprayer:
    """One sprayer; ``Unknown`` for another farm's."""
    row: Sprayer = one(sprayers(farm).filter(pk=sprayer_id))
    return row


def calibrations(farm: Farm) -> QuerySet[Calibration]:
    """Every calibration of the farm, newest first."""
    rows = Calibration.objects.for_farm(farm).select_related("sprayer", "recorded_by", "voided_by")
    return rows.order_by("-measured_on", "-id")


def calibrations_of(row: Sprayer) -> QuerySet[Calibration]:
    """The calibrations of one sprayer, newest first."""
    return calibrations(row.farm).filter(sprayer=row)


def calibration(farm: Farm, calibration_id: int) -> Calibration:
    """One calibration; ``Unknown`` for another farm's."""
    row: Calibration = one(calibrations(farm).filter(pk=calibration_id))
    return row


def calibration_facts(row: Calibration) -> CalibrationFacts:
    """A calibration row as facts."""
    return CalibrationFacts(
        id=row.pk,
        gpa=row.gpa,
        speed_mph=row.speed_mph,
        pressure_psi=row.pressure_psi,
        measured_on=row.measured_on,
        good_until=row.good_until,
        verdict=Verdict(row.verdict),
        void_on=row.void_on,
        void_because=row.void_because,
    )


def catch_test_of(row: Calibration) -> CatchTest:
    """The cups of a recorded calibration, judged again as they were then."""
    caught = [Quantity(Decimal(text), row.catch_unit).to("floz").amount for text in row.catches]
    return judge_catches(caught, seconds=row.seconds, new_nozzle_gpm=row.new_nozzle_gpm)


def zone_of(facts: SprayerFacts) -> ExclusionZone:
    """How far everybody but the handlers keeps away from this sprayer while it sprays."""
    return exclusion_zone(
        method=facts.method, droplet_class=facts.droplet_class, release_height_in=facts.release_height_in
    )


def rig_of(row: Sprayer) -> Rig:
    """What of the sprayer a calibration is reckoned with."""
    return Rig(
        nozzles=row.nozzles,
        swath_ft=row.swath_ft,
        new_gpm=row.nozzle_new_gpm,
        new_psi=row.nozzle_new_psi,
        spacing_in=row.spacing_in,
    )


def sprayer_facts(row: Sprayer, on_date: date) -> SprayerFacts:
    """The sprayer as it is judged on a farm-local day. One query."""
    return facts_of([row], on_date)[row.pk]


def facts_of(rows: Sequence[Sprayer], on_date: date) -> dict[int, SprayerFacts]:
    """The same for several sprayers of one farm. One query."""
    measured: dict[int, list[CalibrationFacts]] = defaultdict(list)
    if rows:
        found = Calibration.objects.for_farm(rows[0].farm).filter(sprayer__in=rows, measured_on__lte=on_date)
        for line in found:
            measured[line.sprayer_id].append(calibration_facts(line))
    return {row.pk: _facts(row, measured[row.pk], on_date) for row in rows}


def _facts(row: Sprayer, measured: Iterable[CalibrationFacts], on_date: date) -> SprayerFacts:
    counted, why = in_force(measured, on_date)
    return SprayerFacts(
        id=row.pk,
        name=row.name,
        tank_gal=row.tank_gal,
        usable_gal=row.usable_gal,
        swath_ft=row.swath_ft,
        method=Method(row.method),
        droplet_class=DropletClass(row.droplet_class) if row.droplet_class else None,
        release_height_in=row.release_height_in,
        pump_gpm=row.pump_gpm,
        calibration=counted,
        why=why,
    )


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A sprayer beside its facts and how old its calibration is, for lists and pages."""

    sprayer: Sprayer
    facts: SprayerFacts
    age_days: int | None
    days_left: int | None

    @property
    def version(self) -> int:
        """The sprayer's version, for edits."""
        return int(self.sprayer.version)


def standings(farm: Farm, on_date: date) -> list[Standing]:
    """Every sprayer of the farm as it stands on the day. Two queries."""
    rows = list(sprayers(farm).select_related("farm"))
    facts = facts_of(rows, on_date)
    return [standing_from(row, facts[row.pk], on_date) for row in rows]


def standing(row: Sprayer, on_date: date) -> Standing:
    """One sprayer as it stands on the day."""
    return standing_from(row, sprayer_facts(row, on_date), on_date)


def standing_from(row: Sprayer, facts: SprayerFacts, on_date: date) -> Standing:
    """Put age and remaining days beside the facts."""
    counted = facts.calibration
    return Standing(
        sprayer=row,
        facts=facts,
        age_days=(on_date - counted.measured_on).days if counted else None,
        days_left=(counted.good_until - on_date).days if counted else None,
    )


def next_due(farm: Farm, now: datetime) -> datetime:
    """When time alone may change ``due``: with the farm's date."""
    return next_midnight(now, farm.time_zone)


def due(farm: Farm, now: datetime) -> list[Due]:
    """Calibrations that end in 90, 30, 7 or 0 days, for those who may calibrate."""
    told = sorted({*people.person_ids_with(farm, Role.MANAGER), *people.person_ids_with(farm, Role.APPLICATOR)})
    ending = (s for s in standings(farm, today(farm, now)) if s.sprayer.retired_at is None)
    return [found for s in ending if (found := _due(farm, s, told)) is not None]


def _due(farm: Farm, s: Standing, told: list[int]) -> Due | None:
    counted, left = s.facts.calibration, s.days_left
    mark = None if left is None else reminder_mark(left, s.sprayer.life_days)
    if counted is None or mark is None:
        return None
    return Due(
        kind=ENDS_SOON if mark <= 7 else ENDING,
        subject_type="calibration",
        subject_id=counted.id or 0,
        occasion=f"{mark} days before {counted.good_until.isoformat()}",
        person_ids=told,
        template=gettext_noop("The calibration of {sprayer} counts through {until}. Calibrate before then."),
        numbers={"sprayer": s.facts.name, "until": counted.good_until},
        path=f"/f/{farm.slug}/sprayers/{s.sprayer.pk}/",
        at=counted.good_until,
    )
