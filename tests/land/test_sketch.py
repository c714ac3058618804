"""The sketch is to scale, north up, and holds every ring."""

from __future__ import annotations

import re

import pytest

from apps.land.charts import Outline, sketch
from tests.land.shapes import HOLE, L_SHAPE, SQUARE_10, polygon

# A 10-acre square has sides of 660 ft (43,560 x 10 = 660 x 660).


def numbers(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"(-?\d+),(-?\d+)", path)]


def test_a_ten_acre_square_is_660_ft_wide_and_high() -> None:
    found = sketch([Outline(code="R1", polygon=polygon(SQUARE_10), chosen=True)])
    assert found is not None
    assert (found.width_ft, found.height_ft) == (660, 660)
    corners = numbers(found.shapes[0].path)
    assert max(x for x, _ in corners) - min(x for x, _ in corners) == pytest.approx(660, abs=1)


def test_north_is_up() -> None:
    far_north = [[x, y + 0.01] for x, y in SQUARE_10]
    found = sketch([Outline(code="S", polygon=polygon(SQUARE_10)), Outline(code="N", polygon=polygon(far_north))])
    assert found is not None
    assert found.shapes[1].y < found.shapes[0].y
    assert [s.code for s in found.shapes] == ["S", "N"]


def test_every_ring_is_drawn_and_the_code_stands_inside() -> None:
    found = sketch([Outline(code="L", polygon=polygon(L_SHAPE, HOLE))])
    assert found is not None
    assert (found.shapes[0].path.count("M"), found.shapes[0].path.count("Z")) == (2, 2)
    west, north, width, height = (float(n) for n in found.view_box.split())
    assert west < found.shapes[0].x < west + width
    assert north < found.shapes[0].y < north + height


def test_nothing_to_draw() -> None:
    assert sketch([]) is None
