"""Writes a packet of signed records (PDF, CSV, JSON) into a folder, for one farm and a stretch of days."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from apps.audit import services as audit
from apps.land.models import Block
from apps.people.models import Farm
from apps.products.models import Product
from apps.reports.packet import rules, writing
from apps.reports.packet.rules import Ask, Audience
from farmops import clock


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("farm", help="Short name of the farm")
        parser.add_argument("folder", type=Path, help="Where to write; made if it is not there")
        parser.add_argument("--for", dest="audience", default="inspector", choices=[a.value for a in Audience])
        parser.add_argument("--from", dest="first_on", type=_day, help="First farm day, like 2026-06-03")
        parser.add_argument("--to", dest="last_on", type=_day, help="Last farm day, like 2026-06-10")
        parser.add_argument("--block", help="Code of a block")
        parser.add_argument("--product", help="Name of a product")
        parser.add_argument("--about", default="", help="Worker or patient")
        parser.add_argument("--asked-for-by", default="", help="Representative or doctor")
        parser.add_argument("--named-on", type=_day, help="Day the worker named the representative in writing")
        parser.add_argument("--language", default="en", choices=["en", "es"])

    def handle(self, *args: Any, **options: Any) -> None:
        farm = Farm.objects.filter(slug=options["farm"]).first()
        if farm is None:
            raise CommandError(f"There is no farm {options['farm']}.")
        now, ask = clock.now(), self.ask(farm, options)
        if faults := rules.faults(ask, today=clock.to_local(now, farm.time_zone).date()):
            raise CommandError("; ".join(f"{name}: {said}" for name, said in faults.items()))
        options["folder"].mkdir(parents=True, exist_ok=True)
        made = writing.write(writing.plan(farm, ask, now), options["folder"])
        after = {**ask.as_json(), "records": made.records, "head": made.head}
        audit.record(farm=farm, actor=None, verb="wrote a packet of", subject=farm, now=now, after=after)
        for file in made.files:
            self.stdout.write(f"{file['sha256']}  {options['folder'] / file['name']}")
        self.stdout.write(f"{made.records} records, {made.findings} findings, head {made.head or '-'}")
        if not made.sound:
            raise CommandError("The chain is broken; the packet says where.")

    @staticmethod
    def ask(farm: Farm, options: dict[str, Any]) -> Ask:
        def found(model: Any, word: str, **wanted: str) -> int | None:
            if options[word] is None:
                return None
            row = model.objects.for_farm(farm).filter(**wanted).first()
            if row is None:
                raise CommandError(f"There is no {word} {options[word]}.")
            return int(row.pk)

        names = ("first_on", "last_on", "about", "asked_for_by", "named_on", "language")
        return Ask(
            audience=Audience(options["audience"]),
            block_id=found(Block, "block", code=str(options["block"])),
            product_id=found(Product, "product", name__iexact=str(options["product"])),
            **{name: options[name] for name in names},
        )


def _day(text: str) -> date:
    return date.fromisoformat(text)
