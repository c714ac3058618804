"""Sprayer arithmetic, the calibration and the exclusion zone, as plain functions and facts.

Every formula is reckoned in exact fractions and answered in Decimal with 28 digits; rounding is left
to whoever shows a number, and a dose is then only ever rounded down.
"""

from apps.equipment.rules.calibration import CalibrationFacts, SprayerFacts
from apps.equipment.rules.catch import CatchTest, Verdict, judge_catches
from apps.equipment.rules.course import speed_mph
from apps.equipment.rules.doses import ProductLoads, dose, product_loads
from apps.equipment.rules.flow import gpa, gpa_whole_boom
from apps.equipment.rules.tank import LoadPlan, loads
from apps.equipment.rules.zone import DropletClass, ExclusionZone, Method, exclusion_zone

__all__ = [
    "CalibrationFacts",
    "CatchTest",
    "DropletClass",
    "ExclusionZone",
    "LoadPlan",
    "Method",
    "ProductLoads",
    "SprayerFacts",
    "Verdict",
    "dose",
    "exclusion_zone",
    "gpa",
    "gpa_whole_boom",
    "judge_catches",
    "loads",
    "product_loads",
    "speed_mph",
]
