"""Blocks drawn anew on the same ground: one split into several, several merged into one."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from enum import StrEnum
from typing import Any

import shapely
from shapely.geometry import LineString, mapping, shape
from shapely.ops import split

from apps.land.rules.measures import acres_of, overlap_acres
from farmops.errors import BadInput, Finding, Severity, gettext_noop
from farmops.units import show

log = logging.getLogger(__name__)

INSIDE = Decimal("0.98")
"""What a finger on a map misses: so much of a piece must lie in the block, and of the block in the pieces."""
SLIVER_ACRES = Decimal("0.0001")
"""Four square feet: less than that two outlines share only by rounding."""


class Reshaping(StrEnum):
    """How ground went from one block to another."""

    SPLIT = "split"
    MERGE = "merge"


def shares_ground(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two outlines hold some of the same ground; yes when that cannot be measured (project rule)."""
    try:
        return overlap_acres(one, other) > SLIVER_ACRES
    except Exception:
        log.exception("two outlines cannot be compared")
        return True


def share_of(ground: Mapping[str, Any], other: Mapping[str, Any]) -> Decimal:
    """Which share of ``ground`` lies in ``other``, 0 to 1; all of it when that cannot be measured."""
    try:
        return min(Decimal(1), overlap_acres(ground, other) / acres_of(ground))
    except Exception:
        log.exception("two outlines cannot be compared")
        return Decimal(1)


def check_split(block: Mapping[str, Any], pieces: Sequence[Mapping[str, Any]]) -> list[Finding]:
    """Refusals unless the pieces lie in the block and leave none of it over."""
    found = []
    if len(pieces) < 2:
        found.append(_refuse("too_few_pieces", gettext_noop("Draw at least two pieces.")))
    for number, piece in enumerate(pieces):
        if overlap_acres(piece, block) < acres_of(piece) * INSIDE:
            template = gettext_noop("Piece {piece} must lie inside the block.")
            found.append(_refuse("piece_outside", template, f"pieces.{number}.polygon", piece=str(number + 1)))
    whole = acres_of(block)
    held = overlap_acres(block, union(pieces)) if pieces else Decimal(0)
    if pieces and held < whole * INSIDE:
        template = gettext_noop("{acres} acres of the block lie in none of the pieces. Every part needs a piece.")
        found.append(_refuse("ground_left_over", template, "pieces", acres=show(whole - held, 2)))
    return found


def cut(block: Mapping[str, Any], line: Sequence[Sequence[float]], *, field: str = "line") -> list[dict[str, Any]]:
    """The pieces a line (lon, lat) cuts a block into, from west to east; ``BadInput`` unless there are two or more."""
    if len(line) < 2:
        raise BadInput({field: gettext_noop("Enter the line as two or more points, one a line.")})
    pieces = shapely.get_parts(split(shape(block), LineString(line)))
    if len(pieces) < 2:
        raise BadInput({field: gettext_noop("The line must cross the block from edge to edge.")})
    ordered = sorted(pieces, key=lambda p: (p.centroid.x, p.centroid.y))
    return [_lists(mapping(shapely.geometry.polygon.orient(p))) for p in ordered]


def union(outlines: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """One outline (GeoJSON Polygon or MultiPolygon) round all of them."""
    joined = shapely.union_all([shape(outline) for outline in outlines])
    plain: dict[str, Any] = mapping(
        shapely.geometry.polygon.orient(joined) if joined.geom_type == "Polygon" else joined
    )
    return _lists(plain)


def _lists(value: Any) -> Any:
    """GeoJSON with lists, as it is stored, and not tuples."""
    if isinstance(value, Mapping):
        return {name: _lists(v) for name, v in value.items()}
    if isinstance(value, list | tuple):
        return [_lists(v) for v in value]
    return value


def _refuse(code: str, template: str, field: str = "pieces", **numbers: str) -> Finding:
    return Finding(
        code=code, severity=Severity.REFUSE, template=template, numbers=numbers, source="project rule", field=field
    )
