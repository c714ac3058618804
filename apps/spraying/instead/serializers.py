"""Shapes of the ways out of a refused job, and of the first evening a mix may go."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language, gettext
from rest_framework import serializers

from apps.spraying.instead.queries import MOST_EVENINGS, Instead
from apps.spraying.rules.alternatives import Suggestion, Turn
from apps.spraying.serializers import BIG, AmountField, BlockLineIn, JobIn, ProductLineIn
from apps.spraying.shapes import CheckOut, JobFindingOut
from apps.work.serializers import FarmTime
from farmops import wording


class ChangeOut(serializers.Serializer):
    """One change of the plan. ``value`` (in ``unit``) is what to put into the plan."""

    turn = serializers.ChoiceField(choices=[(t.value, t.name) for t in Turn], help_text="Which part of the plan")
    sentence = serializers.SerializerMethodField(help_text="In the reader's language")
    value = serializers.CharField(help_text="A rate, a product or person id, acres, or an instant")
    unit = serializers.CharField(help_text="Of the value, where it has one")
    product_id = serializers.IntegerField(allow_null=True)
    answers = serializers.ListField(child=serializers.CharField(), help_text="Codes that come back without it")

    def get_sentence(self, row: Any) -> str:
        return wording.fill(gettext(row.template), row.numbers, get_language())


class LeftOut(serializers.Serializer):
    block = serializers.CharField()
    findings = JobFindingOut(many=True)


class AdoptedPlan(serializers.Serializer):
    """Changes of a plan; what is left out stays as it is planned."""

    blocks = BlockLineIn(many=True, required=False)
    products = ProductLineIn(many=True, required=False)
    applicator_id = serializers.IntegerField(required=False, min_value=1, max_value=BIG)
    supervisor_id = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=BIG)
    window_starts_at = FarmTime(required=False)
    window_ends_at = FarmTime(required=False)
    spray_gpa = AmountField(required=False)
    expected_wind_mph = AmountField(required=False, allow_null=True)
    expected_high_f = AmountField(required=False, allow_null=True)
    expected_dry_hours = AmountField(required=False, allow_null=True)

    def to_representation(self, instance: Any) -> Any:
        return instance


class WayOut(serializers.Serializer):
    """Changes that, taken together and checked again, leave no refusal on any block."""

    changes = ChangeOut(many=True)
    window_starts_at = serializers.DateTimeField()
    window_ends_at = serializers.DateTimeField()
    left = LeftOut(many=True, help_text="What the check still says then")
    plan = AdoptedPlan(
        allow_null=True, help_text="To be sent to adopt_job_alternative; null: part of it lies outside the job"
    )


class AdoptIn(serializers.Serializer):
    """One suggestion to be taken over: its ``plan`` as it was read, and the version of the job it was read with."""

    version = serializers.IntegerField(min_value=1, max_value=BIG, help_text="The version you read")
    plan = AdoptedPlan()


class RefusalAnsweredOut(serializers.Serializer):
    finding = JobFindingOut()
    blocks = serializers.ListField(child=serializers.CharField())
    changes = ChangeOut(many=True, help_text="Empty: no change known here takes it away")


class InsteadOut(serializers.Serializer):
    """What could be done instead. ``nothing_helps``: no change known here makes this job lawful."""

    refused = serializers.BooleanField()
    nothing_helps = serializers.BooleanField()
    by_refusal = RefusalAnsweredOut(many=True)
    ways = WayOut(many=True)


class CheckMixOut(CheckOut):
    """The check of a plan that is not saved, with what could be done instead."""

    instead = InsteadOut()


class EveningIn(JobIn):
    """A plan; the evenings are looked for from the day its window begins."""

    days = serializers.IntegerField(required=False, min_value=1, max_value=MOST_EVENINGS, help_text="How many evenings")


class EveningOut(serializers.Serializer):
    evening_at = serializers.DateTimeField(source="start_at")
    refused = serializers.SerializerMethodField()

    def get_refused(self, row: Any) -> list[dict[str, Any]]:
        return [dict(JobFindingOut(finding).data) for _, finding in row.refused]


class FirstEveningOut(serializers.Serializer):
    """The first evening; null when there is none among the days asked for."""

    starts_at = serializers.DateTimeField(allow_null=True)
    ends_at = serializers.DateTimeField(allow_null=True)
    tried = EveningOut(many=True, help_text="Each evening in order with what refuses it")


def instead_body(found: Instead) -> dict[str, Any]:
    """The answer as plain values for ``InsteadOut``."""
    return {
        "refused": found.refused,
        "nothing_helps": found.nothing_helps,
        "by_refusal": found.by_refusal,
        "ways": [way_body(way) | {"plan": plan} for way, plan in found.offered],
    }


def way_body(way: Suggestion) -> dict[str, Any]:
    """One way out with what is still said on each block that stays."""
    first = way.facts[0]
    return {
        "changes": way.changes,
        "window_starts_at": first.start_at,
        "window_ends_at": first.end_at,
        "left": [{"block": f.block_name, "findings": said} for f, said in zip(way.facts, way.left, strict=True)],
    }
