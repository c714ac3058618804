"""Shapes of packets in and out."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.reports.packet.rules import Ask, Audience, PacketState

AUDIENCES = [a.value for a in Audience]
STATES = [s.value for s in PacketState]
BIG = 2**63 - 1


class PacketIn(serializers.Serializer):
    """What a packet is to hold. A worker who asks about themselves sends only the audience and the days."""

    audience = serializers.ChoiceField(choices=AUDIENCES)
    first_on = serializers.DateField(required=False, allow_null=True, help_text="First farm day it was sprayed on")
    last_on = serializers.DateField(required=False, allow_null=True, help_text="Last farm day, counted in")
    block_id = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=BIG)
    product_id = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=BIG)
    about = serializers.CharField(required=False, allow_blank=True, max_length=120, help_text="Worker or patient")
    asked_for_by = serializers.CharField(required=False, allow_blank=True, max_length=200)
    named_on = serializers.DateField(
        required=False, allow_null=True, help_text="Day the worker named the representative in writing"
    )
    language = serializers.ChoiceField(choices=["en", "es"], default="en")


def ask_of(values: dict[str, Any]) -> Ask:
    """Checked values as an ask."""
    return Ask(**{**values, "audience": Audience(values["audience"])})


class PacketFileOut(serializers.Serializer):
    name = serializers.CharField()
    media = serializers.CharField()
    bytes = serializers.IntegerField()
    sha256 = serializers.CharField()


class AskOut(serializers.Serializer):
    """As it was asked for."""

    audience = serializers.ChoiceField(choices=AUDIENCES)
    first_on = serializers.DateField(allow_null=True)
    last_on = serializers.DateField(allow_null=True)
    block_id = serializers.IntegerField(allow_null=True)
    product_id = serializers.IntegerField(allow_null=True)
    about = serializers.CharField(allow_blank=True)
    asked_for_by = serializers.CharField(allow_blank=True)
    named_on = serializers.DateField(allow_null=True)
    language = serializers.CharField()


class PacketOut(serializers.Serializer):
    """A packet and how far it is. Its files are fetched at ``files/{name}/`` below it."""

    id = serializers.IntegerField()
    asked_by = serializers.CharField(source="asked_by.full_name")
    asked_at = serializers.DateTimeField()
    ask = AskOut()
    standing = serializers.ChoiceField(choices=STATES, source="state")
    done = serializers.IntegerField(help_text="Records written so far")
    total = serializers.IntegerField()
    made_at = serializers.DateTimeField(allow_null=True)
    expires_at = serializers.DateTimeField(allow_null=True)
    through_record = serializers.IntegerField(source="last_seq", help_text="The newest record that was looked at")
    findings = serializers.IntegerField(help_text="Blanks in records and sprays without a record")
    files = PacketFileOut(many=True)
