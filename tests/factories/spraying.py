"""A farm ready to spray, and jobs brought to each state through the services, as people would bring them there.

Everything is invented. ``NOW`` is Monday 6 July 2026, 7:00 AM on the farm (America/Chicago); the usual
window is 8 to 11 AM that day.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import factory

from apps.crops.models import Crop
from apps.equipment.models import Sprayer
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import Member
from apps.products.models import LabelVersion, Product
from apps.spraying import services
from apps.spraying.models import Job, SprayRecord, SpraySettings
from apps.spraying.rules.record import Meaning
from apps.spraying.services.sign import shown
from apps.training.models import Certificate
from tests.factories.base import FarmOwnedFactory
from tests.factories.crops import CropFactory, PlantingFactory
from tests.factories.equipment import CalibrationFactory, SprayerFactory
from tests.factories.inventory import stocked
from tests.factories.land import BlockFactory, square
from tests.factories.people import FarmFactory
from tests.factories.products import LabelFactory, ProductFactory, label_document

NOW = datetime(2026, 7, 6, 12, 0, tzinfo=UTC)
WINDOW = (NOW + timedelta(hours=1), NOW + timedelta(hours=4))
STARTED = NOW + timedelta(hours=1, minutes=10)
ENDED = NOW + timedelta(hours=2, minutes=40)
REPORTED = ENDED + timedelta(minutes=5)
SIGNED = ENDED + timedelta(minutes=30)
PASSWORD = "a-long-password"
READINGS = {"wind_mph": "5", "wind_from": "sw", "temperature_f": "72", "humidity_percent": "60"}


def shield_document(**changes: Any) -> dict[str, Any]:
    """A quiet fungicide label on winter squash: 12 h, 3 days, a week between uses."""
    return label_document(bee_class="none", contains_oil=False, wind_max_mph="10", **changes)


class SpraySettingsFactory(FarmOwnedFactory):
    class Meta:
        model = SpraySettings

    farm = factory.SubFactory(FarmFactory)
    history_known_from = date(2025, 1, 1)


class JobFactory(FarmOwnedFactory):
    """A bare job row for tests of lists and constraints; jobs that are to be acted on come from ``Bench``."""

    class Meta:
        model = Job

    farm = factory.SubFactory(FarmFactory)
    number = factory.Sequence(lambda n: n + 1)
    sprayer = factory.SubFactory(SprayerFactory, farm=factory.SelfAttribute("..farm"))
    window_starts_at = WINDOW[0]
    window_ends_at = WINDOW[1]
    spray_gpa = Decimal("30")
    created_by = factory.SubFactory("tests.factories.people.PersonFactory")


@dataclass
class Bench:
    """Everything a job needs on one farm: two blocks of squash, a product in stock, a sprayer, a card."""

    farm: Farm
    manager: Member
    applicator: Member
    crop: Crop
    blocks: list[Block]
    product: Product
    label: LabelVersion
    sprayer: Sprayer
    readings: dict[str, str] = field(default_factory=lambda: dict(READINGS))

    def product_of(self, name: str, document: dict[str, Any], *, amount: str = "5", unit: str = "gal") -> Product:
        """Another product with a checked label, and stock of it."""
        product = ProductFactory(farm=self.farm, name=name, kind=document["kind"])
        LabelFactory(product=product, number=1, document=document)
        stocked(self.manager, product, amount, unit, now=NOW)
        return product

    def plan_values(self, **changes: Any) -> dict[str, Any]:
        """What ``plan_job`` takes: 5 fl oz an acre on the first block, Monday 8 to 11 AM."""
        return {
            "blocks": [{"block_id": self.blocks[0].pk}],
            "products": [line(self.product)],
            "targets": [],
            "sprayer_id": self.sprayer.pk,
            "applicator_id": self.applicator.person_id,
            "window_starts_at": WINDOW[0],
            "window_ends_at": WINDOW[1],
            **changes,
        }

    def planned(self, *, now: datetime = NOW, **changes: Any) -> Job:
        return services.plan_job(member=self.manager, now=now, **self.plan_values(**changes))

    def assigned(self, *, reason: str = "as planned for the week", now: datetime = NOW, **changes: Any) -> Job:
        job = self.planned(now=now, **changes)
        return services.assign_job(member=self.manager, job_id=job.pk, reason=reason, now=now)

    def spraying(self, *, at: datetime = STARTED, **changes: Any) -> Job:
        job = self.assigned(**changes)
        return services.start_spraying(
            member=self.applicator, job_id=job.pk, readings=self.readings, reason="looked all round", now=at
        )

    def done_values(self, job: Job, **changes: Any) -> dict[str, Any]:
        """All planned acres at the planned rate."""
        acres = sum((row.planned_acres for row in job.job_blocks.all()), start=Decimal(0))
        return {
            "started_at": STARTED,
            "ended_at": ENDED,
            "loads": "3",
            "blocks": [
                {"block_id": row.block_id, "treated_acres": str(row.planned_acres)} for row in job.job_blocks.all()
            ],
            "products": [
                {
                    "product_id": row.product_id,
                    "amount": str((row.rate_amount * acres).quantize(Decimal("0.01"))),
                    "unit": row.rate_unit,
                }
                for row in job.job_products.all()
            ],
            **changes,
        }

    def sprayed(self, *, now: datetime = REPORTED, done: dict[str, Any] | None = None, **changes: Any) -> Job:
        job = self.spraying(**changes)
        return services.finish_spraying(
            member=self.applicator, job_id=job.pk, done=self.done_values(job, **(done or {})), now=now
        )

    def sign(
        self,
        job: Job,
        *,
        by: Member | None = None,
        now: datetime = SIGNED,
        meaning: Meaning = Meaning.APPLIED,
        **changes: Any,
    ) -> SprayRecord:
        """Read back and sign, as the page does."""
        member = by or self.applicator
        _, body_hash, _ = shown(job, member, meaning)
        typed = {"password": PASSWORD, "checked": True, "body_hash": body_hash, **changes}
        if meaning is Meaning.NOT_APPLIED:
            typed = {"reason": "rain came in", **typed}
            return services.sign_not_applied(member=member, job_id=job.pk, now=now, **typed)
        if meaning is Meaning.VOIDED:
            return services.void_signature(member=member, job_id=job.pk, now=now, **{"reason": "wrong field", **typed})
        return services.sign_off(member=member, job_id=job.pk, now=now, **typed)

    def signed(self, *, now: datetime = SIGNED, **changes: Any) -> SprayRecord:
        return self.sign(self.sprayed(**changes), now=now)


def line(product: Product, amount: str = "5", unit: str = "floz", basis: str = "per_acre") -> dict[str, Any]:
    """A product line of a plan."""
    return {"product_id": product.pk, "rate_amount": amount, "rate_unit": unit, "rate_basis": basis}


def certify(
    farm: Farm,
    person_id: int,
    number: str,
    *,
    valid_from: date = date(2025, 1, 1),
    valid_to: date = date(2026, 12, 31),
) -> Certificate:
    """A private applicator's certificate of the farm's own state."""
    return Certificate.rows.create(
        farm=farm,
        person_id=person_id,
        number=number,
        jurisdiction=farm.jurisdiction,
        kind="private",
        valid_from=valid_from,
        valid_to=valid_to,
        recorded_at=NOW,
        recorded_by_id=person_id,
    )


def bench_for(cast: Any) -> Bench:
    """The cast's farm, ready to spray."""
    farm = cast.farm
    crop = CropFactory(farm=farm)
    blocks = [BlockFactory(farm=farm, code=f"N{n}", name=f"North {n}", polygon=plot_of(n)) for n in (1, 2)]
    for block in blocks:
        PlantingFactory(
            farm=farm,
            block=block,
            crop=crop,
            sown_on=date(2026, 6, 10),
            harvest_from=date(2026, 9, 10),
            harvest_to=date(2026, 10, 10),
        )
    product = ProductFactory(farm=farm, name="Demo Shield")
    label = LabelFactory(product=product, number=1, document=shield_document())
    stocked(cast.manager, product, "5", "gal", now=NOW)
    sprayer = SprayerFactory(farm=farm, name="Blue boom")
    CalibrationFactory(sprayer=sprayer)
    certify(farm, cast.applicator.person_id, "12345")
    SpraySettingsFactory(farm=farm)
    return Bench(
        farm=farm,
        manager=cast.manager,
        applicator=cast.applicator,
        crop=crop,
        blocks=blocks,
        product=product,
        label=label,
        sprayer=sprayer,
    )


def plot_of(number: int) -> dict[str, Any]:
    """A square far enough from the factories' own grid."""
    return square(round(-86.20 + number * 0.01, 6), 40.20)
