"""The exclusion zone of 40 CFR 170.405(a), as in force since 3 December 2024 (89 FR 80767)."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from apps.equipment.rules.zone import DropletClass, Method, exclusion_zone, label_method
from apps.products.rules.codes import Method as LabelMethod

LAW = "40 CFR 170.405(a)"
RULE = "project rule: the unknown is taken at its widest"

CASES = [
    ("H1 air-blast", Method.AIR_BLAST, DropletClass.COARSE, D(36), 100, "zone_method", LAW),
    ("H2 boom, fine, 20 in", Method.BOOM, DropletClass.FINE, D(20), 100, "zone_fine", LAW),
    ("H3 boom, medium, 20 in", Method.BOOM, DropletClass.MEDIUM, D(20), 25, "zone_high", LAW),
    ("H4 boom, medium, exactly 12 in", Method.BOOM, DropletClass.MEDIUM, D(12), 0, "zone_none", LAW),
    ("H5 boom, medium, 12.5 in", Method.BOOM, DropletClass.MEDIUM, D("12.5"), 25, "zone_high", LAW),
    ("H6 aerial, coarse", Method.AERIAL, DropletClass.COARSE, D(120), 100, "zone_method", LAW),
    ("H7 droplet class unknown", Method.BOOM, None, D(20), 100, "zone_unknown", RULE),
    ("droplet class unknown, low", Method.BOOM, None, D(10), 100, "zone_unknown", RULE),
    ("height unknown", Method.BOOM, DropletClass.COARSE, None, 25, "zone_unknown", RULE),
    ("method unknown", None, DropletClass.COARSE, D(10), 100, "zone_unknown", RULE),
    ("fumigant", Method.FUMIGANT, None, None, 100, "zone_method", LAW),
    ("fog", Method.FOG, DropletClass.COARSE, D(10), 100, "zone_method", LAW),
    ("very fine, low", Method.HANDHELD, DropletClass.VERY_FINE, D(6), 100, "zone_fine", LAW),
    ("ultra coarse, high", Method.BOOM, DropletClass.ULTRA_COARSE, D(30), 25, "zone_high", LAW),
    ("drip", Method.DRIP, None, None, 0, "zone_none", LAW),
    ("soil injection", Method.SOIL_INJECTION, None, None, 0, "zone_none", LAW),
]


@pytest.mark.parametrize(
    ("method", "droplets", "height", "feet", "code", "source"), [c[1:] for c in CASES], ids=[c[0] for c in CASES]
)
def test_distance(
    method: Method | None, droplets: DropletClass | None, height: D | None, feet: int, code: str, source: str
) -> None:
    zone = exclusion_zone(method=method, droplet_class=droplets, release_height_in=height)
    assert (zone.distance_ft, zone.because.code) == (D(feet), code), source


def test_on_the_edge_is_inside() -> None:
    # H12, project rule
    zone = exclusion_zone(method=Method.BOOM, droplet_class=DropletClass.MEDIUM, release_height_in=D(20))
    assert [zone.holds(D(feet)) for feet in ("0", "25", "25.01")] == [True, True, False]


def test_no_zone_holds_nobody_but_says_that_drift_stays_forbidden() -> None:
    zone = exclusion_zone(method=Method.BOOM, droplet_class=DropletClass.MEDIUM, release_height_in=D(12))
    assert not zone.holds(D(0))
    assert zone.because.sentence == (
        "Medium or coarser droplets released at 12 in: no zone. Contact and drift stay forbidden."
    )


def test_classes_run_from_fine_to_coarse() -> None:
    # order of ANSI/ASABE S572
    assert [c.rank for c in DropletClass] == list(range(8))
    assert DropletClass.FINE.rank < DropletClass.MEDIUM.rank < DropletClass.COARSE.rank


def test_words_of_labels() -> None:
    ways = {m: label_method(m) for m in Method}
    assert ways.pop(Method.AERIAL) is LabelMethod.AIR
    assert ways.pop(Method.DRIP) is LabelMethod.CHEMIGATION
    assert set(ways.values()) == {LabelMethod.GROUND}
