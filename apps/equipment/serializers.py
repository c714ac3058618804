"""Shapes of sprayers, calibrations and calculators in and out."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.equipment.queries import catch_test_of
from apps.equipment.rules import DropletClass, Method, Verdict
from apps.equipment.rules.calibration import LIFE_DAYS
from apps.equipment.rules.measuring import CATCH_UNITS
from apps.products.rules import RateBasis
from farmops.problems import finding_json
from farmops.units import PRODUCT_UNITS

METHODS = [m.value for m in Method]
DROPLETS = [c.value for c in DropletClass]
VERDICTS = [(v.value, v.name) for v in Verdict]


def _amount(digits: int, places: int, **options: Any) -> serializers.DecimalField:
    return serializers.DecimalField(max_digits=digits, decimal_places=places, **options)


def _exact(**options: Any) -> serializers.DecimalField:
    return serializers.DecimalField(max_digits=None, decimal_places=None, **options)


def _reading(**options: Any) -> serializers.DecimalField:
    return _amount(8, 2, min_value=0, **options)


class FindingOut(serializers.Serializer):
    """Why a sprayer is not ready, or what a test says."""

    code = serializers.CharField()
    severity = serializers.CharField()
    sentence = serializers.CharField()
    template = serializers.CharField()
    numbers = serializers.DictField(child=serializers.CharField())
    source = serializers.CharField()
    field = serializers.CharField()
    subject = serializers.CharField()

    def to_representation(self, instance: Any) -> Any:
        return instance if isinstance(instance, dict) else finding_json(instance)


# ---- sprayers --------------------------------------------------------------------------


class SprayerEdit(serializers.Serializer):
    name = serializers.CharField(max_length=80)
    method = serializers.ChoiceField(choices=METHODS)
    tank_gal = _amount(8, 2, min_value=1)
    usable_gal = _amount(8, 2, min_value=1, help_text="What the pump can spray out of a full tank")
    swath_ft = _amount(6, 2, min_value=0, help_text="Width sprayed in one pass; one side only for a one-sided boom")
    nozzles = serializers.IntegerField(min_value=1, max_value=200)
    spacing_in = _amount(5, 2, min_value=0, required=False, allow_null=True)
    nozzle_name = serializers.CharField(max_length=80, required=False, allow_blank=True)
    nozzle_new_gpm = _amount(7, 4, min_value=0, required=False, allow_null=True, help_text="Flow of a new nozzle")
    nozzle_new_psi = _amount(6, 2, min_value=0, required=False, allow_null=True, help_text="at this pressure")
    droplet_class = serializers.ChoiceField(choices=DROPLETS, required=False, allow_blank=True)
    release_height_in = _amount(6, 2, min_value=0, required=False, allow_null=True, help_text="Above the soil")
    pump_gpm = _amount(7, 2, min_value=0, required=False, allow_null=True, help_text="What the pump gives at work")
    life_days = serializers.IntegerField(min_value=1, max_value=730, required=False, default=LIFE_DAYS)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)


class NozzlesChangedIn(serializers.Serializer):
    changed_on = serializers.DateField()
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)
    version = serializers.IntegerField(min_value=1, max_value=2**31, help_text="The sprayer's version you read")


class RetireIn(serializers.Serializer):
    retired = serializers.BooleanField()
    version = serializers.IntegerField(min_value=1, max_value=2**31, help_text="The sprayer's version you read")


class CalibrationNow(serializers.Serializer):
    """The calibration that counts on the day asked for."""

    id = serializers.IntegerField()
    gpa = _exact()
    speed_mph = _exact()
    pressure_psi = _exact()
    measured_on = serializers.DateField()
    good_until = serializers.DateField(help_text="Its last day")


class SprayerOut(serializers.Serializer):
    """A sprayer with the calibration that counts today, or the reason why none does."""

    id = serializers.IntegerField(source="sprayer.id")
    name = serializers.CharField(source="sprayer.name")
    method = serializers.ChoiceField(choices=METHODS, source="sprayer.method")
    tank_gal = _exact(source="sprayer.tank_gal")
    usable_gal = _exact(source="sprayer.usable_gal")
    swath_ft = _exact(source="sprayer.swath_ft")
    nozzles = serializers.IntegerField(source="sprayer.nozzles")
    spacing_in = _exact(source="sprayer.spacing_in", allow_null=True)
    nozzle_name = serializers.CharField(source="sprayer.nozzle_name")
    nozzle_new_gpm = _exact(source="sprayer.nozzle_new_gpm", allow_null=True)
    nozzle_new_psi = _exact(source="sprayer.nozzle_new_psi", allow_null=True)
    droplet_class = serializers.CharField(source="sprayer.droplet_class", help_text="Empty: not known")
    release_height_in = _exact(source="sprayer.release_height_in", allow_null=True)
    pump_gpm = _exact(source="sprayer.pump_gpm", allow_null=True)
    life_days = serializers.IntegerField(source="sprayer.life_days")
    note = serializers.CharField(source="sprayer.note")
    retired_at = serializers.DateTimeField(source="sprayer.retired_at", allow_null=True)
    calibration = CalibrationNow(source="facts.calibration", allow_null=True)
    why_none = FindingOut(source="facts.why", allow_null=True)
    age_days = serializers.IntegerField(allow_null=True)
    days_left = serializers.IntegerField(allow_null=True)
    version = serializers.IntegerField()


# ---- calibrations ----------------------------------------------------------------------


class ReadingsIn(serializers.Serializer):
    catches = serializers.ListField(child=_reading(), min_length=1, max_length=200, help_text="From left to right")
    catch_unit = serializers.ChoiceField(choices=CATCH_UNITS, default="floz")
    seconds = _amount(7, 2, min_value=0, help_text="How long each cup was held")
    course_ft = _amount(8, 2, min_value=0)
    run_seconds = serializers.ListField(child=_reading(), min_length=1, max_length=10, help_text="Each timed run")
    pressure_psi = _amount(6, 2, min_value=0, help_text="At the far nozzle")
    gauge_psi = _amount(6, 2, min_value=0, required=False, allow_null=True, help_text="On the machine's own gauge")
    wanted_gpa = _amount(8, 3, min_value=0, required=False, allow_null=True)


class CalibrationIn(ReadingsIn):
    measured_on = serializers.DateField()
    gear = serializers.CharField(max_length=60, required=False, allow_blank=True, help_text="Gear and engine speed")
    ground = serializers.CharField(max_length=60, required=False, allow_blank=True)
    liquid = serializers.CharField(max_length=60, required=False, allow_blank=True, help_text="water if left out")
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)
    reason = serializers.CharField(max_length=300, required=False, allow_blank=True)


class CupOut(serializers.Serializer):
    position = serializers.IntegerField()
    caught_floz = _exact()
    gpm = _exact()
    off_mean_percent = _exact()
    off_new_percent = _exact(allow_null=True)
    verdict = serializers.ChoiceField(choices=VERDICTS)


class MeasuredOut(serializers.Serializer):
    """What the readings come to; nothing is recorded."""

    gpa = _exact()
    speed_mph = _exact()
    mean_floz = _exact(source="catch.mean_floz")
    mean_gpm = _exact(source="catch.mean_gpm")
    total_gpm = _exact(source="catch.total_gpm")
    cups = CupOut(many=True, source="catch.cups")
    findings = FindingOut(many=True)
    verdict = serializers.ChoiceField(choices=VERDICTS)


class CalibrationOut(serializers.Serializer):
    id = serializers.IntegerField()
    sprayer = serializers.IntegerField(source="sprayer_id")
    measured_on = serializers.DateField()
    good_until = serializers.DateField()
    gpa = _exact()
    speed_mph = _exact()
    total_gpm = _exact()
    pressure_psi = _exact()
    gauge_psi = _exact(allow_null=True)
    verdict = serializers.ChoiceField(choices=VERDICTS)
    findings = FindingOut(many=True)
    reason = serializers.CharField()
    cups = serializers.SerializerMethodField()
    catches = serializers.ListField(child=serializers.CharField())
    catch_unit = serializers.ChoiceField(choices=CATCH_UNITS)
    seconds = _exact()
    course_ft = _exact()
    run_seconds = serializers.ListField(child=serializers.CharField())
    wanted_gpa = _exact(allow_null=True)
    swath_ft = _exact()
    gear = serializers.CharField()
    ground = serializers.CharField()
    liquid = serializers.CharField()
    note = serializers.CharField()
    recorded_at = serializers.DateTimeField()
    recorded_by = serializers.CharField(source="recorded_by.full_name")
    void_on = serializers.DateField(allow_null=True)
    void_because = serializers.CharField()

    @extend_schema_field(CupOut(many=True))
    def get_cups(self, row: Any) -> Any:
        return CupOut(catch_test_of(row).cups, many=True).data


class VoidIn(serializers.Serializer):
    because = serializers.CharField(max_length=200)


# ---- calculators -----------------------------------------------------------------------


class RateSumIn(serializers.Serializer):
    flow = _exact(help_text="Of one nozzle, or of all of them")
    flow_unit = serializers.ChoiceField(choices=["gpm", "floz/min", "l/min"], default="gpm")
    speed = _exact()
    speed_unit = serializers.ChoiceField(choices=["mph", "km/h", "m/s"], default="mph")
    width = _exact(help_text="What that flow covers: the spacing of one nozzle, or the swath")
    width_unit = serializers.ChoiceField(choices=["in", "ft", "cm", "m"], default="in")


class RateSumOut(serializers.Serializer):
    gpa = _exact()
    litres_per_hectare = _exact()
    working = serializers.CharField()
    source = serializers.CharField()


class SpeedSumIn(serializers.Serializer):
    distance = _exact()
    distance_unit = serializers.ChoiceField(choices=["ft", "m"], default="ft")
    seconds = serializers.ListField(child=_exact(), min_length=1, max_length=10, help_text="One or more runs")


class SpeedSumOut(serializers.Serializer):
    mph = _exact()
    km_h = _exact()
    working = serializers.CharField()
    source = serializers.CharField()


class ProductRateIn(serializers.Serializer):
    name = serializers.CharField(max_length=120)
    rate = _exact()
    rate_unit = serializers.ChoiceField(choices=[*PRODUCT_UNITS, "%vv"])
    rate_basis = serializers.ChoiceField(choices=[(b.value, b.name) for b in RateBasis])


class LoadsSumIn(serializers.Serializer):
    area = _exact()
    area_unit = serializers.ChoiceField(choices=["ac", "ha"], default="ac")
    gpa = _exact()
    usable_gal = _exact()
    products = ProductRateIn(many=True, required=False, default=list)


class ProductLoadsOut(serializers.Serializer):
    name = serializers.CharField()
    unit = serializers.CharField()
    full = _exact(help_text="In a full load")
    last = _exact(help_text="In the last load")
    even = _exact(help_text="In each load if all are made alike")
    total = _exact()


class LoadsSumOut(serializers.Serializer):
    acres = _exact()
    total_gal = _exact()
    loads = serializers.IntegerField()
    refills = serializers.IntegerField()
    full_loads = serializers.IntegerField()
    last_gal = _exact()
    even_gal = _exact()
    acres_per_tank = _exact()
    last_acres = _exact()
    even_acres = _exact()
    products = ProductLoadsOut(many=True)
    working = serializers.CharField()
