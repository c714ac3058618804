"""Shapes of a full explanation: what stops, what asks for a reason, what is noted, and every rule that passed."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language, gettext
from rest_framework import serializers

from apps.spraying.shapes import JobFindingOut
from farmops import wording


class PassedOut(serializers.Serializer):
    """A rule that was asked and had nothing to say, with its arithmetic."""

    rule = serializers.CharField()
    sentence = serializers.SerializerMethodField(help_text="In the reader's language")
    numbers = serializers.DictField(child=serializers.CharField())
    source = serializers.CharField(help_text="Label version and section, law, or advice")
    subject = serializers.CharField(source="about", help_text="Product, ingredient or group; empty: the whole job")

    def get_sentence(self, row: Any) -> str:
        return wording.fill(gettext(row.template), row.numbers, get_language())


class ExplainedBlockOut(serializers.Serializer):
    block_id = serializers.IntegerField()
    block = serializers.CharField()
    refuse = JobFindingOut(many=True, help_text="Stops the job")
    justify = JobFindingOut(many=True, help_text="Needs a written reason")
    note = JobFindingOut(many=True, help_text="For information")
    passed = PassedOut(many=True)


class ExplainedOut(serializers.Serializer):
    """Why may I, or why not: every rule on every block. The label in hand is the law."""

    job_findings = JobFindingOut(many=True, help_text="About the job as a whole")
    blocks = ExplainedBlockOut(many=True)
