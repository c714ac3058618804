"""What is typed in the field: readings before the start, and what was really done after it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from apps.land import queries as land
from apps.land.rules import acres_of, overlap_acres, read_polygon
from apps.spraying.history import planned_rate
from apps.spraying.inputs import decimal_typed
from apps.spraying.models import Job, JobBlock, JobProduct
from apps.spraying.rules import Weather
from apps.spraying.rules.outcome import achieved_gpa, check_times, deviation, off_plan, per_acre, percent_text
from apps.weather.rules.readings import COMPASS
from farmops.errors import BadInput, Said, gettext_noop
from farmops.faults import Faults
from farmops.units import PRODUCT_UNITS, Quantity, dimension_of

OVERLAP = Decimal("1.5")
"""More than half as much again as the block holds is a slip, not overlap (project rule)."""
INSIDE = Decimal("0.98")
"""A drawn part must lie in its block but for what a finger on a map misses (project rule)."""


@dataclass(frozen=True, kw_only=True)
class Readings:
    """Wind, temperature and humidity as somebody read them in the field."""

    taken_at: datetime
    wind_mph: Decimal | None = None
    gust_mph: Decimal | None = None
    wind_from: str = ""
    temperature_f: Decimal | None = None
    humidity_percent: Decimal | None = None

    def weather(self) -> Weather:
        return Weather(
            wind_mph=self.wind_mph,
            gust_mph=self.gust_mph,
            temperature_f=self.temperature_f,
            humidity_percent=self.humidity_percent,
            taken_at=self.taken_at,
        )

    def as_json(self) -> dict[str, str]:
        """What is known, as text; the form it is stored in."""
        amounts = {name: f"{value.normalize():f}" for name in _LIMITS if (value := getattr(self, name)) is not None}
        wind = {"wind_from": self.wind_from} if self.wind_from else {}
        return {**amounts, **wind, "taken_at": self.taken_at.isoformat()}


_LIMITS = {"wind_mph": (0, 100), "gust_mph": (0, 150), "temperature_f": (-40, 140), "humidity_percent": (1, 100)}
NEEDED = ("wind_mph", "temperature_f", "humidity_percent")


def read_readings(values: Mapping[str, Any], *, taken_at: datetime, needed: Sequence[str] = NEEDED) -> Readings:
    """Typed readings; ``BadInput`` on each that is missing or cannot be."""
    faults, found = Faults(), {}
    for name, (least, most) in _LIMITS.items():
        typed = values.get(name)
        if typed is None or str(typed).strip() == "":
            if name in needed:
                faults.add(name, gettext_noop("Enter what you read in the field."))
            continue
        found[name] = faults.take(lambda n=name, t=typed, lo=least, hi=most: _reading(t, n, lo, hi))  # type: ignore[misc]
    wind_from = str(values.get("wind_from") or "").strip().lower()
    if wind_from and wind_from not in COMPASS:
        faults.add("wind_from", gettext_noop("Use a compass point the wind comes from, like SW."))
    gust, wind = found.get("gust_mph"), found.get("wind_mph")
    if gust is not None and wind is not None and gust < wind:
        faults.add("gust_mph", gettext_noop("Gusts must be at least the wind."))
    faults.raise_any()
    return Readings(taken_at=taken_at, wind_from=wind_from, **found)


def _reading(typed: object, field: str, least: int, most: int) -> Decimal:
    return decimal_typed(typed, field, minimum=least, maximum=most, places=1)


def stored_readings(kept: Mapping[str, str], taken_at: datetime) -> Readings:
    """Readings again from their stored form; ``taken_at`` for old ones that lack it."""
    amounts = {name: Decimal(kept[name]) for name in _LIMITS if name in kept}
    at = datetime.fromisoformat(kept["taken_at"]) if "taken_at" in kept else taken_at
    return Readings(taken_at=at, wind_from=kept.get("wind_from", ""), **amounts)  # type: ignore[arg-type]


@dataclass(frozen=True, kw_only=True)
class Done:
    """What was done, checked: acres per block line, amount per product line, times and loads."""

    started_at: datetime
    ended_at: datetime
    loads: Decimal
    acres: Mapping[int, Decimal]
    parts: Mapping[int, Mapping[str, Any] | None]
    part_notes: Mapping[int, str]
    amounts: Mapping[int, Quantity]
    end_readings: Readings | None
    deviation_reason: str
    sprayed_gal: Decimal | None = None


def read_done(job: Job, values: Mapping[str, Any], *, now: datetime) -> Done:
    """A typed report of a finished job; ``BadInput`` names every field that cannot be.

    ``values``: ``started_at``, ``ended_at`` (aware), ``loads``, ``blocks`` (``block_id`` with ``treated_acres``
    or a GeoJSON ``part``, ``part_note``), ``products`` (``product_id``, ``amount``, ``unit``), optional end
    readings and ``deviation_reason``. Amounts above a label are taken as they are: the truth must stand.
    """
    faults = Faults()
    faults.take(lambda: check_times(values["started_at"], values["ended_at"], now=now))
    loads = faults.take(lambda: decimal_typed(values["loads"], "loads", maximum=1000, places=2))
    if loads is not None and loads <= 0:
        faults.add("loads", gettext_noop("Must be more than 0."))
    gallons = faults.take(lambda: _gallons(values.get("sprayed_gal")))
    ground = _Ground(job, faults).read(values["blocks"])
    amounts = _amounts(job, values["products"], faults)
    end = faults.take(lambda: read_readings(values, taken_at=values["ended_at"], needed=()))
    faults.raise_any()
    reason = str(values.get("deviation_reason") or "").strip()[:2000]
    _ask_reason(job, sum(ground.acres.values(), start=Decimal(0)), amounts, gallons, reason)
    return Done(
        started_at=values["started_at"],
        ended_at=values["ended_at"],
        loads=loads,
        acres=ground.acres,
        parts=ground.parts,
        part_notes=ground.notes,
        amounts=amounts,
        end_readings=end if end and len(end.as_json()) > 1 else None,
        deviation_reason=reason,
        sprayed_gal=gallons,
    )


def _gallons(typed: object) -> Decimal | None:
    """Gallons sprayed in all; not said is not known."""
    if typed is None or str(typed).strip() == "":
        return None
    found = decimal_typed(typed, "sprayed_gal", maximum=1_000_000, places=2)
    if found <= 0:
        raise BadInput({"sprayed_gal": gettext_noop("Must be more than 0.")})
    return found


class _Ground:
    """The treated area of each block line."""

    def __init__(self, job: Job, faults: Faults) -> None:
        self.job, self.faults = job, faults
        self.acres: dict[int, Decimal] = {}
        self.parts: dict[int, Mapping[str, Any] | None] = {}
        self.notes: dict[int, str] = {}

    def read(self, lines: Sequence[Mapping[str, Any]]) -> _Ground:
        rows = {row.block_id: row for row in self.job.job_blocks.all()}
        given = [line["block_id"] for line in lines]
        if sorted(given) != sorted(rows):
            self.faults.add("blocks", gettext_noop("Say for each block of the job, once, how much was treated."))
            return self
        for place, line in enumerate(lines):
            self._line(f"blocks.{place}", rows[line["block_id"]], line)
        if len(self.acres) == len(rows) and not any(self.acres.values()):
            said = gettext_noop("Nothing was treated. If that is so, sign that nothing was applied instead.")
            self.faults.add("blocks", said)
        return self

    def _line(self, where: str, row: JobBlock, line: Mapping[str, Any]) -> None:
        part = line.get("part")
        drawn = self.faults.take(lambda: self._part(f"{where}.part", row, part)) if part else None
        typed, field = line.get("treated_acres"), f"{where}.treated_acres"
        if typed is None or str(typed).strip() == "":
            acres = acres_of(drawn).quantize(Decimal("0.0001")) if drawn else None
            if acres is None and not part:
                self.faults.add(field, gettext_noop("Enter the acres treated, 0 if none."))
        else:
            acres = self.faults.take(lambda: decimal_typed(typed, field, maximum=100_000, places=4))
        most = max(row.block.planted_acres, row.block.mapped_acres) * OVERLAP
        if acres is not None and acres > most:
            self.faults.add(field, gettext_noop("That is more than the block holds."))
        if acres is not None:
            self.acres[row.pk] = acres
        self.parts[row.pk] = drawn
        self.notes[row.pk] = str(line.get("part_note") or "").strip()[:200]

    def _part(self, where: str, row: JobBlock, part: Any) -> Mapping[str, Any]:
        geometry = read_polygon(part, field=where, near=land.place_of(self.job.farm)).geometry
        if overlap_acres(geometry, row.block.polygon) < acres_of(geometry) * INSIDE:
            raise BadInput({where: gettext_noop("The part drawn must lie inside the block.")})
        return geometry


def _amounts(job: Job, lines: Sequence[Mapping[str, Any]], faults: Faults) -> dict[int, Quantity]:
    rows = {row.product_id: row for row in job.job_products.all()}
    if sorted(line["product_id"] for line in lines) != sorted(rows):
        faults.add("products", gettext_noop("Say for each product of the job, once, how much was used."))
        return {}
    found: dict[int, Quantity] = {}
    for place, line in enumerate(lines):
        row = rows[line["product_id"]]
        amount = faults.take(lambda n=place, t=line: _amount(job, row, f"products.{n}", t))  # type: ignore[misc] # noqa: B023
        if amount is not None:
            found[row.pk] = amount
    if len(found) == len(rows) and not any(q.amount for q in found.values()):
        faults.add("products", gettext_noop("No product was used. If that is so, sign that nothing was applied."))
    return found


def _amount(job: Job, row: JobProduct, where: str, line: Mapping[str, Any]) -> Quantity:
    unit = str(line.get("unit") or "")
    planned = planned_rate(row).per_acre(job.spray_gpa)
    if unit not in PRODUCT_UNITS or (planned is not None and dimension_of(unit) is not planned.dimension):
        alike = [u for u in PRODUCT_UNITS if planned is None or dimension_of(u) is planned.dimension]
        raise BadInput(
            {
                f"{where}.unit": Said(
                    gettext_noop("Use one of: {codes}. (floz is a volume, oz a weight.)"), codes=", ".join(alike)
                )
            }
        )
    return Quantity(decimal_typed(line.get("amount"), f"{where}.amount", maximum=1_000_000, places=4), unit)


def _ask_reason(
    job: Job, acres: Decimal, amounts: Mapping[int, Quantity], gallons: Decimal | None, reason: str
) -> None:
    """More than 5 % off a planned rate or the planned volume needs a word of explanation; it is never corrected."""
    off = []
    if gallons is not None:
        wanted, put_on = Quantity(job.spray_gpa, "gal"), Quantity(achieved_gpa(gallons, acres), "gal")
        if off_plan(wanted, put_on):
            off.append(f"{put_on}/acre of spray, {percent_text(deviation(wanted, put_on))}")
    for row in job.job_products.all():
        planned, used = planned_rate(row).per_acre(job.spray_gpa), per_acre(amounts[row.pk], acres)
        if planned is not None and off_plan(planned, used):
            off.append(f"{row.product.name} {used}/acre, {percent_text(deviation(planned, used))}")
    if off and len(reason) < 5:
        said = Said(gettext_noop("Say why the rate differs from the plan: {rates}."), rates="; ".join(off))
        raise BadInput({"deviation_reason": said})
