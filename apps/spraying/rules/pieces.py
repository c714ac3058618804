"""Pieces of a block's ground that have different pasts: where earlier blocks or sprayed parts overlap it in part.

History follows the ground, not the name. Each piece is told apart by the shapes that cover it.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from apps.land.rules.measures import centre_of, in_plane

Shape = Mapping[str, Any]
MOST_SHAPES = 12
"""More shapes than this on one block are not told apart: those that come later in the list count everywhere."""
SLIVER = 0.005
"""A piece smaller than this share of the block is what a finger on a map misses (project rule)."""


@dataclass(frozen=True)
class Pieces:
    """The pieces of a block; ``covered`` gives, for each shape that lies on some of them, the pieces' names."""

    names: frozenset[str]
    covered: Mapping[Hashable, frozenset[str]]

    def under(self, shape: Hashable) -> frozenset[str] | None:
        """The pieces a shape covers; empty = all of the block, ``None`` = no ground of the block at all."""
        if shape not in self.covered:
            return frozenset()
        found = self.covered[shape]
        if not found:
            return None
        return frozenset() if found == self.names else found


def pieces_of(outline: Shape, shapes: Sequence[tuple[Hashable, str, Shape]]) -> Pieces:
    """Cut a block along ``shapes`` (key, name, GeoJSON). A shape that cannot be measured counts everywhere."""
    centre = centre_of(outline)
    whole = in_plane(outline, centre).buffer(0)
    least = whole.area * SLIVER
    cut: dict[tuple[Hashable, ...], Any] = {(): whole}
    told: dict[Hashable, str] = {}
    for key, name, shape in shapes[:MOST_SHAPES]:
        try:
            laid = in_plane(shape, centre).buffer(0)
        except Exception:  # whatever is wrong with the shape, it must not take history away
            continue
        told[key] = name
        parts = [((*at, key), piece.intersection(laid)) for at, piece in cut.items()]
        parts += [(at, piece.difference(laid)) for at, piece in cut.items()]
        cut = {at: piece for at, piece in parts if piece.area > least}
    names = {at: " + ".join(told[key] for key in at) or "the rest" for at in cut}
    covered = {key: frozenset(names[at] for at in cut if key in at) for key in told}
    return Pieces(names=frozenset(names.values()), covered=covered)
