"""Shapes of season programs in and out. Days are farm-local."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.spraying.programs.rules import END_NAMES, HEAVY_RAIN_IN, STOP_DAYS, AskKind, Choice, StartKind, State
from apps.spraying.rules.interval import Phase
from apps.spraying.serializers import BIG, AmountField, JobIn, ProductLineIn
from apps.spraying.shapes import JobFindingOut

STARTS = [(k.value, k.name) for k in StartKind]
CHOICES = [(c.value, c.name) for c in Choice]
STATES = [(s.value, s.name) for s in State]
PHASES = [(p.value, p.name) for p in Phase]
ENDS = [(e.value, e.name) for e in END_NAMES]
ASKS = [(a.value, a.name) for a in AskKind]


def _id(**options: Any) -> serializers.IntegerField:
    return serializers.IntegerField(min_value=1, max_value=BIG, **options)


class ProgramPassIn(serializers.Serializer):
    products = ProductLineIn(many=True, max_length=10)


class ProgramEdit(serializers.Serializer):
    name = serializers.CharField(max_length=80)
    crop_id = _id()
    blocks = serializers.ListField(child=_id(), max_length=60, help_text="Block ids")
    targets = serializers.ListField(child=serializers.CharField(max_length=60), required=False, max_length=10)
    start_kind = serializers.ChoiceField(choices=STARTS)
    start_on = serializers.DateField(required=False, allow_null=True, help_text="For start_kind date")
    start_days = serializers.IntegerField(
        required=False, min_value=0, max_value=200, help_text="Days after planting, first bloom or the stage"
    )
    start_stage = serializers.CharField(
        required=False, allow_blank=True, max_length=24, help_text="Like first_flower, z37 (Zadoks) or b61 (BBCH)"
    )
    start_threshold = serializers.CharField(required=False, allow_blank=True, max_length=40)
    reckoned_on = serializers.DateField(
        required=False, allow_null=True, help_text="Laid over the calendar from this day until the trigger comes"
    )
    from_days = serializers.IntegerField(min_value=1, max_value=60)
    to_days = serializers.IntegerField(min_value=1, max_value=60)
    last_on = serializers.DateField()
    repeats = serializers.BooleanField(required=False, help_text="After the last mix begin again with the first")
    rain_inches = AmountField(
        required=False,
        allow_null=True,
        help_text=f"Rain within a day that asks for a decision; {HEAVY_RAIN_IN} unless set",
    )
    stop_days = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=60,
        help_text="Last days before harvest in which a spray does not pay; null = it always pays",
    )  # fmt: skip
    spray_gpa = AmountField(required=False, allow_null=True)
    notes = serializers.CharField(required=False, allow_blank=True, max_length=2000)
    passes = ProgramPassIn(many=True, max_length=30)


class ProgramIn(ProgramEdit):
    stop_days = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=60, default=STOP_DAYS,
        help_text="Last days before harvest in which a spray does not pay; null = it always pays",
    )  # fmt: skip


class ProgramDecisionIn(serializers.Serializer):
    blocks = serializers.ListField(child=_id(), max_length=60)
    choice = serializers.ChoiceField(choices=CHOICES)
    reason = serializers.CharField(max_length=2000)


class PlanWindowIn(JobIn):
    """What a job needs beside the program's own blocks, products and targets."""

    blocks = serializers.ListField(child=_id(), max_length=60, help_text="Block ids that wait for the same pass")
    products = None  # type: ignore[assignment]
    targets = None  # type: ignore[assignment]


class PassProductOut(serializers.Serializer):
    product_id = serializers.IntegerField()
    product = serializers.CharField(source="product.name")
    rate_amount = serializers.DecimalField(max_digits=12, decimal_places=4)
    rate_unit = serializers.CharField()
    rate_basis = serializers.CharField()


class ProgramPassOut(serializers.Serializer):
    position = serializers.IntegerField()
    products = PassProductOut(many=True)


class ProgramBlockOut(serializers.Serializer):
    block_id = serializers.IntegerField()
    block = serializers.CharField(source="block.__str__")


class ProgramOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    crop_id = serializers.IntegerField()
    crop = serializers.CharField(source="crop.name")
    targets = serializers.ListField(child=serializers.CharField())
    start_kind = serializers.ChoiceField(choices=STARTS)
    start_on = serializers.DateField(allow_null=True)
    start_days = serializers.IntegerField()
    start_stage = serializers.CharField()
    start_threshold = serializers.CharField()
    reckoned_on = serializers.DateField(allow_null=True)
    from_days = serializers.IntegerField()
    to_days = serializers.IntegerField()
    last_on = serializers.DateField()
    repeats = serializers.BooleanField()
    rain_inches = serializers.DecimalField(max_digits=4, decimal_places=2)
    stop_days = serializers.IntegerField(allow_null=True)
    spray_gpa = serializers.DecimalField(max_digits=8, decimal_places=3, allow_null=True)
    notes = serializers.CharField()
    blocks = ProgramBlockOut(many=True, source="program_blocks")
    passes = ProgramPassOut(many=True)
    put_away_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()


class PassWindowOut(serializers.Serializer):
    """One window of a pass. ``again``: the pass was missed before. ``cut``: why it closes early."""

    pass_no = serializers.IntegerField()
    opens_on = serializers.DateField()
    closes_on = serializers.DateField()
    state = serializers.ChoiceField(choices=STATES)
    again = serializers.BooleanField()
    respray = serializers.BooleanField()
    other_mix = serializers.BooleanField(help_text="Sprayed with other products than the program has for this pass")
    reckoned = serializers.BooleanField(help_text="Laid from an expected day; the trigger has not come")
    cut = serializers.ChoiceField(choices=ENDS, allow_null=True)
    sprayed_on = serializers.DateField(source="spray.on", allow_null=True, default=None)
    job = serializers.CharField(source="spray.job_ref", allow_null=True, default=None)
    decided_by = serializers.CharField(source="decision.by", allow_null=True, default=None)
    reason = serializers.CharField(source="decision.reason", allow_null=True, default=None)


class RainQuestionOut(serializers.Serializer):
    kind = serializers.ChoiceField(choices=ASKS)
    spray = serializers.CharField(source="spray.job_ref")
    sprayed_on = serializers.DateField(source="spray.on")
    inches = serializers.DecimalField(max_digits=6, decimal_places=2)
    limit = serializers.DecimalField(max_digits=6, decimal_places=2)
    source = serializers.CharField()
    answer = serializers.CharField(source="answered.choice", allow_null=True, default=None)
    answered_by = serializers.CharField(source="answered.by", allow_null=True, default=None)


class ProgramEndOut(serializers.Serializer):
    reason = serializers.ChoiceField(choices=ENDS)
    on = serializers.DateField()
    decided_by = serializers.CharField(source="decision.by", allow_null=True, default=None)
    said = serializers.CharField(source="decision.reason", allow_null=True, default=None)


class ProgramCourseOut(serializers.Serializer):
    """Where a program stands on one block."""

    block_id = serializers.IntegerField(source="block.pk")
    block = serializers.CharField(source="block.__str__")
    stands = serializers.BooleanField(help_text="Whether the crop stands or is planned there")
    begun = serializers.BooleanField(source="course.begun")
    next = PassWindowOut(source="course.next", allow_null=True)
    phase = serializers.SerializerMethodField(help_text="open, closing or null: where today stands in the next window")
    booked_on = serializers.DateField(source="course.booked_on", allow_null=True)
    behind = PassWindowOut(source="course.behind", many=True, help_text="Done, missed and skipped; a miss stays")
    ahead = PassWindowOut(source="course.ahead", many=True)
    asks = RainQuestionOut(source="course.asks", many=True)
    end = ProgramEndOut(source="course.end", allow_null=True)

    def get_phase(self, f: Any) -> str | None:
        window = f.course.next
        phase = window.phase(self.context["today"]) if window is not None else None
        return phase.value if phase else None


class PassCheckOut(serializers.Serializer):
    window = PassWindowOut()
    findings = JobFindingOut(many=True, help_text="When every pass is as early as it may be")
    late = JobFindingOut(many=True, help_text="Only when every pass is as late as it may be")


class BlockCheckOut(serializers.Serializer):
    block_id = serializers.IntegerField(source="followed.block.pk")
    block = serializers.CharField(source="followed.block.__str__")
    about = JobFindingOut(many=True)
    passes = PassCheckOut(many=True)


class SeasonCheckOut(serializers.Serializer):
    """The program checked as a whole. Wind, bees, people and the hour are checked with each job."""

    refused = serializers.BooleanField()
    whole = JobFindingOut(many=True, help_text="What the shed lacks for all of it")
    blocks = BlockCheckOut(many=True)


class ProgramDecisionOut(serializers.Serializer):
    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    block = serializers.CharField(source="block.__str__")
    choice = serializers.ChoiceField(choices=CHOICES)
    reason = serializers.CharField()
    decided_on = serializers.DateField()
    decided_at = serializers.DateTimeField()
    decided_by = serializers.CharField(source="decided_by.full_name")
