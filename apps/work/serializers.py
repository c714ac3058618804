"""Shapes of tasks in and out."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from rest_framework import serializers

from apps.safety.rules import Activity, Word
from apps.work.rules import NOTES_LENGTH, TITLE_LENGTH, State, Step
from farmops import clock
from farmops.problems import finding_json

ACTIVITIES = [(a.value, a.name) for a in Activity]
STATES = [(s.value, s.name) for s in State]
STEPS = [(s.value, s.name) for s in Step]
WORDS = [(w.value, w.name) for w in Word]


class FarmTime(serializers.DateTimeField):
    """An instant; without an offset it is read as the farm's local time, and refused if that is ambiguous."""

    def enforce_timezone(self, value: datetime) -> datetime:
        if self.field_name is None or "farm" not in self.context:
            return super().enforce_timezone(value)
        return clock.to_utc(value, self.context["farm"].time_zone, field=self.field_name)


class TaskEdit(serializers.Serializer):
    block_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    title = serializers.CharField(max_length=TITLE_LENGTH)
    activity = serializers.ChoiceField(choices=ACTIVITIES)
    is_harvest = serializers.BooleanField(
        required=False, help_text="Also asks the board about harvest; always true for picking_by_hand."
    )
    assigned_to_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text="A person id of this farm")
    starts_at = FarmTime(help_text="With an offset, or the farm's local time without one")
    ends_at = FarmTime(required=False, allow_null=True)
    notes = serializers.CharField(max_length=NOTES_LENGTH, required=False, allow_blank=True)


class TaskIn(TaskEdit):
    """All that a new task needs; what is not required may be left out."""


class FinishTaskIn(serializers.Serializer):
    note = serializers.CharField(max_length=NOTES_LENGTH, required=False, allow_blank=True, default="")


class CallOffTaskIn(serializers.Serializer):
    reason = serializers.CharField(max_length=NOTES_LENGTH)


class TaskOut(serializers.Serializer):
    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    block = serializers.CharField(source="block.__str__", help_text="Code and name")
    title = serializers.CharField()
    activity = serializers.ChoiceField(choices=ACTIVITIES)
    is_harvest = serializers.BooleanField()
    assigned_to_id = serializers.IntegerField()
    assigned_to = serializers.CharField(source="assigned_to.full_name")
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField(allow_null=True)
    state = serializers.ChoiceField(choices=STATES)
    notes = serializers.CharField()
    started_at = serializers.DateTimeField(allow_null=True)
    closed_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()


class TaskStepOut(serializers.Serializer):
    step = serializers.ChoiceField(choices=STEPS)
    to_state = serializers.ChoiceField(choices=STATES)
    at = serializers.DateTimeField()
    by = serializers.CharField(source="by_name")
    note = serializers.CharField()
    board = serializers.DictField(help_text="What the board said at the start; empty for other steps.")


class TaskReasonOut(serializers.Serializer):
    """One finding of the board."""

    code = serializers.CharField()
    severity = serializers.CharField()
    sentence = serializers.CharField()
    template = serializers.CharField()
    numbers = serializers.DictField(child=serializers.CharField())
    source = serializers.CharField()
    field = serializers.CharField()
    subject = serializers.CharField()

    def to_representation(self, instance: Any) -> dict[str, Any]:
        return finding_json(instance)


class TaskBoardOut(serializers.Serializer):
    answer = serializers.ChoiceField(choices=WORDS)
    may_start = serializers.BooleanField()
    opens_at = serializers.DateTimeField(allow_null=True)
    as_of = serializers.DateTimeField()
    good_until = serializers.DateTimeField()
    because = TaskReasonOut(many=True)


class TaskDetail(TaskOut):
    board = TaskBoardOut(allow_null=True, help_text="What the board says now; null once the task is closed.")
    training = TaskReasonOut(many=True, help_text="What its person lacks; told to them and to planners")
    steps = TaskStepOut(many=True)
