"""The Spanish catalogue as the project holds it, read once for the tests that ask what stands in it."""

from __future__ import annotations

from pathlib import Path

import polib

BOOK = polib.pofile(str(Path(__file__).resolve().parents[1] / "farmops/locale/es/LC_MESSAGES/django.po"))
SPANISH = {entry.msgid: entry.msgstr for entry in BOOK}
