"""People, ground, crops, labels, shed and machines of the demo farm."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings

from apps.crops import services as crops
from apps.crops.models import Crop, Planting, Variety
from apps.equipment import services as equipment
from apps.equipment.models import Sprayer
from apps.equipment.rules.measuring import Readings
from apps.inventory import services as shed
from apps.land import services as land
from apps.land.models import Block
from apps.people import services as people
from apps.people.models import Farm, Membership, Person
from apps.people.queries import Member, active_member_for_person
from apps.people.rules import Role
from apps.products import services as products
from apps.products.models import Product
from farmops import clock
from farmops.units import Quantity

MEASURES = (
    "tank_gal",
    "usable_gal",
    "swath_ft",
    "spacing_in",
    "nozzle_new_gpm",
    "nozzle_new_psi",
    "release_height_in",
)
FIXTURES: Path = settings.BASE_DIR / "fixtures"


@dataclass
class Stage:
    """What has been put on stage so far; ``now`` is the moment of loading."""

    now: datetime
    book: dict[str, Any]
    farm: Farm | None = None
    cast: dict[str, Member] = field(default_factory=dict)
    blocks: dict[str, Block] = field(default_factory=dict)
    products: dict[str, Product] = field(default_factory=dict)
    sprayer: Sprayer | None = None

    @property
    def zone(self) -> str:
        return str(self.book["farm"]["time_zone"])

    @property
    def today(self) -> date:
        return clock.to_local(self.now, self.zone).date()

    def day(self, offset: int) -> date:
        return self.today + timedelta(days=offset)

    def days_ago(self, offset: int) -> datetime:
        """The instant ``offset`` days from now (negative: before), for ``now`` of a past action."""
        return self.now + timedelta(days=offset)

    @property
    def manager(self) -> Member:
        return self.cast["marta"]


def read_book() -> dict[str, Any]:
    book: dict[str, Any] = json.loads((FIXTURES / "demo_farm.json").read_text())
    book["labels"] = json.loads((FIXTURES / "demo_labels.json").read_text())
    return book


def people_and_farms(stage: Stage) -> None:
    """The cast, its farm, and a second farm so that one book can be seen to hold two."""
    book, past = stage.book, stage.days_ago(-400)
    for line in book["people"]:
        roles = line["roles"]
        who = {k: v for k, v in line.items() if k != "roles"}
        person = Person.objects.create_user(**who, password=book["password"])
        if stage.farm is None:
            stage.farm = people.open_farm(person=person, now=past, **book["farm"])
        else:
            _join(stage, person, roles, past)
        stage.cast[line["username"]] = active_member_for_person(stage.farm, person.pk)
    iris = Person.objects.create_user(
        username="iris", full_name=book["other_farm"]["contact_name"], password=book["password"]
    )
    other = people.open_farm(person=iris, now=past, **book["other_farm"])
    noel = Person.objects.get(username="noel")
    Membership.objects.add(farm=other, person=noel, is_applicator=True)


def _join(stage: Stage, person: Person, roles: list[str], past: datetime) -> None:
    _row, code = people.invite(
        member=stage.manager, full_name=person.full_name, email=person.email, roles=[Role(r) for r in roles], now=past
    )
    people.accept_invitation(code=code, now=past, person=person, new=None)


def ground(stage: Stage) -> None:
    member, past = stage.manager, stage.days_ago(-400)
    for line in stage.book["fields"]:
        row = land.add_field(member=member, name=line["name"], now=past)
        for block in line["blocks"]:
            made, _notes = land.add_block(member=member, field_id=row.pk, now=past, **block)
            stage.blocks[block["code"]] = made
    for place in stage.book["sensitive_places"]:
        land.add_place(member=member, now=past, **place)


def crops_and_scouting(stage: Stage) -> None:
    member, past = stage.manager, stage.days_ago(-400)
    kinds: dict[str, Crop] = {}
    for line in stage.book["crops"]:
        facts = {k: v for k, v in line.items() if k != "varieties"}
        kinds[line["code"]] = crops.add_crop(member=member, now=past, **facts)
        for name in line["varieties"]:
            crops.add_variety(member=member, crop_id=kinds[line["code"]].pk, name=name, now=past)
    for line in stage.book["plantings"]:
        _planting(stage, line, kinds[line["crop"]])
    for line in stage.book["scouting"]:
        crops.record_scouting(
            member=stage.cast["noel"],
            block_id=stage.blocks[line["block"]].pk,
            looked_on=stage.day(line["on"]),
            crop_in_bloom=line["crop_in_bloom"],
            weeds_in_bloom=line["weeds_in_bloom"],
            text=line["text"],
            now=min(stage.now, stage.days_ago(line["on"])),
        )


def _planting(stage: Stage, line: dict[str, Any], crop: Crop) -> None:
    variety = Variety.objects.for_farm(crop.farm).filter(crop=crop).first()
    until = {name: stage.day(line[name]) for name in ("harvest_from", "harvest_to") if name in line}
    made: Planting = crops.plan_planting(
        member=stage.manager,
        block_id=stage.blocks[line["block"]].pk,
        crop_id=crop.pk,
        purpose=line["purpose"],
        planned_on=stage.day(line["planned_on"]),
        variety_id=variety.pk if variety else None,
        now=stage.days_ago(min(0, line["planned_on"])),
        **until,
    )
    for event in sorted(line["events"], key=lambda e: e["on"]):
        crops.record_planting_event(
            member=stage.manager,
            planting_id=made.pk,
            kind=event["kind"],
            on=stage.day(event["on"]),
            now=min(stage.now, stage.days_ago(event["on"] + 1)),
        )


def label_library(stage: Stage) -> None:
    """Every demo label is entered by the manager and checked by another named person."""
    past = stage.days_ago(-330)
    library = {**stage.book["labels"], "effective_on": stage.day(-340).isoformat()}
    for draft in products.take_library(member=stage.manager, library=library, now=past):
        products.check_label(
            member=stage.cast["devin"],
            label_id=draft.pk,
            body_hash=draft.body_hash,
            checked_against="invented demo label, no paper exists",
            now=past + timedelta(hours=2),
        )
        stage.products[draft.product.name] = draft.product


def shed_and_machine(stage: Stage) -> None:
    for line in stage.book["deliveries"]:
        shed.receive_delivery(
            member=stage.manager,
            product_id=stage.products[line["product"]].pk,
            lot_number=line["lot"],
            quantity=Quantity(Decimal(line["amount"]), line["unit"]),
            received_on=stage.day(line["on"]),
            expires_on=stage.day(line["expires"]),
            now=stage.days_ago(line["on"]),
        )
    values = dict(stage.book["sprayer"])
    for name in (
        "tank_gal",
        "usable_gal",
        "swath_ft",
        "spacing_in",
        "nozzle_new_gpm",
        "nozzle_new_psi",
        "release_height_in",
    ):
        values[name] = Decimal(values[name])
    stage.sprayer = equipment.add_sprayer(member=stage.manager, now=stage.days_ago(-300), **values)
    _calibrate(stage, stage.book["calibration"])


def _calibrate(stage: Stage, line: dict[str, Any]) -> None:
    assert stage.sprayer is not None
    readings = Readings(
        catches=tuple(Decimal(c) for c in line["catches"]),
        catch_unit=line["catch_unit"],
        seconds=Decimal(line["seconds"]),
        course_ft=Decimal(line["course_ft"]),
        run_seconds=tuple(Decimal(s) for s in line["run_seconds"]),
        pressure_psi=Decimal(line["pressure_psi"]),
        wanted_gpa=Decimal(line["wanted_gpa"]),
    )
    equipment.record_calibration(
        member=stage.cast["devin"],
        sprayer_id=stage.sprayer.pk,
        measured_on=stage.day(line["on"]),
        readings=readings,
        conditions=line["conditions"],
        reason="",
        now=stage.days_ago(line["on"] + 1),
    )
