"""Crops and plantings. ``PlantingFactory(sown_on=…, terminated_on=…)`` records the events too."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import factory

from apps.crops.models import Crop, Planting, PlantingEvent, ScoutingNote, Variety
from tests.factories.base import FarmOwnedFactory
from tests.factories.land import BlockFactory
from tests.factories.people import FarmFactory, PersonFactory

RECORDED_AT = datetime(2026, 6, 1, 12, tzinfo=UTC)


class CropFactory(FarmOwnedFactory):
    """Winter squash unless told; one row for each farm and code."""

    class Meta:
        model = Crop
        django_get_or_create = ("farm", "code")

    farm = factory.SubFactory(FarmFactory)
    code = "winter_squash"
    name = "Winter squash"
    family = "cucurbitaceae"
    days_to_first_flower = 40


class VarietyFactory(FarmOwnedFactory):
    class Meta:
        model = Variety

    farm = factory.SubFactory(FarmFactory)
    crop = factory.SubFactory(CropFactory, farm=factory.SelfAttribute("..farm"))
    name = factory.Sequence(lambda n: f"Variety {n}")


class PlantingFactory(FarmOwnedFactory):
    class Meta:
        model = Planting
        skip_postgeneration_save = True

    farm = factory.SubFactory(FarmFactory)
    block = factory.SubFactory(BlockFactory, farm=factory.SelfAttribute("..farm"))
    crop = factory.SubFactory(CropFactory, farm=factory.SelfAttribute("..farm"))
    purpose = "cash"
    started_as = "seed"
    planned_on = factory.LazyAttribute(lambda o: o.sown_on or date(2026, 6, 1))
    sown_on = None
    terminated_on = None

    @factory.post_generation
    def recorded(self: Any, create: bool, extracted: object, **kwargs: object) -> None:
        """What the columns say also stands as events, because decisions read the events."""
        for kind, on in (("sown", self.sown_on), ("terminated", self.terminated_on)):
            if create and on is not None:
                PlantingEventFactory(planting=self, kind=kind, on=on)


class PlantingEventFactory(FarmOwnedFactory):
    class Meta:
        model = PlantingEvent

    planting = factory.SubFactory(PlantingFactory)
    farm = factory.SelfAttribute("planting.farm")
    kind = "bloom_start"
    on = date(2026, 7, 10)
    recorded_at = RECORDED_AT
    recorded_by = factory.SubFactory(PersonFactory)


class ScoutingNoteFactory(FarmOwnedFactory):
    class Meta:
        model = ScoutingNote

    block = factory.SubFactory(BlockFactory)
    farm = factory.SelfAttribute("block.farm")
    looked_on = date(2026, 7, 10)
    recorded_at = RECORDED_AT
    recorded_by = factory.SubFactory(PersonFactory)
