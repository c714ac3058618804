"""Shapes of credits."""

from __future__ import annotations

from rest_framework import serializers


class CreditIn(serializers.Serializer):
    person_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    jurisdiction = serializers.CharField(max_length=20)
    held_on = serializers.DateField()
    amount = serializers.DecimalField(max_digits=5, decimal_places=2)
    course = serializers.CharField(max_length=160)
    course_number = serializers.CharField(max_length=60, required=False, allow_blank=True)


class CreditOut(serializers.Serializer):
    id = serializers.IntegerField()
    person_id = serializers.IntegerField()
    person = serializers.CharField(source="person.full_name")
    jurisdiction = serializers.CharField()
    held_on = serializers.DateField()
    amount = serializers.DecimalField(max_digits=5, decimal_places=2)
    course = serializers.CharField()
    course_number = serializers.CharField()
    struck_at = serializers.DateTimeField(allow_null=True)
    struck_because = serializers.CharField()


class CreditStrikeIn(serializers.Serializer):
    because = serializers.CharField(max_length=200)
