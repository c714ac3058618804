"""Shapes of kept answers and possible exposures."""

from __future__ import annotations

from rest_framework import serializers

from apps.safety.rules import Word
from apps.safety.seen.rules import How


class AnswerGivenOut(serializers.Serializer):
    """What somebody was told; never an answer to go by again."""

    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    block = serializers.CharField()
    person_id = serializers.IntegerField()
    person = serializers.CharField()
    asked_at = serializers.DateTimeField()
    about_at = serializers.DateTimeField()
    good_until = serializers.DateTimeField()
    answer_given = serializers.ChoiceField(choices=[(w.value, w.name) for w in Word], source="answer")
    activity = serializers.CharField()
    rest = serializers.BooleanField()
    how = serializers.ChoiceField(choices=[(h.value, h.name) for h in How])


class ExposedOut(serializers.Serializer):
    person_id = serializers.IntegerField()
    name = serializers.CharField()
    started = serializers.DateTimeField(source="from")
    ended = serializers.DateTimeField(source="to")
    activity = serializers.CharField()
    how = serializers.CharField()


class PossibleExposureOut(serializers.Serializer):
    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    block = serializers.CharField()
    source = serializers.CharField()
    found_at = serializers.DateTimeField()
    products = serializers.ListField(child=serializers.CharField())
    people = serializers.SerializerMethodField()

    def get_people(self, row: object) -> list[dict]:
        lines = row.people  # type: ignore[attr-defined]
        return [ExposedOut(line).data for line in lines]
