"""Shapes of the home pages and charts going out."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language, gettext
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.dashboard.charts import Chart
from apps.dashboard.queries import Closed
from apps.dashboard.rules import Need, Urgency
from farmops import wording


class ChartName(serializers.Serializer):
    """One chart there is, with its question and the sentence that answers it now."""

    name = serializers.CharField()
    question = serializers.CharField()
    answer = serializers.CharField()


class ColumnOut(serializers.Serializer):
    key = serializers.CharField()
    title = serializers.CharField()
    number = serializers.BooleanField()


class CellOut(serializers.Serializer):
    value = serializers.CharField(
        allow_null=True, help_text="ISO instant with offset, ISO day, decimal or text; null = unknown"
    )
    text = serializers.CharField(help_text="The same in the reader's words")


@extend_schema_field({"type": "object", "additionalProperties": True, "nullable": True})
class FigureOut(serializers.Field):
    """A Plotly figure: ``data`` and ``layout``; times are farm-local without offset."""

    def to_representation(self, value: Any) -> Any:
        return value


class ChartOut(ChartName):
    """A chart and the table it was drawn from."""

    as_of = serializers.DateTimeField()
    time_zone = serializers.CharField()
    notes = serializers.ListField(child=serializers.CharField())
    columns = ColumnOut(many=True)
    rows = serializers.ListField(child=serializers.DictField(child=CellOut()))
    figure = FigureOut(allow_null=True)

    def to_representation(self, instance: Any) -> Any:
        chart: Chart = instance["chart"]
        shown = {**chart.as_json(), "as_of": instance["as_of"], "time_zone": instance["time_zone"]}
        return super().to_representation(shown)


class ClosedOut(serializers.Serializer):
    """A block nobody may enter now, judged by the strictest work."""

    block_id = serializers.IntegerField(source="block.pk")
    block = serializers.CharField(source="block.__str__")
    answer = serializers.SerializerMethodField()
    opens_at = serializers.DateTimeField(allow_null=True)

    @extend_schema_field({"type": "string", "enum": ["no", "unknown"]})
    def get_answer(self, row: Closed) -> str:
        return row.answer.answer.value


class NeedOut(serializers.Serializer):
    urgency = serializers.ChoiceField(choices=[(u.value, u.name) for u in Urgency])
    sentence = serializers.SerializerMethodField()
    path = serializers.CharField()

    def get_sentence(self, row: Need) -> str:
        return wording.fill(gettext(row.template), row.numbers, get_language())


class HomeJob(serializers.Serializer):
    id = serializers.IntegerField()
    number = serializers.IntegerField()
    state = serializers.CharField()
    blocks = serializers.SerializerMethodField()
    window_starts_at = serializers.DateTimeField()
    window_ends_at = serializers.DateTimeField()
    applicator = serializers.CharField(source="applicator.full_name", allow_null=True, default=None)

    def get_blocks(self, row: Any) -> list[str]:
        return [str(b.block) for b in row.job_blocks.all()]


class TodayOut(serializers.Serializer):
    """What a manager sees first."""

    as_of = serializers.DateTimeField()
    blocks = serializers.IntegerField(help_text="Blocks in use")
    closed = ClosedOut(many=True)
    needs = NeedOut(many=True, help_text="At most seven, the most urgent first")
    more_needs = serializers.IntegerField()
    jobs = HomeJob(many=True, help_text="Of today and tomorrow")


class MyCertificateOut(serializers.Serializer):
    number = serializers.CharField()
    jurisdiction = serializers.CharField()
    valid_to = serializers.DateField()


class HomeTask(serializers.Serializer):
    id = serializers.IntegerField()
    title = serializers.CharField()
    block = serializers.CharField(source="block.__str__")
    state = serializers.CharField()
    starts_at = serializers.DateTimeField()


class MyDayOut(serializers.Serializer):
    """One's own next job, certificate and open tasks."""

    as_of = serializers.DateTimeField()
    job = HomeJob(allow_null=True)
    more_jobs = serializers.IntegerField()
    certificate = MyCertificateOut(allow_null=True, help_text="The one that counts on this farm today")
    tasks = HomeTask(many=True)
