"""Short ways to tell what happened to a planting. Dates are of 2026 unless a year is given."""

from __future__ import annotations

from datetime import date
from typing import Any

from apps.crops.rules import Event, EventKind, Look, PlantingFact, Purpose, Seen

BLOOM_START, BLOOM_END = EventKind.BLOOM_START, EventKind.BLOOM_END
SOWN, TERMINATED = EventKind.SOWN, EventKind.TERMINATED
HARVEST_START, HARVEST_END = EventKind.HARVEST_START, EventKind.HARVEST_END


def on(text: str) -> date:
    """``06-01`` is in 2026, ``2025-09-20`` is as it stands."""
    return date.fromisoformat(text if len(text) > 5 else f"2026-{text}")


def maybe(text: str | None) -> date | None:
    return on(text) if text else None


def events(*told: tuple[EventKind, str]) -> tuple[Event, ...]:
    return tuple(Event(kind=kind, on=on(text)) for kind, text in told)


def squash(
    *told: tuple[EventKind, str], planned: str = "06-01", flower: str | None = "07-10", **more: Any
) -> PlantingFact:
    """Winter squash, a cash crop; flowers not before 10 July unless told."""
    base: dict[str, Any] = {
        "id": 1,
        "crop_code": "winter_squash",
        "crop_name": "Winter squash",
        "purpose": Purpose.CASH,
        "planned_on": on(planned),
        "first_flower_on": maybe(flower),
        "events": events(*told),
    }
    return PlantingFact(**(base | more))


def clover(
    *told: tuple[EventKind, str], planned: str = "2025-09-10", flower: str | None = "05-05", **more: Any
) -> PlantingFact:
    """Crimson clover, a cover crop sown the autumn before."""
    return squash(
        *told,
        planned=planned,
        flower=flower,
        **({"id": 2, "crop_code": "crimson_clover", "crop_name": "Crimson clover", "purpose": Purpose.COVER} | more),
    )


def look(when: str, crop: str = "not_looked", weeds: str = "not_looked", **more: Any) -> Look:
    return Look(on=on(when), crop_in_bloom=Seen(crop), weeds_in_bloom=Seen(weeds), **more)
