"""Reading GeoJSON from outside (RFC 7946): repaired and the repairs listed, or refused with the reason.

Repaired: a ring wound the wrong way (section 3.1.6 asks parsers not to reject it), a ring left open,
repeated points, heights. Refused: everything that would make the acres or the place wrong.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from math import isfinite
from typing import Any, NoReturn

from shapely.geometry import shape
from shapely.validation import explain_validity

from apps.land.rules.measures import Geometry, acres_of, furthest_miles, ring_area_m2
from farmops.errors import BadInput, Finding, Said, Severity, gettext_noop

MOST_POSITIONS = 5_000
MOST_ACRES = Decimal(10_000)
LEAST_ACRES = Decimal("0.001")  # about 44 square feet
SANE_MILES = 100  # project rule: ground further from the farm than this is taken for a mistake
AREA_TYPES = ("Polygon", "MultiPolygon")
RFC = "RFC 7946"


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A usable geometry and what had to be put right on the way in (notes)."""

    geometry: dict[str, Any]
    repairs: tuple[Finding, ...] = ()


@dataclass
class _Counts:
    """What was mended, counted over all rings."""

    rewound: int = 0
    closed: int = 0
    repeated: int = 0
    heights: int = 0
    seen: int = 0


@dataclass
class _Reader:
    """One reading: the input to blame, the farm's place, and the repairs so far."""

    about: str
    near: tuple[float, float] | None
    counts: _Counts = field(default_factory=_Counts)
    placed: list[list[float]] = field(default_factory=list)

    def refuse(self, template: str, **slots: object) -> NoReturn:
        if template.startswith("{where}"):
            slots["where"] = str(slots["where"])[:1].upper() + str(slots["where"])[1:]
        raise BadInput({self.about: Said(template, **slots)})


def parse_json(text: str, *, field: str) -> Any:
    """Typed or uploaded text -> JSON value; not a number, endless nesting and doubled names are refused."""
    try:
        return json.loads(text, parse_constant=_no_constant, object_pairs_hook=_no_doubles)
    except (ValueError, RecursionError) as fault:
        raise BadInput({field: Said(gettext_noop("Must be GeoJSON text: {fault}."), fault=fault)}) from None


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number in JSON")


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands twice in one object")
    return found


def read_polygon(geojson: object, *, field: str = "polygon", near: tuple[float, float] | None = None) -> Reading:
    """A block's outline from outside -> a checked Polygon or MultiPolygon and the repairs made.

    ``geojson`` is a geometry, a Feature that holds one, or a FeatureCollection of exactly one.
    ``near`` is the farm as (lon, lat); without it the place cannot be checked, and a note says so.
    Raises ``BadInput`` on ``field`` with one sentence that says what is wrong and where.
    """
    reader = _Reader(field, near)
    geometry = _unwrap(reader, geojson)
    if geometry.get("type") not in AREA_TYPES:
        reader.refuse(
            gettext_noop("A block must be a Polygon or a MultiPolygon, not {found}."), found=_type_name(geometry)
        )
    return _finish(reader, _read_area(reader, geometry))


def read_place(geojson: object, *, field: str = "geometry", near: tuple[float, float] | None = None) -> Reading:
    """A sensitive place from outside: a Point, Polygon or MultiPolygon, checked as ``read_polygon`` does."""
    reader = _Reader(field, near)
    geometry = _unwrap(reader, geojson)
    if geometry.get("type") == "Point":
        at = _position(reader, geometry.get("coordinates"), "the point")
        return _finish(reader, {"type": "Point", "coordinates": at})
    if geometry.get("type") not in AREA_TYPES:
        reader.refuse(
            gettext_noop("A place must be a Point, a Polygon or a MultiPolygon, not {found}."),
            found=_type_name(geometry),
        )
    return _finish(reader, _read_area(reader, geometry))


def _type_name(value: Mapping[str, Any]) -> str:
    return str(value.get("type") or "nothing")[:40]


def _unwrap(reader: _Reader, value: object) -> Mapping[str, Any]:
    """Down from a FeatureCollection of one, or a Feature, to the geometry."""
    if not isinstance(value, Mapping):
        reader.refuse(gettext_noop("Must be a GeoJSON object with a type and coordinates."))
    if "crs" in value:
        reader.refuse(
            gettext_noop(
                "GeoJSON has no “crs” any more: positions are longitude, latitude in WGS 84. "
                "Export it again that way, without “crs” (RFC 7946 section 4)."
            )
        )
    kind = value.get("type")
    if kind == "FeatureCollection":
        features = value.get("features")
        if not isinstance(features, list) or len(features) != 1:
            count = len(features) if isinstance(features, list) else 0
            reader.refuse(gettext_noop("Holds {count} features; one outline is wanted here."), count=count)
        return _unwrap(reader, features[0])
    if kind == "Feature":
        return _unwrap(reader, value.get("geometry"))
    return value


def _read_area(reader: _Reader, geometry: Mapping[str, Any]) -> dict[str, Any]:
    coordinates = geometry.get("coordinates")
    if geometry["type"] == "Polygon":
        parts = [_rings(reader, coordinates, "")]
    else:
        listed = _list(reader, coordinates, "the MultiPolygon")
        parts = [_rings(reader, part, f"polygon {n}, ") for n, part in enumerate(listed, 1)]
    if len(parts) == 1:
        return {"type": "Polygon", "coordinates": parts[0]}
    return {"type": "MultiPolygon", "coordinates": parts}


def _list(reader: _Reader, value: object, where: str) -> list[Any]:
    if not isinstance(value, list | tuple) or not value:
        reader.refuse(gettext_noop("The coordinates of {where} must be a list that is not empty."), where=where)
    return list(value)


def _rings(reader: _Reader, value: object, where: str) -> list[list[list[float]]]:
    listed = _list(reader, value, where.removesuffix(", ") or "the polygon")
    return [_ring(reader, ring, f"{where}ring {n}", hole=n > 1) for n, ring in enumerate(listed, 1)]


def _ring(reader: _Reader, value: object, where: str, *, hole: bool) -> list[list[float]]:
    """One ring: read, closed, without repeats, at least four positions, wound by the right-hand rule."""
    listed = _list(reader, value, where)
    reader.counts.seen += len(listed)
    if reader.counts.seen > MOST_POSITIONS:
        reader.refuse(
            gettext_noop("Has more than {most} positions. Simplify the outline; a few feet are enough."),
            most=f"{MOST_POSITIONS:,}",
        )
    ring = [_position(reader, p, f"{where}, position {n}") for n, p in enumerate(listed, 1)]
    ring = _without_repeats(reader, _closed(reader, ring))
    if len(ring) < 4:
        reader.refuse(
            gettext_noop("{where}: needs at least four positions, the last equal to the first; it has {count}."),
            where=where,
            count=len(ring),
        )
    if max(p[0] for p in ring) - min(p[0] for p in ring) > 180:
        reader.refuse(
            gettext_noop("{where}: crosses the antimeridian (180° longitude), which is not supported."), where=where
        )
    return _wound(reader, ring, hole=hole)


def _closed(reader: _Reader, ring: list[list[float]]) -> list[list[float]]:
    if ring[0] == ring[-1] and len(ring) > 1:
        return ring
    reader.counts.closed += 1
    return [*ring, list(ring[0])]


def _without_repeats(reader: _Reader, ring: list[list[float]]) -> list[list[float]]:
    kept = [ring[0], *(here for before, here in zip(ring, ring[1:], strict=False) if here != before)]
    reader.counts.repeated += len(ring) - len(kept)
    return kept


def _wound(reader: _Reader, ring: list[list[float]], *, hole: bool) -> list[list[float]]:
    """Outline counter-clockwise, holes clockwise (RFC 7946 section 3.1.6)."""
    clockwise = ring_area_m2(ring) < 0
    if clockwise == hole:
        return ring
    reader.counts.rewound += 1
    return ring[::-1]


def _position(reader: _Reader, value: object, where: str) -> list[float]:
    if not isinstance(value, list | tuple) or not 2 <= len(value) <= 4:
        reader.refuse(gettext_noop("{where}: a position is longitude, then latitude."), where=where)
    if len(value) > 2:
        reader.counts.heights += 1
    lon, lat = (_degrees(reader, part, where) for part in value[:2])
    if not -180 <= lon <= 180:
        reader.refuse(
            gettext_noop("{where}: longitude {lon} must be between -180 and 180."), where=where, lon=f"{lon:g}"
        )
    if not -90 <= lat <= 90:
        swapped = gettext_noop(" It looks as if latitude and longitude were swapped: GeoJSON has longitude first.")
        reader.refuse(
            gettext_noop("{where}: latitude {lat} must be between -90 and 90.{swapped}"),
            where=where,
            lat=f"{lat:g}",
            swapped=(swapped,) if abs(lon) <= 90 and abs(lat) <= 180 else "",
        )
    reader.placed.append([lon, lat])
    return [lon, lat]


def _degrees(reader: _Reader, value: object, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        reader.refuse(gettext_noop("{where}: must be numbers of degrees."), where=where)
    try:
        degrees = float(value)
    except OverflowError:
        degrees = float("inf")
    if not isfinite(degrees):
        reader.refuse(gettext_noop("{where}: must be plain numbers of degrees."), where=where)
    return degrees + 0.0  # -0.0 becomes 0.0


def _finish(reader: _Reader, geometry: dict[str, Any]) -> Reading:
    """Place, validity and size, then the list of repairs."""
    _check_place(reader)
    if geometry["type"] != "Point":
        _check_outline(reader, geometry)
        _check_size(reader, geometry)
    return Reading(geometry=geometry, repairs=tuple(_repairs(reader)))


def _check_outline(reader: _Reader, geometry: Geometry) -> None:
    drawn = shape(geometry)
    lons = drawn.bounds[0], drawn.bounds[2]
    if lons[1] - lons[0] > 180:
        reader.refuse(gettext_noop("Lies on both sides of the antimeridian (180° longitude), which is not supported."))
    if drawn.is_valid:
        return
    reason = explain_validity(drawn)
    for start, template in _INVALID:
        if reason.startswith(start):
            reader.refuse(template, near=_near(reason))
    reader.refuse(gettext_noop("Is not a proper outline: {reason}."), reason=reason)


_INVALID: Sequence[tuple[str, str]] = (
    (
        "Ring Self-intersection",
        gettext_noop("The outline touches itself{near}. Draw it without pinching or doubling back."),
    ),
    ("Self-intersection", gettext_noop("The outline crosses itself{near}. Draw it again without crossing lines.")),
    (
        "Hole lies outside shell",
        gettext_noop("A hole lies outside the outline{near}. The first ring must be the outside."),
    ),
    ("Holes are nested", gettext_noop("One hole lies inside another{near}.")),
    ("Nested shells", gettext_noop("One part lies inside another part{near}.")),
    ("Duplicate Rings", gettext_noop("The same ring stands twice{near}.")),
    ("Interior is disconnected", gettext_noop("The holes cut the outline into pieces{near}.")),
    ("Too few points", gettext_noop("A ring has too few different points{near}.")),
)


def _near(reason: str) -> str:
    found = re.search(r"\[(-?[\d.e+-]+) (-?[\d.e+-]+)\]", reason)
    if not found:
        return ""
    return f" near longitude {float(found[1]):.5f}, latitude {float(found[2]):.5f}"


def _check_size(reader: _Reader, geometry: Geometry) -> None:
    acres = acres_of(geometry)
    if acres < LEAST_ACRES:
        reader.refuse(gettext_noop("Has no area worth the name ({acres} acres)."), acres=acres)
    if acres > MOST_ACRES:
        reader.refuse(
            gettext_noop("Covers {acres} acres; a block of more than {most} acres is taken for a mistake."),
            acres=f"{acres:,.0f}",
            most=f"{MOST_ACRES:,}",
        )


def _check_place(reader: _Reader) -> None:
    """Within a sane distance of the farm; a swapped ring can have plausible acres, so the place must be checked."""
    if reader.near is None:
        return
    miles = furthest_miles(reader.placed, reader.near)
    if miles <= SANE_MILES:
        return
    if _would_fit_swapped(reader.placed, reader.near):
        reader.refuse(
            gettext_noop(
                "Latitude and longitude look swapped: as given it lies {miles} miles from the farm, swapped it lies "
                "near it. GeoJSON has longitude first."
            ),
            miles=f"{miles:,.0f}",
        )
    reader.refuse(
        gettext_noop(
            "Lies {miles} miles from the farm; more than {most} is taken for a mistake. Check the positions, "
            "or the farm's own latitude and longitude."
        ),
        miles=f"{miles:,.0f}",
        most=SANE_MILES,
    )


def _would_fit_swapped(positions: Sequence[Sequence[float]], near: tuple[float, float]) -> bool:
    turned = [[lat, lon] for lon, lat in positions]
    if any(abs(lat) > 90 for _, lat in turned):
        return False
    return furthest_miles(turned, near) <= SANE_MILES


def _repairs(reader: _Reader) -> Iterable[Finding]:
    counts = reader.counts
    made = (
        (
            "winding_rewritten",
            counts.rewound,
            gettext_noop("Ring direction rewritten by the right-hand rule ({count})."),
        ),
        ("ring_closed", counts.closed, gettext_noop("Open ring closed with its first position ({count}).")),
        ("repeats_dropped", counts.repeated, gettext_noop("Repeated positions dropped ({count}).")),
        (
            "heights_dropped",
            counts.heights,
            gettext_noop("Heights dropped; only longitude and latitude are kept ({count})."),
        ),
    )
    for code, count, template in made:
        if count:
            yield _note(reader, code, template, count=str(count))
    if reader.near is None:
        yield _note(
            reader, "place_unchecked", gettext_noop("The farm has no position, so the place could not be checked.")
        )


def _note(reader: _Reader, code: str, template: str, **numbers: str) -> Finding:
    return Finding(
        code=code, severity=Severity.NOTE, template=template, numbers=numbers, source=RFC, field=reader.about
    )
