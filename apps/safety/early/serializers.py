"""Shapes of early entry. No shape here has a yes."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.safety.rules.early import BRIEFING_NAMES, Briefing, Route
from farmops.problems import finding_json

ROUTES = [(r.value, r.name) for r in Route]
ITEMS = [(b.value, BRIEFING_NAMES[b]) for b in Briefing]


class StatementsIn(serializers.Serializer):
    """What the supervisor states; left out is not stated."""

    hand_labor = serializers.BooleanField(required=False)
    touches_treated = serializers.BooleanField(required=False)
    relies_on_gear = serializers.BooleanField(required=False)
    contact_limited = serializers.BooleanField(required=False)
    unforeseen = serializers.BooleanField(required=False)
    real_loss = serializers.BooleanField(required=False)
    trained_handler = serializers.BooleanField(required=False)
    gear_given = serializers.BooleanField(required=False)


class EarlyEntryLookIn(serializers.Serializer):
    worker_id = serializers.IntegerField()
    route = serializers.ChoiceField(choices=ROUTES)
    starts_at = serializers.DateTimeField()
    minutes = serializers.IntegerField(min_value=1, max_value=1440)
    stated = StatementsIn()
    declaration = serializers.CharField(required=False, allow_blank=True, max_length=200)
    briefed = serializers.ListField(child=serializers.ChoiceField(choices=ITEMS), required=False)


class EarlyEntryIn(EarlyEntryLookIn):
    task = serializers.CharField(max_length=200)
    gear = serializers.CharField(required=False, allow_blank=True, max_length=400)


class RuledOutOut(serializers.Serializer):
    """``ruled_out`` empty is no permission: a named supervisor decides and records it."""

    ruled_out = serializers.SerializerMethodField()
    needs = serializers.CharField()

    def get_ruled_out(self, said: Any) -> list[dict[str, Any]]:
        return [finding_json(f) for f in said["ruled_out"]]


class EarlyEntryOut(serializers.Serializer):
    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    block = serializers.CharField()
    worker_id = serializers.IntegerField()
    worker = serializers.CharField()
    supervisor = serializers.CharField()
    decided_at = serializers.DateTimeField()
    route = serializers.ChoiceField(choices=ROUTES)
    task = serializers.CharField()
    starts_at = serializers.DateTimeField()
    minutes = serializers.IntegerField()
    declaration = serializers.CharField()
    gear = serializers.CharField()
    left_at = serializers.DateTimeField(allow_null=True)
    minutes_used = serializers.IntegerField(allow_null=True)


class LeftIn(serializers.Serializer):
    left_at = serializers.DateTimeField(required=False, help_text="Left out: now")
