"""A printed sheet: facts and a Typst template to an archival, accessible PDF (PDF/A-2a with PDF/UA-1).

The data travels as JSON in ``sys.inputs`` and reaches the template as the variable ``data``; it is never pasted
into the template, so nothing that somebody typed can become markup. Only the fonts that come with the
compiler are used, so a sheet looks the same on every machine.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import typst
from django.core.serializers.json import DjangoJSONEncoder

ROOT = Path(__file__).resolve().parent.parent
STANDARDS = ("a-2a", "ua-1")

# Read before every template. Title and language come from the caller, so that no sheet can be without them.
_OPENING = """
#let data = json(bytes(sys.inputs.data))
#set document(title: sys.inputs.title)
#set text(lang: sys.inputs.language, font: ("Libertinus Serif", "DejaVu Sans Mono"))
"""
# What the compiler's own fonts certainly draw: Latin, Greek, Cyrillic, punctuation, fractions, arrows, signs.
_UNDRAWABLE = re.compile(
    "[^\\n -~\u00a0-\u024f\u0370-\u03ff\u0400-\u045f\u2010-\u2027\u2030-\u203a\u20ac\u2150-\u22ff]"
)


def compile_pdf(
    template: Path | str, data: Mapping[str, Any], title: str, language: str, *, made_at: datetime | None = None
) -> bytes:
    """The PDF of ``template`` (a ``.typ`` file, or its text) filled with ``data``.

    ``data`` is anything JSON can hold; dates, times and Decimals become text. ``language`` is the code the reader's
    programme speaks it in (``en``, ``es``). With ``made_at`` the same data gives the same bytes. A template may import
    from the project root (``#import "/farmops/…"``). A character that no font at hand can draw is printed as ``?``.
    Raises ``typst.TypstError`` when the template itself is wrong.
    """
    source = template.read_text(encoding="utf-8") if isinstance(template, Path) else template
    text = json.dumps(data, cls=DjangoJSONEncoder, ensure_ascii=False)
    try:
        return _compile(source, text, title, language, made_at)
    except typst.TypstError as error:
        if "could not be displayed" not in str(error):
            raise
        drawable = json.dumps(_drawable(json.loads(text)), ensure_ascii=False)
        return _compile(source, drawable, _drawable(title), language, made_at)


def _compile(source: str, data: str, title: str, language: str, made_at: datetime | None) -> bytes:
    made: bytes = typst.compile(
        (_OPENING + source).encode(),
        root=str(ROOT),
        ignore_system_fonts=True,
        format="pdf",
        sys_inputs={"data": data, "title": title, "language": language},
        pdf_standards=list(STANDARDS),
        timestamp=None if made_at is None else int(made_at.timestamp()),
    )
    return made


def _drawable(value: Any) -> Any:
    """The same data with every character that cannot be drawn replaced by a question mark."""
    if isinstance(value, str):
        return _UNDRAWABLE.sub("?", value)
    if isinstance(value, dict):
        return {key: _drawable(found) for key, found in value.items()}
    return [_drawable(found) for found in value] if isinstance(value, list) else value
