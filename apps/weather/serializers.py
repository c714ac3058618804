"""Shapes of readings and sun times in and out."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from rest_framework import serializers

from apps.weather.models import SOURCES
from apps.weather.rules.rain import Gauge
from apps.weather.rules.readings import COMPASS
from apps.weather.rules.sun import SunKind
from farmops import clock
from farmops.problems import finding_json

GAUGES = [(g.value, g.name) for g in Gauge]


class FarmInstant(serializers.DateTimeField):
    """A time with its offset, or the farm's local time without one; a skipped or doubled hour is refused."""

    def enforce_timezone(self, value: datetime) -> datetime:
        return clock.to_utc(value, self.context["farm"].time_zone, field=str(self.field_name))


def _number(digits: int, places: int, **options: Any) -> serializers.DecimalField:
    return serializers.DecimalField(max_digits=digits, decimal_places=places, **options)


class ReadingIn(serializers.Serializer):
    taken_at = FarmInstant(help_text="With an offset, or the farm's local time without one")
    block_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False, allow_null=True)
    wind_mph = _number(5, 1)
    gust_mph = _number(5, 1, required=False, allow_null=True)
    wind_from = serializers.CharField(max_length=3, required=False, allow_blank=True, help_text=" ".join(COMPASS))
    temperature_f = _number(5, 1, required=False, allow_null=True)
    humidity_percent = _number(4, 1, required=False, allow_null=True)
    source = serializers.ChoiceField(choices=SOURCES, default="handheld")
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)


class AirFinding(serializers.Serializer):
    """What a reading says about droplets or inversions."""

    code = serializers.CharField()
    severity = serializers.CharField()
    sentence = serializers.CharField()
    source = serializers.CharField()

    def to_representation(self, instance: Any) -> Any:
        said = finding_json(instance)
        return {name: said[name] for name in ("code", "severity", "sentence", "source")}


class ReadingOut(serializers.Serializer):
    """A reading with its Delta-T and what it says."""

    id = serializers.IntegerField(source="row.id")
    block_id = serializers.IntegerField(source="row.block_id", allow_null=True)
    taken_at = serializers.DateTimeField(source="row.taken_at")
    wind_mph = _number(5, 1, source="row.wind_mph")
    gust_mph = _number(5, 1, source="row.gust_mph", allow_null=True)
    wind_from = serializers.CharField(source="row.wind_from", help_text="Empty: calm or not noted")
    temperature_f = _number(5, 1, source="row.temperature_f", allow_null=True)
    humidity_percent = _number(4, 1, source="row.humidity_percent", allow_null=True)
    source = serializers.CharField(source="row.source")
    note = serializers.CharField(source="row.note")
    taken_by = serializers.CharField(source="row.taken_by.full_name")
    delta_t_c = _number(5, 2, allow_null=True)
    findings = AirFinding(many=True)


class RainfallIn(serializers.Serializer):
    from_at = FarmInstant(help_text="When the gauge was last empty")
    until_at = FarmInstant(help_text="When it was read")
    inches = _number(5, 2, min_value=0)
    block_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False, allow_null=True)
    source = serializers.ChoiceField(choices=GAUGES, default=Gauge.GAUGE.value)
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)


class RainReasonIn(serializers.Serializer):
    reason = serializers.CharField(max_length=400)


class RainfallOut(serializers.Serializer):
    """What one gauge caught from one look to the next."""

    id = serializers.IntegerField()
    block_id = serializers.IntegerField(allow_null=True, help_text="null = the farm at large")
    from_at = serializers.DateTimeField()
    until_at = serializers.DateTimeField()
    inches = _number(5, 2)
    source = serializers.ChoiceField(choices=GAUGES)
    note = serializers.CharField()
    read_by = serializers.CharField(source="read_by.full_name")
    recorded_at = serializers.DateTimeField()
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class SunOut(serializers.Serializer):
    """The sun over the farm on one of its calendar days; no times where it does not rise and set."""

    on = serializers.DateField()
    sun = serializers.ChoiceField(choices=[k.value for k in SunKind], source="times.kind")
    sunrise_at = serializers.DateTimeField(source="times.sunrise_at", allow_null=True)
    sunset_at = serializers.DateTimeField(source="times.sunset_at", allow_null=True)
    dusk_at = serializers.DateTimeField(source="times.dusk_at", allow_null=True, help_text="End of civil twilight")
