"""Shapes of record rules, of how a record stands, and of what is late or missing."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext
from rest_framework import serializers

from apps.spraying.records.queries import END_NAMES, Choice, End, LooseEnd
from apps.spraying.records.rules import (
    ELEMENT_NAMES,
    Applicators,
    Asks,
    DueBy,
    Element,
    KeepFrom,
    Products,
    Standing,
    Status,
    as_json,
)


def _choices(codes: type[Any]) -> list[tuple[str, str]]:
    return [(c.value, c.name) for c in codes]


class RecordRuleEdit(serializers.Serializer):
    name = serializers.CharField(max_length=200)
    jurisdiction = serializers.CharField(max_length=20)
    elements = serializers.ListField(child=serializers.ChoiceField(choices=_choices(Element)), max_length=40)
    source = serializers.CharField(max_length=200, help_text="The law, or who asks for it")
    asks = serializers.ChoiceField(choices=_choices(Asks), required=False)
    products = serializers.ChoiceField(choices=_choices(Products), required=False)
    applicators = serializers.ChoiceField(choices=_choices(Applicators), required=False)
    due_by = serializers.ChoiceField(choices=_choices(DueBy), required=False)
    due = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=9000)
    keep_years = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=100)
    keep_from = serializers.ChoiceField(choices=_choices(KeepFrom), required=False)
    show_days = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=3660)
    valid_from = serializers.DateField(required=False, allow_null=True)
    valid_to = serializers.DateField(
        required=False, allow_null=True, help_text="The first day it is no longer in force"
    )
    note = serializers.CharField(required=False, allow_blank=True, max_length=500)


class RecordRuleIn(RecordRuleEdit):
    code = serializers.CharField(max_length=40)


class UseRecordRuleIn(serializers.Serializer):
    in_use = serializers.BooleanField()


class RecordRuleOut(RecordRuleIn):
    """A rule, whether the farm goes by it, and whether it is the farm's own."""

    status = serializers.ChoiceField(choices=_choices(Status))
    in_use = serializers.BooleanField()
    own = serializers.BooleanField()
    version = serializers.IntegerField(help_text="0 = shipped and never chosen or left here")

    def to_representation(self, instance: Choice) -> dict[str, Any]:
        empty = {"due": None, "keep_years": None, "show_days": None, "valid_from": None, "valid_to": None}
        words = {"name": gettext(instance.rule.name), "note": gettext(instance.rule.note) if instance.rule.note else ""}
        flags = {"in_use": instance.in_use, "own": instance.own, "version": instance.version}
        return {**empty, **as_json(instance.rule), **words, **flags}


class RecordStandingOut(serializers.Serializer):
    """How a record stands against one rule."""

    rule = serializers.CharField()
    name = serializers.CharField()
    source = serializers.CharField()
    missing = serializers.ListField(child=serializers.ChoiceField(choices=_choices(Element)))
    elsewhere = serializers.ListField(child=serializers.ChoiceField(choices=_choices(Element)))
    due_at = serializers.DateTimeField(allow_null=True)
    late = serializers.BooleanField()
    keep_until = serializers.DateField(allow_null=True)
    shown_until = serializers.DateTimeField(allow_null=True)

    def to_representation(self, instance: Standing) -> dict[str, Any]:
        return {
            "rule": instance.rule.code,
            "name": gettext(instance.rule.name),
            "source": instance.rule.source,
            "missing": [e.value for e in instance.missing],
            "elsewhere": [e.value for e in instance.elsewhere],
            "due_at": instance.due_at,
            "late": instance.late,
            "keep_until": instance.keep_until,
            "shown_until": instance.shown_until,
        }


class LooseEndOut(serializers.Serializer):
    """One thing somebody still has to do. ``rule`` is the one that is due first."""

    end = serializers.ChoiceField(choices=_choices(End))
    name = serializers.CharField()
    job_id = serializers.IntegerField()
    job_number = serializers.IntegerField()
    record = serializers.IntegerField(allow_null=True)
    due_at = serializers.DateTimeField(allow_null=True)
    rule = serializers.CharField(allow_null=True)
    missing = serializers.ListField(child=serializers.CharField())

    def to_representation(self, instance: LooseEnd) -> dict[str, Any]:
        return {
            "end": instance.end.value,
            "name": gettext(END_NAMES[instance.end]),
            "job_id": instance.job.pk,
            "job_number": instance.job.number,
            "record": instance.record.seq if instance.record else None,
            "due_at": instance.due_at,
            "rule": instance.rule.code if instance.rule else None,
            "missing": missing_words(instance) if instance.end is End.BLANKS else [],
        }


def missing_words(end: LooseEnd) -> list[str]:
    """What is missing, each named once, in the reader's language."""
    found = dict.fromkeys(e for s in end.standings for e in s.missing)
    return [gettext(ELEMENT_NAMES[e]) for e in found]


class ExplainIn(serializers.Serializer):
    words = serializers.CharField(max_length=2000)


class RecordNoteOut(serializers.Serializer):
    id = serializers.IntegerField()
    record = serializers.IntegerField(source="record.seq")
    words = serializers.CharField()
    by = serializers.CharField(source="by.full_name")
    at = serializers.DateTimeField()
