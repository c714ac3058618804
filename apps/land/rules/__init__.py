"""What a farm's ground is: outlines read and repaired, acres, feet, sensitive places. Plain Python."""

from apps.land.rules.farm_files import (
    BlockFact,
    FarmFile,
    PlaceFact,
    read_farm_file,
    write_farm_file,
)
from apps.land.rules.measures import (
    Box,
    acres_of,
    area_m2,
    box_around,
    box_of,
    centre_of,
    distance_ft,
    in_plane,
    overlap_acres,
    parts_of,
    ring_area_m2,
)
from apps.land.rules.places import (
    KIND_NAMES,
    SensitiveKind,
    acres_differ,
    read_kind,
    read_planted_acres,
    shared_ground,
)
from apps.land.rules.reading import Reading, parse_json, read_place, read_polygon
from apps.land.rules.reshaping import Reshaping, check_split, cut, share_of, shares_ground, union
from apps.land.rules.typed import read_line_text, read_outline_text

__all__ = [
    "KIND_NAMES",
    "BlockFact",
    "Box",
    "FarmFile",
    "PlaceFact",
    "Reading",
    "Reshaping",
    "SensitiveKind",
    "acres_differ",
    "acres_of",
    "area_m2",
    "box_around",
    "box_of",
    "centre_of",
    "check_split",
    "cut",
    "distance_ft",
    "in_plane",
    "overlap_acres",
    "parse_json",
    "parts_of",
    "read_farm_file",
    "read_kind",
    "read_line_text",
    "read_outline_text",
    "read_place",
    "read_planted_acres",
    "read_polygon",
    "ring_area_m2",
    "share_of",
    "shared_ground",
    "shares_ground",
    "union",
    "write_farm_file",
]
