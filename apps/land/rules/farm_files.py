"""A farm's map as one GeoJSON FeatureCollection, in and out.

Each feature carries ``kind`` in its properties: ``block`` (the default) with ``field``, ``name``, ``code``
and, if stated, ``planted_acres``; or a sensitive kind (``water``, ``hives`` ...) with ``name``.
What goes out comes in again unchanged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from apps.land.rules.places import SensitiveKind, read_kind, read_planted_acres
from apps.land.rules.reading import Reading, read_place, read_polygon
from farmops.errors import BadInput, Finding, Said, Severity, gettext_noop
from farmops.faults import Faults

MOST_FEATURES = 500
BLOCK = "block"
BLOCK_PROPERTIES = frozenset({"kind", "field", "name", "code", "planted_acres", "mapped_acres"})
PLACE_PROPERTIES = frozenset({"kind", "name", "note"})
NAME_LENGTH = 80
CODE_LENGTH = 12
NOTE_LENGTH = 400
ENTER_FIELD = gettext_noop("Enter the name of the field the block lies in.")
ENTER_BLOCK_NAME = gettext_noop("Enter the name of the block.")
ENTER_CODE = gettext_noop("Enter the short code of the block.")
ENTER_PLACE_NAME = gettext_noop("Enter the name of the place.")
Near = tuple[float, float] | None


@dataclass(frozen=True, kw_only=True)
class BlockFact:
    """A block as it stands in a farm file."""

    field_name: str
    name: str
    code: str
    polygon: Mapping[str, Any]
    planted_acres: Decimal | None = None
    mapped_acres: Decimal | None = None
    repairs: tuple[Finding, ...] = ()
    where: str = ""  # the feature it was read from, e.g. features[3]


@dataclass(frozen=True, kw_only=True)
class PlaceFact:
    """A sensitive place as it stands in a farm file."""

    kind: SensitiveKind
    name: str
    geometry: Mapping[str, Any]
    note: str = ""
    repairs: tuple[Finding, ...] = ()
    where: str = ""


@dataclass(frozen=True, kw_only=True)
class FarmFile:
    """All that one file holds."""

    blocks: tuple[BlockFact, ...] = ()
    places: tuple[PlaceFact, ...] = ()

    @property
    def repairs(self) -> tuple[Finding, ...]:
        """Every note of every feature, in file order of kinds."""
        rows: Sequence[BlockFact | PlaceFact] = (*self.blocks, *self.places)
        return tuple(note for row in rows for note in row.repairs)


def write_farm_file(blocks: Iterable[BlockFact], places: Iterable[PlaceFact]) -> dict[str, Any]:
    """Facts -> FeatureCollection; acres as decimal text so that nothing is lost on the way."""
    features = [_block_feature(b) for b in blocks] + [_place_feature(p) for p in places]
    return {"type": "FeatureCollection", "features": features}


def _block_feature(block: BlockFact) -> dict[str, Any]:
    properties: dict[str, Any] = {"kind": BLOCK, "field": block.field_name, "name": block.name, "code": block.code}
    if block.planted_acres is not None:
        properties["planted_acres"] = str(block.planted_acres)
    if block.mapped_acres is not None:
        properties["mapped_acres"] = str(block.mapped_acres)
    return {"type": "Feature", "geometry": dict(block.polygon), "properties": properties}


def _place_feature(place: PlaceFact) -> dict[str, Any]:
    properties = {"kind": place.kind.value, "name": place.name, "note": place.note}
    return {"type": "Feature", "geometry": dict(place.geometry), "properties": properties}


def read_farm_file(document: object, *, near: Near = None) -> FarmFile:
    """FeatureCollection -> facts, all or nothing.

    Raises one ``BadInput`` that names every feature at fault, e.g. ``features[3].polygon``.
    """
    faults = Faults()
    rows = [_read_feature(faults, one, f"features[{n}]", near) for n, one in enumerate(_features(document))]
    blocks = tuple(row for row in rows if isinstance(row, BlockFact))
    _no_doubles(faults, blocks)
    faults.raise_any()
    return FarmFile(blocks=blocks, places=tuple(row for row in rows if isinstance(row, PlaceFact)))


def _features(document: object) -> list[Any]:
    if not isinstance(document, Mapping) or document.get("type") != "FeatureCollection":
        raise BadInput({"features": gettext_noop("The file must be a GeoJSON FeatureCollection.")})
    if "crs" in document:
        raise BadInput(
            {"crs": gettext_noop("GeoJSON has no “crs” any more: export longitude, latitude in WGS 84 without it.")}
        )
    features = document.get("features")
    if not isinstance(features, list) or not features:
        raise BadInput({"features": gettext_noop("The file holds no features.")})
    if len(features) > MOST_FEATURES:
        said = gettext_noop("The file holds {count} features; at most {most} at once.")
        raise BadInput({"features": Said(said, count=len(features), most=MOST_FEATURES)})
    return features


def _read_feature(faults: Faults, feature: object, where: str, near: Near) -> BlockFact | PlaceFact | None:
    if not isinstance(feature, Mapping) or feature.get("type") != "Feature":
        faults.errors[where] = [gettext_noop("Must be a GeoJSON Feature.")]
        return None
    properties = feature.get("properties")
    if not isinstance(properties, Mapping):
        faults.errors[f"{where}.properties"] = [gettext_noop("Must hold at least field, name and code.")]
        return None
    if str(properties.get("kind") or BLOCK).strip().lower() == BLOCK:
        return _read_block(faults, feature, properties, where, near)
    return _read_place(faults, feature, properties, where, near)


def _read_block(
    faults: Faults, feature: Mapping[str, Any], properties: Mapping[str, Any], where: str, near: Near
) -> BlockFact:
    outline = faults.take(lambda: read_polygon(feature, field=f"{where}.polygon", near=near), Reading(geometry={}))
    planted = properties.get("planted_acres")
    return BlockFact(
        field_name=faults.text(properties, "field", where, NAME_LENGTH, ENTER_FIELD),
        name=faults.text(properties, "name", where, NAME_LENGTH, ENTER_BLOCK_NAME),
        code=faults.text(properties, "code", where, CODE_LENGTH, ENTER_CODE),
        polygon=outline.geometry,
        planted_acres=faults.take(lambda: read_planted_acres(planted, field=f"{where}.planted_acres"), None),
        repairs=(*outline.repairs, *_ignored(properties, BLOCK_PROPERTIES, where)),
        where=where,
    )


def _read_place(
    faults: Faults, feature: Mapping[str, Any], properties: Mapping[str, Any], where: str, near: Near
) -> PlaceFact:
    drawn = faults.take(lambda: read_place(feature, field=f"{where}.geometry", near=near), Reading(geometry={}))
    kind = properties.get("kind")
    return PlaceFact(
        kind=faults.take(lambda: read_kind(kind, field=f"{where}.kind"), SensitiveKind.OTHER),
        name=faults.text(properties, "name", where, NAME_LENGTH, ENTER_PLACE_NAME),
        note=faults.text(properties, "note", where, NOTE_LENGTH, ""),
        geometry=drawn.geometry,
        repairs=(*drawn.repairs, *_ignored(properties, PLACE_PROPERTIES, where)),
        where=where,
    )


def _ignored(properties: Mapping[str, Any], known: frozenset[str], where: str) -> tuple[Finding, ...]:
    """A mistyped name must not vanish in silence."""
    unknown = sorted(str(name)[:40] for name in properties if name not in known)
    if not unknown:
        return ()
    return (
        Finding(
            code="properties_ignored",
            severity=Severity.NOTE,
            template=gettext_noop("Not used: {names}."),
            numbers={"names": ", ".join(unknown)},
            source=gettext_noop("project rule"),
            field=where,
        ),
    )


def _no_doubles(faults: Faults, blocks: Iterable[BlockFact]) -> None:
    """Codes are what people say at the gate, so one file cannot hold a code twice."""
    seen: dict[str, str] = {}
    for block in blocks:
        first = seen.setdefault(block.code.casefold(), block.where)
        if block.code and first != block.where:
            said = gettext_noop("Code {code} stands twice in the file; first in {first}.")
            faults.add(f"{block.where}.code", Said(said, code=block.code, first=first))
