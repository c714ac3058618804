"""``manage.py state_diagram``: write the steps of a job into DEVELOPERS.md; ``--check`` says whether they are there."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from apps.spraying.rules.states import diagram, table

BEGIN, END = "<!-- state diagram: written by manage.py state_diagram -->", "<!-- end of state diagram -->"


def section() -> str:
    """Everything between the markers, markers included."""
    return "\n".join([BEGIN, "", diagram(), "", table(), "", END])


def renewed(text: str) -> str:
    """``text`` with the section renewed; put at its end when it has none."""
    if BEGIN not in text or END not in text:
        return f"{text.rstrip()}\n\n## Steps of a spray job\n\n{section()}\n"
    before, rest = text.split(BEGIN, 1)
    return before + section() + rest.split(END, 1)[1]


class Command(BaseCommand):
    help = "Write the state diagram of a spray job into DEVELOPERS.md."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; end with 1 when it is out of date")

    def handle(self, *args: Any, **options: Any) -> None:
        path = settings.BASE_DIR / "DEVELOPERS.md"
        text = path.read_text(encoding="utf-8")
        if options["check"] and renewed(text) != text:
            raise CommandError("DEVELOPERS.md does not show the steps as they are: run manage.py state_diagram.")
        if not options["check"]:
            path.write_text(renewed(text), encoding="utf-8")
