"""Shapes of the mix sheet in and out."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.products.rules import MixingStage
from apps.spraying.mix import wording
from apps.spraying.mix.rules import Because
from apps.spraying.shapes import JobFindingOut


def _exact(**options: Any) -> serializers.DecimalField:
    return serializers.DecimalField(max_digits=None, decimal_places=None, **options)


class TickIn(serializers.Serializer):
    load = serializers.IntegerField(min_value=0, max_value=1000, help_text="0: before the first or after the last load")
    step = serializers.CharField(max_length=40)
    done = serializers.BooleanField(default=True, help_text="false takes the tick back")
    happened_at = serializers.DateTimeField(required=False, allow_null=True, help_text="When it was pressed; else now")
    sheet = serializers.CharField(max_length=16, required=False, allow_blank=True, help_text="digest of the sheet seen")
    even = serializers.BooleanField(default=False, help_text="Ticked on the sheet of even loads")
    person_id = serializers.IntegerField(required=False, allow_null=True, help_text="Who was logged in when pressed")


class TickOut(serializers.Serializer):
    load = serializers.IntegerField()
    step = serializers.CharField()
    done = serializers.BooleanField()
    sheet = serializers.CharField()
    happened_at = serializers.DateTimeField()
    at = serializers.DateTimeField(help_text="When it arrived")
    by = serializers.CharField(source="by.full_name")
    said = serializers.SerializerMethodField(help_text="The same in words, in the reader's language")

    @extend_schema_field(str)
    def get_said(self, row: Any) -> str:
        return wording.saved(row, self.context["farm"].time_zone)


class PortionOut(serializers.Serializer):
    """One product in one load. ``measured`` is never more than ``amount``."""

    product_id = serializers.IntegerField()
    product = serializers.CharField(source="name")
    amount = _exact(source="measure.exact.amount")
    unit = serializers.CharField(source="measure.exact.unit")
    measured = serializers.CharField(source="measure")


class LoadOut(serializers.Serializer):
    number = serializers.IntegerField()
    acres = _exact()
    mix_gal = _exact(help_text="What the acres take")
    mark_gal = _exact(help_text="Where the tank is filled to")
    first_water_gal = _exact()
    last_water_gal = _exact(help_text="With the rinse water of emptied containers")
    portions = PortionOut(many=True)


class PlacedOut(serializers.Serializer):
    product_id = serializers.IntegerField(source="line.product_id")
    product = serializers.CharField(source="line.name")
    stage = serializers.ChoiceField(choices=[(s.value, s.name) for s in MixingStage], allow_null=True)
    because = serializers.ChoiceField(choices=[(b.value, b.name) for b in Because])


class MixTotalOut(serializers.Serializer):
    """All loads together as measured, and what the acres would take uncut."""

    product_id = serializers.IntegerField()
    product = serializers.CharField(source="name")
    unit = serializers.CharField(source="measured.unit")
    measured = _exact(source="measured.amount")
    planned = _exact(source="planned.amount")


class JarOut(serializers.Serializer):
    product_id = serializers.IntegerField()
    product = serializers.CharField(source="name")
    amount = _exact(source="amount.amount")
    unit = serializers.CharField(source="amount.unit")


class GearOut(serializers.Serializer):
    product = serializers.CharField()
    mixing = serializers.CharField()
    applying = serializers.CharField()


class PumpOut(serializers.Serializer):
    boom_gpm = _exact()
    agitation_gpm = _exact()
    needed_gpm = _exact()
    minutes_per_full_load = _exact()


class MixSheetOut(serializers.Serializer):
    """The mix sheet of a job: loads in the order of filling, cautions, gear, entry, and what is ticked."""

    digest = serializers.CharField(source="sheet.digest")
    even = serializers.BooleanField(source="sheet.even")
    changed = serializers.BooleanField(help_text="Something was ticked on a sheet that said something else")
    order = PlacedOut(many=True, source="sheet.order")
    loads = LoadOut(many=True, source="sheet.loads")
    totals = MixTotalOut(many=True, source="sheet.totals")
    jar_per_pint = JarOut(many=True, source="jar")
    cautions = JobFindingOut(many=True)
    gear = GearOut(many=True)
    rei_hours = _exact(source="entry.hours", allow_null=True, help_text="null: not known, which is not zero")
    telling = JobFindingOut(source="entry.telling")
    pump = PumpOut(allow_null=True)
    ticks = TickOut(many=True)

    def to_representation(self, instance: Any) -> Any:
        return super().to_representation(_Shown(instance))


class _Shown:
    """The sheet with its gear in words and its ticks as a list."""

    def __init__(self, made: Any) -> None:
        self._made = made
        self.gear, self.ticks = wording.wear(made), list(made.ticks.values())

    def __getattr__(self, name: str) -> Any:
        return getattr(self._made, name)
