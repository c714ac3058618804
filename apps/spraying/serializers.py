"""Shapes of jobs going in. Amounts are decimal text; times without an offset are the farm's local time."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.products.rules import RateBasis
from apps.spraying.rules import PRESETS
from apps.spraying.rules.enclosed import INSIDE_NAMES, Inside
from apps.spraying.rules.house import BY_NAME
from apps.weather.rules.readings import COMPASS
from apps.work.serializers import FarmTime
from farmops.errors import Severity
from farmops.units import PRODUCT_UNITS

BIG = 2**63 - 1
SEVERITIES = [(s.value, s.name) for s in Severity]
_AMOUNT = {"type": "string", "description": "A decimal such as 1.5"}


def _id(**options: Any) -> serializers.IntegerField:
    return serializers.IntegerField(min_value=1, max_value=BIG, **options)


@extend_schema_field(_AMOUNT)
class AmountField(serializers.Field):
    """Text or number as typed; the rules read it, so that nothing is rounded on the way in."""

    def to_internal_value(self, data: Any) -> str:
        if isinstance(data, bool) or not isinstance(data, str | int | float):
            raise serializers.ValidationError("Must be a number, like 1.5.")
        return str(data)

    def to_representation(self, value: Any) -> str:
        return str(value)


class BlockLineIn(serializers.Serializer):
    block_id = _id()
    planned_acres = AmountField(required=False, allow_null=True, help_text="The planted acres if left out")
    zone = serializers.CharField(
        required=False, allow_blank=True, max_length=30, help_text="Name of the part whose history counts"
    )


class ProductLineIn(serializers.Serializer):
    product_id = _id()
    rate_amount = AmountField()
    rate_unit = serializers.ChoiceField(choices=[*PRODUCT_UNITS, "%vv"])
    rate_basis = serializers.ChoiceField(
        choices=[(b.value, b.name) for b in RateBasis], required=False, default=RateBasis.PER_ACRE.value
    )


class JobEdit(serializers.Serializer):
    blocks = BlockLineIn(many=True)
    products = ProductLineIn(many=True)
    targets = serializers.ListField(
        child=serializers.CharField(max_length=60), required=False, max_length=10, help_text="Such as powdery_mildew"
    )
    sprayer_id = _id()
    applicator_id = _id(required=False, allow_null=True, help_text="A person id; needed before the job is assigned")
    supervisor_id = _id(required=False, allow_null=True)
    window_starts_at = FarmTime()
    window_ends_at = FarmTime()
    spray_gpa = AmountField(required=False, allow_null=True, help_text="The sprayer's calibration if left out")
    water_ph = AmountField(required=False, allow_null=True)
    surfactant = serializers.BooleanField(required=False)
    expected_wind_mph = AmountField(required=False, allow_null=True, help_text="As forecast for the window")
    expected_high_f = AmountField(required=False, allow_null=True, help_text="Highest temperature forecast that day")
    expected_dry_hours = AmountField(required=False, allow_null=True, help_text="Hours without rain after the spray")
    notes = serializers.CharField(required=False, allow_blank=True, max_length=4000)


class JobIn(JobEdit):
    """All that a new job needs; what is not required may be left out."""


class JobStepIn(serializers.Serializer):
    version = serializers.IntegerField(
        required=False, min_value=1, max_value=BIG, help_text="The version you read; refused if the job changed since"
    )


class AssignIn(JobStepIn):
    reason = serializers.CharField(
        required=False, allow_blank=True, max_length=2000, help_text="Needed when the check asks for one"
    )


class CallOffIn(JobStepIn):
    reason = serializers.CharField(max_length=2000)


class EndReadingsIn(serializers.Serializer):
    wind_mph = AmountField(required=False, allow_null=True)
    gust_mph = AmountField(required=False, allow_null=True)
    wind_from = serializers.ChoiceField(choices=COMPASS, required=False, allow_blank=True)
    temperature_f = AmountField(required=False, allow_null=True)
    humidity_percent = AmountField(required=False, allow_null=True)


class FieldReadingsIn(EndReadingsIn):
    wind_mph = AmountField()
    temperature_f = AmountField()
    humidity_percent = AmountField()


class StartIn(JobStepIn, FieldReadingsIn):
    inside_buildings = serializers.ChoiceField(
        choices=[(i.value, INSIDE_NAMES[i]) for i in Inside],
        required=False,
        allow_blank=True,
        help_text="Who is in closed buildings in the exclusion zone; needed when a mapped house or school lies in it",
    )
    reason = serializers.CharField(
        required=False, allow_blank=True, max_length=2000, help_text="Needed when a finding asks for one now"
    )


@extend_schema_field({"type": "object", "additionalProperties": True, "description": "GeoJSON (RFC 7946)"})
class PartField(serializers.JSONField):
    """Any JSON value; the rules of the land read it."""


class TreatedIn(serializers.Serializer):
    block_id = _id()
    treated_acres = AmountField(required=False, allow_null=True, help_text="0 if none; may be left out with a part")
    part = PartField(required=False, allow_null=True)
    part_note = serializers.CharField(required=False, allow_blank=True, max_length=200)


class UsedIn(serializers.Serializer):
    product_id = _id()
    amount = AmountField()
    unit = serializers.ChoiceField(choices=PRODUCT_UNITS)


class DoneIn(JobStepIn):
    started_at = FarmTime()
    ended_at = FarmTime()
    loads = AmountField()
    sprayed_gal = AmountField(
        required=False, allow_null=True, help_text="Filled in less left over; gives the real rate"
    )
    blocks = TreatedIn(many=True)
    products = UsedIn(many=True)
    end_readings = EndReadingsIn(required=False)
    deviation_reason = serializers.CharField(
        required=False, allow_blank=True, max_length=2000, help_text="Needed when a rate is more than 5 % off the plan"
    )


class CorrectIn(DoneIn):
    """The same again; with other people on it, also why."""

    applicator_id = _id(required=False, help_text="Who really made it; as it stands if left out")
    supervisor_id = _id(required=False, allow_null=True, help_text="Who really supervised it; null = nobody")
    reason = serializers.CharField(
        required=False, allow_blank=True, max_length=2000, help_text="Needed when somebody else is named"
    )


class LateIn(DoneIn):
    readings = FieldReadingsIn(help_text="As they were at the start")
    reason = serializers.CharField(max_length=2000)


class SignIn(JobStepIn):
    password = serializers.CharField(trim_whitespace=False, max_length=200)
    checked = serializers.BooleanField(help_text="I checked the record. Must be true.")
    body_hash = serializers.CharField(max_length=64, help_text="As it came with the read-back")


class NotAppliedIn(SignIn):
    reason = serializers.CharField(max_length=2000)


class HeadIn(serializers.Serializer):
    """A chain head as it was kept."""

    farm = serializers.CharField(required=False, max_length=60)
    records = serializers.IntegerField(min_value=0, max_value=BIG)
    head = serializers.CharField(max_length=64)
    at = serializers.CharField(required=False, allow_blank=True, max_length=40)
    grown = serializers.DictField(
        child=serializers.ListField(
            child=serializers.IntegerField(min_value=0, max_value=BIG), min_length=2, max_length=2
        ),
        required=False,
    )


def _house_number(name: str) -> AmountField:
    limit = BY_NAME[name]
    bounds = f"{limit.unit}, {limit.least} to {limit.most}; null: as shipped ({limit.shipped})"
    return AmountField(required=False, allow_null=True, help_text=bounds)


class SpraySettingsEdit(serializers.Serializer):
    preset = serializers.ChoiceField(choices=sorted(PRESETS))
    history_known_from = serializers.DateField(
        allow_null=True, help_text="Every spray from this day on is in this book"
    )
    interval_from_days = serializers.IntegerField(min_value=1, max_value=60)
    interval_to_days = serializers.IntegerField(min_value=1, max_value=60)
    calm_wind_mph = _house_number("calm_wind_mph")
    wind_max_mph = _house_number("wind_max_mph")
    season_near_percent = _house_number("season_near_percent")
    gpa_tolerance_percent = _house_number("gpa_tolerance_percent")
    reading_good_minutes = _house_number("reading_good_minutes")
    bee_drift_ft = _house_number("bee_drift_ft")
    hive_notice_ft = _house_number("hive_notice_ft")
    general_use_certificate = serializers.ChoiceField(
        choices=SEVERITIES,
        required=False,
        help_text="What a missing certificate means for general-use products; shipped: note",
    )
