"""Shapes of lists of trainings."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language, gettext
from rest_framework import serializers

from apps.training.lists.rules import Answer, Outcome
from farmops import wording
from farmops.csv_read import MOST_CHARACTERS, Fault


class TrainingListIn(serializers.Serializer):
    """A CSV file as text. Its first line names the columns: person, training, date, and topic, trainer, note."""

    name = serializers.CharField(max_length=200)
    text = serializers.CharField(max_length=MOST_CHARACTERS, trim_whitespace=False)


def said(fault: Fault) -> str:
    """A fault in the reader's language."""
    return wording.fill(gettext(fault.template), fault.numbers, get_language())


class TrainingFaultOut(serializers.Serializer):
    column = serializers.CharField(help_text="Empty = the row as a whole")
    said = serializers.CharField()

    def to_representation(self, instance: Fault) -> dict[str, Any]:
        return {"column": instance.column, "said": said(instance)}


class TrainingRowOut(serializers.Serializer):
    row = serializers.IntegerField(help_text="As a spreadsheet numbers it")
    outcome = serializers.ChoiceField(choices=[(o.value, o.name) for o in Outcome])
    faults = TrainingFaultOut(many=True)

    def to_representation(self, instance: Answer) -> dict[str, Any]:
        faults = [TrainingFaultOut().to_representation(f) for f in instance.faults]
        return {"row": instance.row, "outcome": instance.outcome.value, "faults": faults}


class TrainingListOut(serializers.Serializer):
    """The answer to every row."""

    good = serializers.BooleanField()
    rows = TrainingRowOut(source="answers", many=True)
