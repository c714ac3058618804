"""Outlines and places as a person types or pastes them: GeoJSON, or corners as a phone shows them."""

from __future__ import annotations

import re
from typing import Any

from apps.land.rules.reading import parse_json
from farmops.errors import BadInput, Said, gettext_noop

_NUMBER = r"[-+]?\d{1,3}(?:\.\d+)?"
_CORNER = re.compile(rf"({_NUMBER})\s*°?[\s,;]+({_NUMBER})\s*°?")


def read_outline_text(text: object, *, field: str = "polygon") -> Any:
    """Text -> GeoJSON for ``read_polygon`` or ``read_place``.

    Text that starts with a brace is GeoJSON. Anything else is one corner a line, **latitude first**
    as every phone shows it: one line is a point, three or more are the corners of a polygon.
    ``BadInput`` on ``field`` names the line that cannot be read.
    """
    typed = str(text if text is not None else "").strip()
    if typed.startswith("{"):
        return parse_json(typed, field=field)
    lines = [line.strip() for line in typed.splitlines() if line.strip()]
    corners = [_corner(line, n, field) for n, line in enumerate(lines, 1)]
    if not corners or len(corners) == 2:
        raise BadInput({field: gettext_noop("Enter one corner a line, at least three, or paste GeoJSON.")})
    if len(corners) == 1:
        return {"type": "Point", "coordinates": corners[0]}
    return {"type": "Polygon", "coordinates": [corners]}


def read_line_text(text: object, *, field: str = "line") -> list[list[float]]:
    """Points one a line, latitude first -> (lon, lat) pairs. ``BadInput`` names the line that cannot be read."""
    lines = [line.strip() for line in str(text or "").splitlines() if line.strip()]
    return [_corner(line, n, field) for n, line in enumerate(lines, 1)]


def _corner(line: str, number: int, field: str) -> list[float]:
    found = _CORNER.fullmatch(line)
    if not found:
        said = gettext_noop("Line {number} must be latitude, then longitude, like 40.2501, -86.2498.")
        raise BadInput({field: Said(said, number=number)})
    return [float(found[2]), float(found[1])]
