"""Shapes of the board's answers."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language
from rest_framework import serializers

from apps.safety import wording
from apps.safety.queries import Line
from apps.safety.rules import Activity, Answer, Because, Kind, LiftReason, Word

WORDS = [(w.value, w.name) for w in Word]
KINDS = [(k.value, k.name) for k in Kind]
ACTIVITIES = [(a.value, a.name) for a in Activity]


class BecauseOut(serializers.Serializer):
    """One reason: what it would say alone, its sentence, its numbers, and whom to ask."""

    code = serializers.CharField()
    answer = serializers.ChoiceField(choices=WORDS)
    sentence = serializers.CharField()
    template = serializers.CharField()
    numbers = serializers.DictField(child=serializers.CharField())
    times = serializers.DictField(child=serializers.DateTimeField())
    kind = serializers.ChoiceField(choices=KINDS, allow_null=True)
    product = serializers.CharField(allow_blank=True)
    set_by = serializers.CharField(allow_blank=True)
    contact = serializers.CharField(allow_blank=True)
    until_at = serializers.DateTimeField(allow_null=True)
    confirmed = serializers.BooleanField()
    source = serializers.CharField()
    closure_id = serializers.IntegerField(allow_null=True)


class AnswerOut(serializers.Serializer):
    """``no`` and ``unknown`` both mean keep out. ``opens_at`` only when the end is known."""

    answer = serializers.ChoiceField(choices=WORDS)
    opens_at = serializers.DateTimeField(allow_null=True)
    because = BecauseOut(many=True)
    as_of = serializers.DateTimeField()
    good_until = serializers.DateTimeField()


class BlockAnswerOut(AnswerOut):
    block_id = serializers.IntegerField()
    block = serializers.CharField()
    activity = serializers.ChoiceField(choices=ACTIVITIES, allow_null=True)
    at = serializers.DateTimeField()


class BoardLineOut(serializers.Serializer):
    block_id = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    field = serializers.CharField()
    entry = AnswerOut()
    harvest = AnswerOut()


class BoardOut(serializers.Serializer):
    as_of = serializers.DateTimeField()
    at = serializers.DateTimeField()
    activity = serializers.ChoiceField(choices=ACTIVITIES, allow_null=True)
    blocks = BoardLineOut(many=True)


class ActivityOut(serializers.Serializer):
    code = serializers.ChoiceField(choices=ACTIVITIES)
    name_en = serializers.CharField()
    name_es = serializers.CharField()


class ClosureOut(serializers.Serializer):
    """A closure as it hangs or hung."""

    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=KINDS)
    reason_code = serializers.CharField()
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField(allow_null=True)
    provisional_ends_at = serializers.DateTimeField(allow_null=True)
    activities = serializers.ListField(child=serializers.CharField())
    product_names = serializers.ListField(child=serializers.CharField())
    source = serializers.CharField()
    set_by_name = serializers.CharField()
    hung_at = serializers.DateTimeField()
    lifted_at = serializers.DateTimeField(allow_null=True)
    lift_reason = serializers.ChoiceField(choices=[(r.value, r.name) for r in LiftReason], allow_blank=True)


def because_json(because: Because, zone: str, language: str | None = None) -> dict[str, Any]:
    """A reason with its sentence in ``language`` (the reader's, if not given)."""
    return {
        "code": because.code,
        "answer": because.answer,
        "sentence": wording.sentence(because, zone, language),
        "template": because.template,
        "numbers": because.numbers,
        "times": {name: at.isoformat() for name, at in because.times.items()},
        "kind": because.kind,
        "product": because.product,
        "set_by": because.set_by,
        "contact": because.contact,
        "until_at": because.until_at,
        "confirmed": because.confirmed,
        "source": because.source,
        "closure_id": because.closure_id,
    }


def answer_json(answer: Answer, zone: str) -> dict[str, Any]:
    """An answer as the API gives it."""
    language = get_language()
    return _answer_json(answer, [because_json(b, zone, language) for b in answer.because])


def _answer_json(answer: Answer, because: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "answer": answer.answer,
        "opens_at": answer.opens_at,
        "because": because,
        "as_of": answer.as_of,
        "good_until": answer.good_until,
    }


def line_json(line: Line, zone: str, language: str | None) -> dict[str, Any]:
    """A block with both its answers; a reason that stands in both is worded once."""
    reasons = {id(b): b for b in (*line.entry.because, *line.harvest.because)}
    worded = {key: because_json(b, zone, language) for key, b in reasons.items()}
    return {
        "block_id": line.block.pk,
        "code": line.block.code,
        "name": line.block.name,
        "field": line.block.field,
        "entry": _answer_json(line.entry, [worded[id(b)] for b in line.entry.because]),
        "harvest": _answer_json(line.harvest, [worded[id(b)] for b in line.harvest.because]),
    }
