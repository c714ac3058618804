"""``manage.py check_records``: derive chain, ledger and board again; name the first fault; exit 1."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from apps.people.models import Farm
from apps.spraying import proof


class Command(BaseCommand):
    help = "Check that signed records, stock ledger and field board still agree. Ends with 1 at the first fault."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("farms", nargs="*", metavar="farm", help="short names; every farm if none is given")
        parser.add_argument(
            "--head", action="append", default=[], metavar="FARM=HASH", help="a chain head kept elsewhere"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        farms = list(Farm.objects.order_by("slug"))
        if options["farms"]:
            unknown = set(options["farms"]) - {f.slug for f in farms}
            if unknown:
                raise CommandError(f"no such farm: {', '.join(sorted(unknown))}")
            farms = [f for f in farms if f.slug in options["farms"]]
        for where, fault in proof.faults(farms, kept_heads(options["head"])):
            raise CommandError(f"{where}: {fault.where}: {fault.said} ({fault.code})")
        for farm in farms:
            found = proof.chain(farm)
            self.stdout.write(f"{farm.slug}: {found.records} records, head {found.head or 'none'}")
        self.stdout.write("Records, ledger and board agree.")


def kept_heads(given: list[str]) -> dict[str, list[str]]:
    """``FARM=HASH`` options -> farm -> hashes that must stand in its chain."""
    found: dict[str, list[str]] = {}
    for text in given:
        farm, _, head = text.partition("=")
        found.setdefault(farm, []).append(head.strip().lower())
    return found
