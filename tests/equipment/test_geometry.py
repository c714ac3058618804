"""Boom height and overlap against a second derivation; a boom on one side beside drive lanes."""

from __future__ import annotations

import math
from decimal import Decimal as D

import pytest

from apps.equipment.rules import geometry, lanes
from farmops.errors import BadInput
from tests.equipment.worked import rounds_to

# Plain geometry of a straight-edged fan, worked independently: spacing, then for 65, 80, 90, 110 and 120 degrees
# the height in inches for 100 %, 50 % and 30 % overlap counted from the spacing.
HEIGHTS = {
    10: ["15.70 11.77 10.20", "11.92 8.94 7.75", "10.00 7.50 6.50", "7.00 5.25 4.55", "5.77 4.33 3.75"],
    12: ["18.84 14.13 12.24", "14.30 10.73 9.30", "12.00 9.00 7.80", "8.40 6.30 5.46", "6.93 5.20 4.50"],
    15: ["23.55 17.66 15.30", "17.88 13.41 11.62", "15.00 11.25 9.75", "10.50 7.88 6.83", "8.66 6.50 5.63"],
    20: ["31.39 23.55 20.41", "23.84 17.88 15.49", "20.00 15.00 13.00", "14.00 10.50 9.10", "11.55 8.66 7.51"],
    30: ["47.09 35.32 30.61", "35.75 26.81 23.24", "30.00 22.50 19.50", "21.01 15.75 13.65", "17.32 12.99 11.26"],
}
ANGLES = (65, 80, 90, 110, 120)
CELLS = [
    (spacing, angle, overlap, height)
    for spacing, line in HEIGHTS.items()
    for angle, cell in zip(ANGLES, line, strict=True)
    for overlap, height in zip((100, 50, 30), cell.split(), strict=True)
]


@pytest.mark.parametrize(("spacing", "angle", "overlap", "height"), CELLS)
def test_boom_height(spacing: int, angle: int, overlap: int, height: str) -> None:
    found = geometry.boom_height_in(spacing_in=spacing, angle_degrees=angle, overlap_of_spacing_percent=overlap)
    assert rounds_to(found, height)


@pytest.mark.parametrize("angle", ANGLES)
def test_width_by_the_law_of_sines(angle: int) -> None:
    """Second derivation: the fan is an isosceles triangle; its base by the law of sines from the slant edge."""
    height = 20.0
    slant = math.hypot(height, float(geometry.pattern_width_in(height_in=20, angle_degrees=angle)) / 2)
    base = slant * math.sin(math.radians(angle)) / math.sin(math.radians(90 - angle / 2))
    assert float(geometry.pattern_width_in(height_in=20, angle_degrees=angle)) == pytest.approx(base, rel=1e-12)


def test_two_meanings_of_overlap_stay_apart() -> None:
    # T. Wolf, "Broadcast boom nozzle spacing": "100 % overlap" is a pattern twice the spacing.
    assert geometry.overlap_of_spacing_percent(width_in=40, spacing_in=20) == D(100)
    assert geometry.overlap_of_pattern_percent(width_in=40, spacing_in=20) == D(50)
    assert geometry.overlap_of_spacing_percent(width_in=15, spacing_in=20) == D(-25)


def test_old_convention_of_eighty_degrees_at_twenty_inches() -> None:
    # worked by hand: 40 tan 40 degrees = 33.56 in, 68 % over a 20 in spacing
    width = geometry.pattern_width_in(height_in=20, angle_degrees=80)
    assert rounds_to(width, "33.56")
    assert rounds_to(geometry.overlap_of_spacing_percent(width_in=width, spacing_in=20), "68")


def test_clearance_is_above_the_crop() -> None:
    assert geometry.clearance_in(boom_in=30, crop_in=10) == D(20)
    assert geometry.clearance_in(boom_in=30, crop_in=48) == D(-18)


def test_a_fan_of_half_a_circle_is_refused() -> None:
    with pytest.raises(BadInput) as caught:
        geometry.pattern_width_in(height_in=20, angle_degrees=180)
    assert list(caught.value.errors) == ["angle_degrees"]


def test_lanes_at_the_right_spacing() -> None:
    # Plain geometry, worked by hand: swath 30 ft, lane 12 ft, both ways -> 72 ft, 60 of them cropped.
    assert lanes.lane_spacing_ft(swath_ft=30, lane_ft=12) == D(72)
    assert lanes.lane_spacing_ft(swath_ft=30, lane_ft=12, both_ways=False) == D(42)
    plan = lanes.lane_plan(swath_ft=30, lane_ft=12, spacing_ft=72)
    assert (plan.cropped_ft, plan.doubled_ft, plan.missed_ft, plan.mean_dose) == (D(60), D(0), D(0), D(1))
    assert rounds_to(plan.treated_share, "0.833333")
    assert rounds_to(plan.treated_share * 5 * 38, "158.333")  # gallons on 5 gross acres at 38 gal/ac, not 190


def test_lanes_too_close_dose_a_strip_twice() -> None:
    plan = lanes.lane_plan(swath_ft=30, lane_ft=12, spacing_ft=60)
    assert (plan.cropped_ft, plan.doubled_ft, plan.missed_ft, plan.mean_dose) == (D(48), D(12), D(0), D("1.25"))


def test_lanes_too_far_leave_a_strip() -> None:
    plan = lanes.lane_plan(swath_ft=30, lane_ft=12, spacing_ft=80)
    assert (plan.doubled_ft, plan.missed_ft) == (D(0), D(8))
    assert plan.treated_share == D("0.75")


def test_passes_over_the_cropped_width() -> None:
    assert [lanes.passes(cropped_ft=ft, swath_ft=30) for ft in (60, 61, 29)] == [2, 3, 1]


@pytest.mark.parametrize(("swath", "spacing", "field"), [(30, 12, "spacing_ft"), (60, 70, "swath_ft")])
def test_impossible_lanes_name_the_field(swath: int, spacing: int, field: str) -> None:
    with pytest.raises(BadInput) as caught:
        lanes.lane_plan(swath_ft=swath, lane_ft=12, spacing_ft=spacing)
    assert list(caught.value.errors) == [field]
