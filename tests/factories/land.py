"""Ground, all invented. Blocks lie side by side on a grid near the factory farm, never on each other."""

from __future__ import annotations

from typing import Any

import factory

from apps.land.models import Block, Field, SensitivePlace
from apps.land.rules import acres_of, box_of
from tests.factories.base import FarmOwnedFactory
from tests.factories.people import FarmFactory

SIDE = 0.002  # degrees: about 9.4 acres at 40 degrees north
GAP = 0.001


def square(west: float, south: float, side: float = SIDE) -> dict[str, Any]:
    """A counter-clockwise GeoJSON square from its south-west corner."""
    east, north = round(west + side, 6), round(south + side, 6)
    return {
        "type": "Polygon",
        "coordinates": [[[west, south], [east, south], [east, north], [west, north], [west, south]]],
    }


def plot(number: int) -> dict[str, Any]:
    """The outline of grid plot ``number``, ten to a row."""
    row, column = divmod(number, 10)
    return square(round(-86.25 + column * (SIDE + GAP), 6), round(40.25 + row * (SIDE + GAP), 6))


class FieldFactory(FarmOwnedFactory):
    class Meta:
        model = Field

    farm = factory.SubFactory(FarmFactory)
    name = factory.Sequence(lambda n: f"Field {n}")


class BlockFactory(FarmOwnedFactory):
    """A block; give ``polygon`` and the acres and corners follow from it."""

    class Meta:
        model = Block

    farm = factory.SubFactory(FarmFactory)
    field = factory.SubFactory(FieldFactory, farm=factory.SelfAttribute("..farm"))
    name = factory.Sequence(lambda n: f"Block {n}")
    code = factory.Sequence(lambda n: f"B{n}")
    polygon = factory.Sequence(plot)
    mapped_acres = factory.LazyAttribute(lambda o: acres_of(o.polygon))
    planted_acres = factory.LazyAttribute(lambda o: round(o.mapped_acres, 4))
    min_lon = factory.LazyAttribute(lambda o: box_of(o.polygon).min_lon)
    min_lat = factory.LazyAttribute(lambda o: box_of(o.polygon).min_lat)
    max_lon = factory.LazyAttribute(lambda o: box_of(o.polygon).max_lon)
    max_lat = factory.LazyAttribute(lambda o: box_of(o.polygon).max_lat)


class SensitivePlaceFactory(FarmOwnedFactory):
    class Meta:
        model = SensitivePlace

    farm = factory.SubFactory(FarmFactory)
    kind = "hives"
    name = factory.Sequence(lambda n: f"Hives {n}")
    geometry = factory.LazyFunction(lambda: {"type": "Point", "coordinates": [-86.26, 40.26]})
    min_lon = factory.LazyAttribute(lambda o: box_of(o.geometry).min_lon)
    min_lat = factory.LazyAttribute(lambda o: box_of(o.geometry).min_lat)
    max_lon = factory.LazyAttribute(lambda o: box_of(o.geometry).max_lon)
    max_lat = factory.LazyAttribute(lambda o: box_of(o.geometry).max_lat)
