"""Shapes of lists of trainings."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.training.lists.rules import Answer, Outcome
from farmops.csv_doors import CsvIn, RowFaultOut, faults_json


class TrainingListIn(CsvIn):
    """A CSV file as text. Its first line names the columns: person, training, date, and topic, trainer, note."""


class TrainingRowOut(serializers.Serializer):
    row = serializers.IntegerField(help_text="As a spreadsheet numbers it")
    outcome = serializers.ChoiceField(choices=[(o.value, o.name) for o in Outcome])
    faults = RowFaultOut(many=True)

    def to_representation(self, instance: Answer) -> dict[str, Any]:
        return {"row": instance.row, "outcome": instance.outcome.value, "faults": faults_json(instance.faults)}


class TrainingListOut(serializers.Serializer):
    """The answer to every row."""

    good = serializers.BooleanField()
    rows = TrainingRowOut(source="answers", many=True)
