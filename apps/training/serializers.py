"""Shapes of certificates, trainings and cards in and out."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.training.rules import CertificateKind, TrainingKind

HELD_AS = [k.value for k in CertificateKind]
TRAININGS = [k.value for k in TrainingKind]


class CertificateEdit(serializers.Serializer):
    number = serializers.CharField(max_length=40)
    jurisdiction = serializers.CharField(max_length=20, help_text="State or province, as the farm writes its own")
    held_as = serializers.ChoiceField(choices=HELD_AS, source="kind")
    categories = serializers.ListField(child=serializers.CharField(max_length=40), max_length=30, required=False)
    valid_from = serializers.DateField()
    valid_to = serializers.DateField(help_text="Its last day")
    credits_needed = serializers.DecimalField(
        max_digits=5,
        decimal_places=2,
        min_value=Decimal("0.01"),
        required=False,
        allow_null=True,
        help_text="Credits the issuer asks for before it ends, to renew it",
    )
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)


class CertificateIn(CertificateEdit):
    person_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1)


class SuspensionOut(serializers.Serializer):
    from_on = serializers.DateField()
    lifted_on = serializers.DateField(allow_null=True, help_text="First day on which it counts again")
    reason = serializers.CharField()


class CertificateOut(serializers.Serializer):
    id = serializers.IntegerField()
    person_id = serializers.IntegerField()
    person = serializers.CharField(source="person.full_name")
    number = serializers.CharField()
    jurisdiction = serializers.CharField()
    held_as = serializers.ChoiceField(choices=HELD_AS, source="kind")
    categories = serializers.ListField(child=serializers.CharField())
    valid_from = serializers.DateField()
    valid_to = serializers.DateField()
    credits_needed = serializers.DecimalField(max_digits=5, decimal_places=2, allow_null=True)
    note = serializers.CharField()
    suspensions = serializers.SerializerMethodField()
    version = serializers.IntegerField()

    @extend_schema_field(SuspensionOut(many=True))
    def get_suspensions(self, row: Any) -> Any:
        return SuspensionOut(sorted(row.suspensions.all(), key=lambda s: s.from_on), many=True).data


class SuspendIn(serializers.Serializer):
    from_on = serializers.DateField()
    reason = serializers.CharField(max_length=200)


class LiftIn(serializers.Serializer):
    lifted_on = serializers.DateField()


class TrainingIn(serializers.Serializer):
    person_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    training = serializers.ChoiceField(choices=TRAININGS, source="kind")
    topic = serializers.CharField(max_length=64, required=False, allow_blank=True)
    trained_on = serializers.DateField()
    trainer = serializers.CharField(max_length=120, required=False, allow_blank=True)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)


class TrainingOut(serializers.Serializer):
    id = serializers.IntegerField()
    person_id = serializers.IntegerField()
    person = serializers.CharField(source="person.full_name")
    training = serializers.ChoiceField(choices=TRAININGS, source="kind")
    topic = serializers.CharField()
    trained_on = serializers.DateField()
    trainer = serializers.CharField()
    note = serializers.CharField()
    struck_at = serializers.DateTimeField(allow_null=True)
    struck_because = serializers.CharField()


class StrikeIn(serializers.Serializer):
    because = serializers.CharField(max_length=200)


class RenewalOut(serializers.Serializer):
    """How far a renewal is, in credits."""

    earned = serializers.DecimalField(max_digits=8, decimal_places=2)
    needed = serializers.DecimalField(max_digits=5, decimal_places=2)
    left = serializers.DecimalField(max_digits=5, decimal_places=2)


class CertificateLineOut(serializers.Serializer):
    id = serializers.IntegerField(source="row.id")
    number = serializers.CharField(source="row.number")
    jurisdiction = serializers.CharField(source="row.jurisdiction")
    held_as = serializers.ChoiceField(choices=HELD_AS, source="row.kind")
    categories = serializers.ListField(child=serializers.CharField(), source="row.categories")
    valid_from = serializers.DateField(source="row.valid_from")
    valid_to = serializers.DateField(source="row.valid_to")
    standing = serializers.CharField(source="state", help_text="valid, ended, not_begun or suspended")
    days_left = serializers.IntegerField()
    renewal = RenewalOut(allow_null=True)


class TrainingLineOut(serializers.Serializer):
    training = serializers.ChoiceField(choices=TRAININGS, source="facts.kind")
    topic = serializers.CharField(source="facts.topic")
    trained_on = serializers.DateField(source="facts.trained_on")
    until = serializers.DateField(allow_null=True, help_text="Its last day; empty: until replaced, or by the label")
    days_left = serializers.IntegerField(allow_null=True)


class CardOut(serializers.Serializer):
    """One person's papers today."""

    person_id = serializers.IntegerField()
    name = serializers.CharField()
    certified = serializers.BooleanField(help_text="A certificate is valid today in the farm's own state or province")
    certificates = CertificateLineOut(many=True)
    trainings = TrainingLineOut(many=True)
