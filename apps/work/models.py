"""Tasks for people on blocks, and what was done with each."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import get_language

from apps.land.models import Block
from apps.people.models import FarmOwned
from apps.safety.rules import Activity
from apps.safety.wording import Both, work_name
from apps.work.rules import NOTES_LENGTH, STATE_NAMES, STEP_NAMES, TITLE_LENGTH, State, Step


def said(both: Both) -> str:
    """The active language's half of a sentence that the crew sees in both."""
    return both.es if (get_language() or "").startswith("es") else both.en


class Task(FarmOwned):
    """One piece of work for one person on one block, at a planned time."""

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    title = models.CharField(max_length=TITLE_LENGTH)
    activity = models.CharField(max_length=30)
    is_harvest = models.BooleanField(default=False)
    assigned_to = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True)
    state = models.CharField(max_length=10, default=State.PLANNED)
    notes = models.CharField(max_length=NOTES_LENGTH, blank=True)
    planned_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField(null=True)
    closed_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(state__in=[s.value for s in State]), name="work_task_state_known"),
            models.CheckConstraint(
                condition=Q(activity__in=[a.value for a in Activity]), name="work_task_activity_known"
            ),
            models.CheckConstraint(
                condition=Q(ends_at=None) | Q(ends_at__gt=F("starts_at")), name="work_task_ends_after_start"
            ),
            models.CheckConstraint(
                condition=~Q(activity=Activity.PICKING_BY_HAND.value) | Q(is_harvest=True),
                name="work_task_picking_is_harvest",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=[State.STARTED.value, State.DONE.value]) | Q(started_at__isnull=False),
                name="work_task_started_has_a_time",
            ),
            models.CheckConstraint(
                condition=Q(state__in=[State.PLANNED.value, State.STARTED.value], closed_at=None)
                | Q(state__in=[State.DONE.value, State.CALLED_OFF.value], closed_at__isnull=False),
                name="work_task_closed_has_a_time",
            ),
        ]
        indexes = [
            models.Index(fields=["farm", "state", "starts_at"], name="work_task_by_time"),
            models.Index(fields=["block", "state", "starts_at"], name="work_task_by_block"),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def activity_name(self) -> str:
        """The kind of work in the reader's language."""
        return said(work_name(self.activity))

    @property
    def state_name(self) -> str:
        return STATE_NAMES[State(self.state)]


class TaskStep(FarmOwned):
    """One line of a task's history. Only grows.

    ``board`` is what the field board said when the step was taken (start only).
    """

    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="steps")
    step = models.CharField(max_length=10)
    to_state = models.CharField(max_length=10)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=120)
    note = models.CharField(max_length=NOTES_LENGTH, blank=True)
    board = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(step__in=[s.value for s in Step]), name="work_step_known"),
            models.CheckConstraint(condition=Q(to_state__in=[s.value for s in State]), name="work_step_state_known"),
        ]

    def __str__(self) -> str:
        return f"{self.step} {self.task_id}"

    @property
    def step_name(self) -> str:
        return STEP_NAMES[Step(self.step)]
