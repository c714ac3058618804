"""What somebody typed as a program, checked against the farm: every fault at its own field."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from apps.crops import counts
from apps.crops import queries as crops
from apps.crops.rules.stages import is_stage
from apps.land import queries as land
from apps.people.models import Farm
from apps.products.models import Product
from apps.spraying.inputs import MOST_BLOCKS, MOST_PRODUCTS, Plan
from apps.spraying.programs.rules import StartKind
from farmops.errors import Said, Unknown, gettext_noop

MOST_PASSES = 30
MOST_DAYS = 400
NUMBERS = {
    "start_days": (0, 200),
    "from_days": (1, 60),
    "to_days": (1, 60),
    "stop_days": (0, 60),
}


class ProgramPlan(Plan):
    """What was typed as a program; ``values``, ``blocks`` and ``mixes`` once everything is right."""

    def __init__(self, farm: Farm, now: datetime) -> None:
        super().__init__(farm, now)
        self.mixes: list[list[dict[str, Any]]] = []

    def read_program(
        self, typed: Mapping[str, Any], block_ids: Sequence[int], passes: Sequence[Sequence[Mapping[str, Any]]]
    ) -> ProgramPlan:
        name = str(typed.get("name") or "").strip()
        if not 0 < len(name) <= 80:
            self.add("name", gettext_noop("Enter a name of at most 80 letters."))
        self.values = {
            "name": name,
            "targets": self._targets(typed.get("targets") or ()),
            "repeats": bool(typed.get("repeats")),
            "notes": str(typed.get("notes") or "").strip()[:2000],
            "rain_inches": self._optional(typed.get("rain_inches"), "rain_inches", maximum=20, places=2),
            "spray_gpa": self._optional(typed.get("spray_gpa"), "spray_gpa", maximum=1000, places=3),
            **{n: self._whole(typed.get(n), n, least, most) for n, (least, most) in NUMBERS.items()},
        }
        self._crop(typed.get("crop_id"))
        self._start(typed)
        self._days(typed)
        self._program_blocks(block_ids)
        self._passes(passes)
        self.raise_any()
        return self

    def _whole(self, value: object, field: str, least: int, most: int) -> int | None:
        text = str(value if value is not None else "").strip()
        if not text:
            return None
        if not (text.isascii() and text.isdigit() and len(text) < 5 and least <= int(text) <= most):
            said = gettext_noop("Must be a whole number from {least} to {most}.")
            self.add(field, Said(said, least=least, most=most))
            return None
        return int(text)

    def _crop(self, crop_id: object) -> None:
        try:
            self.values["crop"] = crops.crop(self.farm, int(str(crop_id)))
        except (Unknown, ValueError):
            self.add("crop_id", gettext_noop("Choose a crop of this farm."))

    def _start(self, typed: Mapping[str, Any]) -> None:
        kind = str(typed.get("start_kind") or "")
        if kind not in set(StartKind):
            self.add("start_kind", gettext_noop("Choose what the program begins with."))
            return
        self.values |= {
            "start_kind": kind,
            "start_on": self._day(typed.get("start_on"), "start_on") if kind == StartKind.DATE else None,
            "start_days": self.values["start_days"] or 0,
            "start_threshold": self._threshold(typed) if kind == StartKind.THRESHOLD else "",
            "reckoned_on": self._day(typed.get("reckoned_on"), "reckoned_on"),
        }
        if kind == StartKind.DATE and not typed.get("start_on"):
            self.add("start_on", gettext_noop("Enter the day it begins."))
        self.values["start_stage"] = self._stage(typed) if kind == StartKind.GROWTH_STAGE else ""

    def _stage(self, typed: Mapping[str, Any]) -> str:
        code = re.sub(r"[\s-]+", "_", str(typed.get("start_stage") or "").strip().lower())
        if not is_stage(code):
            self.add(
                "start_stage", gettext_noop("Enter a growth stage, like first flower, z37 (Zadoks) or b61 (BBCH).")
            )
        return code

    def _threshold(self, typed: Mapping[str, Any]) -> str:
        code = str(typed.get("start_threshold") or "")
        if code not in counts.thresholds(self.farm):
            self.add("start_threshold", gettext_noop("Choose a threshold of this farm."))
        return code

    def _days(self, typed: Mapping[str, Any]) -> None:
        since, to = self.values["from_days"], self.values["to_days"]
        for field, days in (("from_days", since), ("to_days", to)):
            if days is None and field not in self.errors:
                self.add(field, gettext_noop("Enter a number of days."))
        if since is not None and to is not None and to < since:
            self.add("to_days", gettext_noop("Use at least the first number of days and at most 60."))
        if self.values["rain_inches"] is not None and self.values["rain_inches"] <= 0:
            self.add("rain_inches", gettext_noop("Must be more than 0."))
        if self.values["spray_gpa"] is not None and self.values["spray_gpa"] <= 0:
            self.add("spray_gpa", gettext_noop("Must be more than 0."))
        last_on = self._day(typed.get("last_on"), "last_on")
        if last_on is None and "last_on" not in self.errors:
            self.add("last_on", gettext_noop("Enter the last day of the program."))
        start_on = self.values.get("start_on")
        if last_on is not None and start_on is not None and last_on < start_on:
            self.add("last_on", gettext_noop("The last day must not be before the first."))
        self.values["last_on"] = last_on

    def _day(self, value: object, field: str) -> date | None:
        if value in (None, ""):
            return None
        today = crops.today(self.farm, self.now)
        if not isinstance(value, date) or abs((value - today).days) > MOST_DAYS:
            self.add(field, gettext_noop("Must be a day within 400 days of today."))
            return None
        return value

    def _program_blocks(self, block_ids: Sequence[int]) -> None:
        ids = list(dict.fromkeys(block_ids))
        if not 0 < len(ids) <= MOST_BLOCKS:
            self.add("blocks", gettext_noop("Choose 1 to 60 blocks."))
            return
        try:
            found = land.blocks_by_id(self.farm, ids)
        except Unknown:
            self.add("blocks", gettext_noop("There is no such block on this farm."))
            return
        if any(found[pk].archived for pk in ids):
            self.add("blocks", gettext_noop("This block is no longer in use."))
        self.blocks = [{"block": found[pk]} for pk in ids]

    def _passes(self, passes: Sequence[Sequence[Mapping[str, Any]]]) -> None:
        if len(passes) > MOST_PASSES:
            self.add("passes", gettext_noop("A program has at most 30 passes."))
            return
        ids = {line["product_id"] for mix in passes for line in mix}
        known = {p.pk: p for p in Product.objects.for_farm(self.farm).filter(pk__in=ids)}
        for place, mix in enumerate(passes):
            where = f"passes.{place}"
            names = [line["product_id"] for line in mix]
            if not 0 < len(mix) <= MOST_PRODUCTS:
                self.add(where, gettext_noop("Choose 1 to 10 products."))
            if len(set(names)) != len(names):
                self.add(where, gettext_noop("Each product stands in a mix once."))
            self.products = []
            for number, line in enumerate(mix):
                self._product(f"{where}.products.{number}", known.get(line["product_id"]), line)
            self.mixes.append(self.products)
