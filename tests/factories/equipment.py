"""Sprayers and calibrations, all invented."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

import factory

from apps.equipment.models import Calibration, Sprayer
from apps.equipment.rules.calibration import good_until
from tests.factories.base import FarmOwnedFactory
from tests.factories.people import FarmFactory, PersonFactory


class SprayerFactory(FarmOwnedFactory):
    """A small boom: four nozzles 20 inches apart, 80 inches (6.6667 ft) wide."""

    class Meta:
        model = Sprayer

    farm = factory.SubFactory(FarmFactory)
    name = factory.Sequence(lambda n: f"Boom {n}")
    method = "boom"
    tank_gal = Decimal("110")
    usable_gal = Decimal("100")
    swath_ft = Decimal("6.6")
    nozzles = 4
    spacing_in = Decimal("20")
    droplet_class = "medium"
    release_height_in = Decimal("20")


class CalibrationFactory(FarmOwnedFactory):
    """Four cups of 64 fl oz in 60 s, 88 ft in 12 s: 2 gal/min at 5 mph over 6.6 ft is 30 gal/ac exactly."""

    class Meta:
        model = Calibration

    sprayer = factory.SubFactory(SprayerFactory)
    farm = factory.SelfAttribute("sprayer.farm")
    measured_on = date(2026, 5, 1)
    good_until = factory.LazyAttribute(lambda o: good_until(o.measured_on, o.sprayer.life_days))
    recorded_at = factory.LazyAttribute(lambda o: datetime(*o.measured_on.timetuple()[:3], 15, tzinfo=UTC))
    recorded_by = factory.SubFactory(PersonFactory)
    catches = factory.LazyFunction(lambda: ["64", "64", "64", "64"])
    catch_unit = "floz"
    seconds = Decimal("60")
    course_ft = Decimal("88")
    run_seconds = factory.LazyFunction(lambda: ["12"])
    pressure_psi = Decimal("40")
    swath_ft = factory.SelfAttribute("sprayer.swath_ft")
    liquid = "water"
    gpa = Decimal("30")
    speed_mph = Decimal("5")
    total_gpm = Decimal("2")
    verdict = "good"
