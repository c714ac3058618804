"""Shapes of bringing the past in."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.spraying.bringing.rules import Answer
from farmops.csv_doors import CsvIn, RowFaultOut, faults_json


class BringIn(CsvIn):
    """A CSV file as text. Its first line names the columns: date, block, product, amount, unit, acres and others."""


class RowAnswerOut(serializers.Serializer):
    row = serializers.IntegerField(help_text="As a spreadsheet numbers it")
    good = serializers.BooleanField()
    faults = RowFaultOut(many=True)

    def to_representation(self, instance: Answer) -> dict[str, Any]:
        return {"row": instance.row, "good": not instance.faults, "faults": faults_json(instance.faults)}


class ExaminedOut(serializers.Serializer):
    """The answer to every row. Nothing is written; ``known`` = this very file was brought in before."""

    good = serializers.BooleanField()
    known = serializers.IntegerField(source="known.pk", allow_null=True, default=None)
    rows = RowAnswerOut(source="answers", many=True)


class BroughtFileOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    rows = serializers.IntegerField(source="rows_count")
    digest = serializers.CharField()
    brought_by = serializers.CharField(source="brought_by.full_name")
    brought_at = serializers.DateTimeField()


class BroughtSprayOut(serializers.Serializer):
    """One application brought in: not signed here."""

    file_id = serializers.IntegerField()
    row = serializers.IntegerField()
    block_id = serializers.IntegerField()
    block = serializers.CharField(source="block.__str__")
    product_id = serializers.IntegerField()
    product = serializers.CharField(source="product.name")
    label_version = serializers.IntegerField(source="label_version.number")
    site_code = serializers.CharField()
    started_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField()
    date_only = serializers.BooleanField()
    treated_acres = serializers.DecimalField(max_digits=10, decimal_places=4)
    amount = serializers.DecimalField(max_digits=14, decimal_places=4)
    unit = serializers.CharField()
    applicator = serializers.CharField()
    certificate = serializers.CharField()
    note = serializers.CharField()
    signed_here = serializers.SerializerMethodField()

    def get_signed_here(self, row: Any) -> bool:
        return False
