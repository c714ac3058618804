"""``manage.py chain_head > heads.json``: the heads of the farms' chains, to be kept elsewhere."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from apps.spraying.heads import head_of
from apps.spraying.management.commands.check_records import farms_named
from farmops import clock


class Command(BaseCommand):
    help = "Write the heads of the chains as JSON. Later, check_records --against FILE finds a rewritten or cut book."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("farms", nargs="*", metavar="farm", help="short names; every farm if none is given")

    def handle(self, *args: Any, **options: Any) -> None:
        heads = [head_of(farm, clock.now()).as_json() for farm in farms_named(options["farms"])]
        self.stdout.write(json.dumps({"form": 1, "heads": heads}, indent=1))
