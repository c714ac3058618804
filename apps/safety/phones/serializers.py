"""Shapes of numbers to call."""

from __future__ import annotations

from rest_framework import serializers

from apps.safety.phones.rules import Purpose

PURPOSES = [(p.value, p.name) for p in Purpose]


class NumberIn(serializers.Serializer):
    purpose = serializers.ChoiceField(choices=PURPOSES)
    name = serializers.CharField(max_length=120)
    number = serializers.CharField(max_length=30)
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)


class NumberOut(NumberIn):
    id = serializers.IntegerField()
    version = serializers.IntegerField()
