"""Compile the language catalogues without gettext being installed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polib
from django.conf import settings
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = __doc__

    def handle(self, *args: Any, **options: Any) -> None:
        for folder in settings.LOCALE_PATHS:
            for catalogue in sorted(Path(folder).glob("*/LC_MESSAGES/*.po")):
                polib.pofile(str(catalogue)).save_as_mofile(str(catalogue.with_suffix(".mo")))
