"""Shapes of who may do what."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.training.today.rules import Deed, Word
from farmops.problems import finding_json


class ReasonOut(serializers.Serializer):
    code = serializers.CharField()
    severity = serializers.CharField()
    sentence = serializers.CharField()
    source = serializers.CharField()

    def to_representation(self, instance: Any) -> dict[str, Any]:
        told = finding_json(instance)
        return {name: told[name] for name in self.fields}


class LeaveOut(serializers.Serializer):
    """One deed. ``until`` is the last day a yes holds as things stand."""

    deed = serializers.ChoiceField(choices=[d.value for d in Deed])
    may = serializers.ChoiceField(choices=[w.value for w in Word], source="word")
    until = serializers.DateField(allow_null=True)
    under = serializers.ListField(child=serializers.CharField(), help_text="Who may supervise")
    reasons = ReasonOut(many=True)


class PersonLeavesOut(serializers.Serializer):
    person_id = serializers.IntegerField()
    name = serializers.CharField()
    deeds = LeaveOut(many=True, source="leaves")
