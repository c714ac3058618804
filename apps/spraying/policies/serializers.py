"""Shapes of resistance advice."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language, gettext
from rest_framework import serializers

from apps.products.rules import Scheme
from apps.spraying.policies.rules import CLASSES, COUNTS
from apps.spraying.rules import PRESETS
from farmops import wording


def _count(name: str) -> serializers.IntegerField:
    return serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=COUNTS[name])


class AdviceIn(serializers.Serializer):
    """One rule. Counts left out or null: no such limit. It asks for a reason, it never refuses."""

    scheme = serializers.ChoiceField(choices=[(s.value, s.name) for s in Scheme])
    code = serializers.CharField(
        required=False, allow_blank=True, max_length=6, help_text="Empty: each group of the scheme"
    )
    target_classes = serializers.ListField(
        child=serializers.ChoiceField(choices=CLASSES), required=False, help_text="Empty: whatever the target"
    )
    max_in_a_row = _count("max_in_a_row")
    window_most = _count("window_most")
    window_of = _count("window_of")
    max_per_crop = _count("max_per_crop")
    max_per_year = _count("max_per_year")
    share_part = _count("share_part")
    share_whole = _count("share_whole")
    share_from = _count("share_from")
    few = _count("few")
    generation_days = _count("generation_days")
    needs_multisite = serializers.BooleanField(required=False)
    rest_equal = serializers.BooleanField(required=False)
    never_after_failure = serializers.BooleanField(required=False)
    carry_over = serializers.BooleanField(required=False)
    source = serializers.CharField(max_length=300, help_text="Where this advice stands")


class AdviceRow(serializers.Serializer):
    """A rule as the check reads it. ``id`` and ``version`` only in the farm's own table."""

    id = serializers.IntegerField(allow_null=True)
    version = serializers.IntegerField(allow_null=True)
    group = serializers.CharField()
    target_classes = serializers.ListField(child=serializers.CharField())
    limits = serializers.SerializerMethodField(help_text="Each limit as a sentence in the reader's language")
    source = serializers.CharField()
    preset = serializers.CharField(help_text="The shipped table it comes from; empty: the farm's own")
    edited = serializers.BooleanField()

    def get_limits(self, row: Any) -> list[str]:
        return [wording.fill(gettext(t.template), t.numbers, get_language()) for t in row.limits]


class AdviceOut(serializers.Serializer):
    """The advice the farm follows. Label limits are not here: they refuse whatever stands here."""

    preset = serializers.ChoiceField(choices=sorted(PRESETS))
    own_advice = serializers.BooleanField()
    rules = AdviceRow(many=True)


class PresetIn(serializers.Serializer):
    preset = serializers.ChoiceField(choices=sorted(PRESETS))


class DropIn(serializers.Serializer):
    version = serializers.IntegerField(min_value=1, help_text="The version you read")
