"""What somebody typed as a plan, checked against the farm: every fault at its own field."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from apps.equipment import queries as equipment
from apps.land import queries as land
from apps.land.models import Block
from apps.people import queries as people
from apps.people.models import Farm
from apps.people.rules import Role
from apps.products.models import Product
from apps.products.rules import RateBasis
from farmops import clock
from farmops.errors import BadInput, Said, Unknown, gettext_noop, one_of
from farmops.faults import Faults
from farmops.units import PRODUCT_UNITS, number

MOST_BLOCKS, MOST_PRODUCTS, MOST_TARGETS = 60, 10, 10
EXPECTED = {"expected_wind_mph": (0, 100), "expected_high_f": (-40, 140), "expected_dry_hours": (0, 240)}
LONGEST_WINDOW = timedelta(hours=24)
FARTHEST = timedelta(days=400)
_CODE = re.compile(r"^[a-z][a-z0-9_]{1,39}$")


class Plan(Faults):
    """What was typed, checked against the farm: all faults together, each at its field."""

    def __init__(self, farm: Farm, now: datetime) -> None:
        super().__init__()
        self.farm, self.now = farm, now
        self.values: dict[str, Any] = {}
        self.blocks: list[dict[str, Any]] = []
        self.products: list[dict[str, Any]] = []

    def read(
        self, values: Mapping[str, Any], blocks: Sequence[Mapping[str, Any]], products: Sequence[Mapping[str, Any]]
    ) -> Plan:
        self.values = {
            **{name: values[name] for name in ("window_starts_at", "window_ends_at")},
            "targets": self._targets(values["targets"]),
            "surfactant": bool(values["surfactant"]),
            "notes": str(values["notes"] or "").strip()[:4000],
        }
        for name, (least, most) in EXPECTED.items():
            self.values[name] = self._optional(values[name], name, minimum=least, maximum=most, places=1)
        self._window(values["window_starts_at"], values["window_ends_at"])
        self._people(values["applicator_id"], values["supervisor_id"])
        self._machine(values)
        self._ground(blocks)
        self._mix(products)
        self.raise_any()
        return self

    def _targets(self, typed: Sequence[str]) -> list[str]:
        codes = [re.sub(r"[\s-]+", "_", str(t).strip().lower()) for t in typed if str(t).strip()]
        if any(not _CODE.fullmatch(code) for code in codes) or len(codes) > MOST_TARGETS:
            self.add("targets", gettext_noop("Name up to 10 pests or diseases in plain letters, like powdery mildew."))
        return list(dict.fromkeys(codes))

    def _window(self, starts_at: datetime, ends_at: datetime) -> None:
        if ends_at <= starts_at:
            self.add("window_ends_at", gettext_noop("The window must end after it begins."))
        elif ends_at - starts_at > LONGEST_WINDOW:
            said = gettext_noop("A window lasts 24 hours at most; plan each day as a job of its own.")
            self.add("window_ends_at", said)
        if ends_at <= self.now:
            self.add("window_ends_at", gettext_noop("The window must not be over already."))
        elif starts_at > self.now + FARTHEST:
            self.add("window_starts_at", gettext_noop("The window must begin within 400 days."))

    def _people(self, applicator_id: int | None, supervisor_id: int | None) -> None:
        self.values |= {"applicator_id": applicator_id, "supervisor_id": supervisor_id}
        for field, person_id in (("applicator_id", applicator_id), ("supervisor_id", supervisor_id)):
            if person_id is not None and not self._is_applicator(person_id):
                self.add(field, gettext_noop("Choose somebody who works on this farm as an applicator."))
        if applicator_id is not None and applicator_id == supervisor_id:
            self.add("supervisor_id", gettext_noop("The supervisor must be another person than the applicator."))
        if supervisor_id is not None and applicator_id is None:
            self.add("applicator_id", gettext_noop("Say who applies before you say who supervises."))

    def _is_applicator(self, person_id: int) -> bool:
        try:
            return Role.APPLICATOR in people.active_member_for_person(self.farm, person_id).roles
        except Unknown:
            return False

    def _machine(self, values: Mapping[str, Any]) -> None:
        self.values["water_ph"] = self._optional(values["water_ph"], "water_ph", maximum=14, places=2)
        try:
            sprayer = equipment.sprayer(self.farm, values["sprayer_id"])
        except Unknown:
            self.add("sprayer_id", gettext_noop("There is no such sprayer on this farm."))
            return
        if sprayer.retired_at is not None:
            self.add("sprayer_id", gettext_noop("This sprayer is no longer in use."))
        self.values["sprayer_id"] = sprayer.pk
        gpa = self._optional(values["spray_gpa"], "spray_gpa", maximum=1000, places=3)
        day = values["window_starts_at"].astimezone(clock.zone(self.farm.time_zone)).date()
        measured = equipment.sprayer_facts(sprayer, day).calibration if gpa is None else None
        gpa = gpa if measured is None else measured.gpa.quantize(Decimal("0.01"))
        if gpa is None or gpa <= 0:
            said = gettext_noop("Enter the spray volume, more than 0: this sprayer has no calibration to take it from.")
            self.errors.setdefault("spray_gpa", [said])
        self.values["spray_gpa"] = gpa

    def _optional(self, value: object, field: str, *, maximum: int, places: int, minimum: int = 0) -> Decimal | None:
        if value is None or str(value).strip() == "":
            return None
        found: Decimal | None = self.take(
            lambda: decimal_typed(value, field, minimum=minimum, maximum=maximum, places=places)
        )
        return found

    def _ground(self, lines: Sequence[Mapping[str, Any]]) -> None:
        ids = [line["block_id"] for line in lines]
        if not lines or len(lines) > MOST_BLOCKS:
            self.add("blocks", gettext_noop("Choose 1 to 60 blocks."))
            return
        if len(set(ids)) != len(ids):
            self.add("blocks", gettext_noop("Each block stands in a job once."))
            return
        try:
            found = land.blocks_by_id(self.farm, ids)
        except Unknown:
            self.add("blocks", gettext_noop("There is no such block on this farm."))
            return
        for place, line in enumerate(lines):
            self._block(f"blocks.{place}", found[line["block_id"]], line)

    def _block(self, where: str, block: Block, line: Mapping[str, Any]) -> None:
        if block.archived:
            self.add(where, gettext_noop("This block is no longer in use."))
        most = max(block.planted_acres, block.mapped_acres)
        given = line.get("planned_acres")
        acres = (
            block.planted_acres
            if given in (None, "")
            else self.take(lambda: decimal_typed(given, f"{where}.planned_acres", maximum=10_000, places=4))
        )
        if acres is not None and not 0 < acres <= most.quantize(Decimal("0.0001")):
            said = gettext_noop("Must be more than 0 and at most the block's acres.")
            self.add(f"{where}.planned_acres", said)
        zone = str(line.get("zone") or "").strip()
        if len(zone) > 30:
            self.add(f"{where}.zone", gettext_noop("Use 30 characters at most."))
        self.blocks.append({"block": block, "planned_acres": acres, "zone": zone})

    def _mix(self, lines: Sequence[Mapping[str, Any]]) -> None:
        if not lines or len(lines) > MOST_PRODUCTS:
            self.add("products", gettext_noop("Choose 1 to 10 products."))
            return
        ids = [line["product_id"] for line in lines]
        if len(set(ids)) != len(ids):
            self.add("products", gettext_noop("Each product stands in a mix once."))
        found = {p.pk: p for p in Product.objects.for_farm(self.farm).filter(pk__in=ids)}
        for place, line in enumerate(lines):
            self._product(f"products.{place}", found.get(line["product_id"]), line)

    def _product(self, where: str, product: Product | None, line: Mapping[str, Any]) -> None:
        if product is None:
            self.add(f"{where}.product_id", gettext_noop("There is no such product in this farm's label library."))
        elif product.retired_at is not None:
            self.add(f"{where}.product_id", gettext_noop("This product is no longer used."))
        basis, unit = str(line.get("rate_basis") or RateBasis.PER_ACRE), str(line["rate_unit"])
        if basis not in set(RateBasis):
            self.add(f"{where}.rate_basis", one_of(RateBasis))
        units = ("%vv",) if basis == RateBasis.PERCENT_VV else PRODUCT_UNITS
        if unit not in units:
            self.add(
                f"{where}.rate_unit",
                Said(gettext_noop("“{unit}” does not fit. Use one of: {codes}."), unit=unit, codes=", ".join(units)),
            )
        amount = self.take(
            lambda: decimal_typed(line["rate_amount"], f"{where}.rate_amount", maximum=100_000, places=4)
        )
        if amount is not None and amount <= 0:
            self.add(f"{where}.rate_amount", gettext_noop("Must be more than 0."))
        self.products.append({"product": product, "rate_amount": amount, "rate_unit": unit, "rate_basis": basis})


def decimal_typed(value: object, field: str, *, maximum: int, places: int, minimum: int = 0) -> Decimal:
    """A typed number with no more decimals than the book keeps: nothing is rounded silently."""
    found = number("" if value is None else value, field=field, minimum=minimum, maximum=maximum)
    if found != found.quantize(Decimal(1).scaleb(-places)):
        raise BadInput({field: Said(gettext_noop("Use {places} decimals at most."), places=places)})
    return found
