"""Shapes of the plant-back answer."""

from __future__ import annotations

from rest_framework import serializers

from apps.safety.rules import Word
from apps.spraying.shapes import JobFindingOut


class PlantingAnswerOut(serializers.Serializer):
    """May this crop be planted here that day? ``unknown`` is never a yes. The label in hand is the law."""

    site_code = serializers.CharField()
    planted_on = serializers.DateField()
    harvested = serializers.BooleanField(help_text="false: a cover that is neither grazed nor harvested")
    planned = serializers.BooleanField(help_text="Whether it stands in the plan of the block")
    answer = serializers.ChoiceField(choices=[(w.value, w.name) for w in Word])
    opens_on = serializers.DateField(allow_null=True, help_text="First day that nothing on record refuses")
    findings = JobFindingOut(many=True)
