"""Load the demo farm, its dates counted from today."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from apps.people.models import Farm
from farmops import clock
from farmops.demo import gates, ground, season

ACTS = (
    ground.people_and_farms,
    ground.ground,
    ground.label_library,
    ground.crops_and_scouting,
    ground.shed_and_machine,
    gates.gates_and_numbers,
    season.papers,
    season.history,
    season.season_programs,
    season.tasks,
)
ONE_OF_EACH = (("manager", "marta"), ("applicator", "devin"), ("staff", "lupe"))


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--if-empty", action="store_true", help="Do nothing when the book already holds a farm.")

    def handle(self, *args: Any, **options: Any) -> None:
        book = ground.read_book()
        if Farm.objects.exists():
            if not options["if_empty"]:
                raise CommandError("This book already holds a farm. The demo goes into an empty book only.")
        else:
            if options["verbosity"]:
                self.stdout.write("Playing the demo season (about half a minute) …")
            with transaction.atomic():
                stage = ground.Stage(now=clock.now(), book=book)
                for act in ACTS:
                    act(stage)
        if options["verbosity"] and Farm.objects.filter(slug=book["farm"]["slug"]).exists():
            self.tell_log_ins(book["password"])

    def tell_log_ins(self, password: str) -> None:
        self.stdout.write("\nDemo log-ins (invented people; change or remove them before real use):")
        for role, username in ONE_OF_EACH:
            self.stdout.write(f"  {role:<11} {username:<6} {password}")
