"""``manage.py check_records``: derive chain, jobs, ledger, board and labels again; name the first fault; exit 1."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from apps.people.models import Farm
from apps.spraying import proof
from apps.spraying.rules.record import Head, read_head


class Command(BaseCommand):
    help = "Check that signed records, stock ledger and field board still agree. Ends with 1 at the first fault."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("farms", nargs="*", metavar="farm", help="short names; every farm if none is given")
        parser.add_argument(
            "--head", action="append", default=[], metavar="FARM=HASH", help="a chain head kept elsewhere"
        )
        parser.add_argument(
            "--against", action="append", default=[], metavar="FILE", help="heads that chain_head wrote earlier"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        farms = farms_named(options["farms"])
        earlier = earlier_heads(options["against"])
        unknown = set(earlier) - set(Farm.objects.values_list("slug", flat=True))
        if unknown:
            raise CommandError(f"{min(unknown)}: the book has no such farm any more (farm)")
        for where, fault in proof.faults(farms, kept_heads(options["head"]), earlier):
            raise CommandError(f"{where}: {fault.where}: {fault.said} ({fault.code})")
        for farm in farms:
            found = proof.chain(farm)
            self.stdout.write(f"{farm.slug}: {found.records} records, head {found.head or 'none'}")
        self.stdout.write("Records, ledger and board agree.")


def farms_named(slugs: list[str]) -> list[Farm]:
    """These farms, or every farm; ``CommandError`` names what there is not."""
    farms = list(Farm.objects.order_by("slug"))
    unknown = set(slugs) - {f.slug for f in farms}
    if unknown:
        raise CommandError(f"no such farm: {', '.join(sorted(unknown))}")
    return [f for f in farms if f.slug in slugs] if slugs else farms


def kept_heads(given: list[str]) -> dict[str, list[str]]:
    """``FARM=HASH`` options -> farm -> hashes that must stand in its chain."""
    found: dict[str, list[str]] = {}
    for text in given:
        farm, _, head = text.partition("=")
        found.setdefault(farm, []).append(head.strip().lower())
    return found


def earlier_heads(paths: list[str]) -> dict[str, list[Head]]:
    """Files of heads -> farm -> heads; ``CommandError`` names a file that cannot be read."""
    found: dict[str, list[Head]] = {}
    for path in paths:
        try:
            given = json.loads(Path(path).read_text(encoding="utf-8"))
            heads = [read_head(one) for one in given.get("heads", [given])]
        except (OSError, ValueError, AttributeError, TypeError) as error:
            raise CommandError(f"{path} cannot be read as chain heads: {error}") from None
        for head in heads:
            found.setdefault(head.farm, []).append(head)
    return found
