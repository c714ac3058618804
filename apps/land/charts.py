"""Outlines as a sketch: north up, to scale, in feet. Facts in, plain numbers out; the template draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import shapely

from apps.land.rules import centre_of, in_plane
from apps.land.rules.measures import METRES_PER_FOOT

MARGIN = 0.06  # of the longer side


@dataclass(frozen=True, kw_only=True)
class Outline:
    """What to draw: its code, its GeoJSON and whether it is the block the page is about."""

    code: str
    polygon: dict[str, Any]
    chosen: bool = False


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One shape ready for SVG: path data and the place of its code, in feet of the sketch."""

    code: str
    path: str
    x: int
    y: int
    chosen: bool


@dataclass(frozen=True, kw_only=True)
class Sketch:
    """All shapes in one frame. ``letter``, ``line`` and ``dash`` are text size and line widths in feet."""

    view_box: str
    width_ft: int
    height_ft: int
    letter: int
    line: int
    dash: int
    shapes: tuple[Drawn, ...]


def sketch(outlines: Sequence[Outline]) -> Sketch | None:
    """Lay the outlines into one local plane; ``None`` when there is nothing to draw."""
    if not outlines:
        return None
    centre = centre_of(outlines[0].polygon)
    shapes = [shapely.transform(in_plane(o.polygon, centre), _feet_north_up) for o in outlines]
    west, north, east, south = shapely.total_bounds(shapes)
    width, height = east - west, south - north
    longer = max(width, height)
    edge = longer * MARGIN
    box = (west - edge, north - edge, width + 2 * edge, height + 2 * edge)
    return Sketch(
        view_box=" ".join(f"{side:.0f}" for side in box),
        width_ft=round(width),
        height_ft=round(height),
        letter=max(1, round(longer / 13)),
        line=max(1, round(longer / 160)),
        dash=max(1, round(longer / 50)),
        shapes=tuple(_drawn(o, s) for o, s in zip(outlines, shapes, strict=True)),
    )


def _feet_north_up(points: Any) -> Any:
    """Metres with y to the north -> feet with y down the page."""
    return points * [1 / METRES_PER_FOOT, -1 / METRES_PER_FOOT]


def _drawn(outline: Outline, shape: Any) -> Drawn:
    spot = shape.representative_point()
    return Drawn(code=outline.code, path=_path(shape), x=round(spot.x), y=round(spot.y), chosen=outline.chosen)


def _path(shape: Any) -> str:
    """Every ring as a closed SVG sub-path."""
    rings = [ring for part in shapely.get_parts(shape) for ring in (part.exterior, *part.interiors)]
    return " ".join(f"M{' L'.join(f'{x:.0f},{y:.0f}' for x, y in ring.coords[:-1])}Z" for ring in rings)
