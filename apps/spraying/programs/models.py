"""Season spray programs, the blocks that follow them, their mixes, and what was decided."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.crops.models import Crop
from apps.land.models import Block
from apps.people.models import FarmOwned
from apps.products.models import Product
from apps.products.rules import RateBasis
from apps.spraying.programs.rules import HEAVY_RAIN_IN, STOP_DAYS, Choice, StartKind
from farmops.units import PRODUCT_UNITS

_PERSON = settings.AUTH_USER_MODEL


class Program(FarmOwned):
    """A season program of one crop: a trigger, an interval, a last day and a sequence of mixes.

    ``start_…`` is the trigger; ``reckoned_on`` the day it is laid over the calendar from until a trigger that no
    calendar knows has come. ``stop_days`` empty = it always pays.
    """

    name = models.CharField(max_length=80)
    crop = models.ForeignKey(Crop, on_delete=models.PROTECT, related_name="+")
    targets = models.JSONField(default=list)
    start_kind = models.CharField(max_length=20)
    start_on = models.DateField(null=True)
    start_days = models.PositiveSmallIntegerField(default=0)
    start_stage = models.CharField(max_length=24, blank=True)
    start_threshold = models.CharField(max_length=40, blank=True)
    reckoned_on = models.DateField(null=True)
    from_days = models.PositiveSmallIntegerField()
    to_days = models.PositiveSmallIntegerField()
    last_on = models.DateField()
    repeats = models.BooleanField(default=False)
    rain_inches = models.DecimalField(max_digits=4, decimal_places=2, default=HEAVY_RAIN_IN)
    stop_days = models.PositiveSmallIntegerField(null=True, default=STOP_DAYS)
    spray_gpa = models.DecimalField(max_digits=8, decimal_places=3, null=True)
    notes = models.TextField(blank=True)
    set_up_on = models.DateField()
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    put_away_at = models.DateTimeField(null=True, help_text="Put away: no longer followed, still to be read")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(start_kind__in=[k.value for k in StartKind]), name="program_start_known"
            ),
            models.CheckConstraint(
                condition=(~Q(start_kind=StartKind.DATE.value) | Q(start_on__isnull=False))
                & (~Q(start_kind=StartKind.GROWTH_STAGE.value) | ~Q(start_stage=""))
                & (~Q(start_kind=StartKind.THRESHOLD.value) | ~Q(start_threshold="")),
                name="program_start_whole",
            ),
            models.CheckConstraint(
                condition=Q(from_days__gte=1, to_days__gte=F("from_days"), to_days__lte=60),
                name="program_interval_in_order",
            ),
            models.CheckConstraint(condition=Q(rain_inches__gt=0), name="program_rain_positive"),
            models.CheckConstraint(condition=Q(spray_gpa=None) | Q(spray_gpa__gt=0), name="program_gpa_positive"),
        ]

    def __str__(self) -> str:
        return self.name


class ProgramBlock(FarmOwned):
    """A block that follows a program."""

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="program_blocks")
    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["program", "block"], name="program_block_once")]

    def __str__(self) -> str:
        return f"{self.block} in {self.program}"


class ProgramPass(FarmOwned):
    """One mix of the sequence."""

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="passes")
    position = models.PositiveSmallIntegerField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["program", "position"], name="program_pass_position_once")]

    def __str__(self) -> str:
        return f"pass {self.position} of {self.program}"


class ProgramProduct(FarmOwned):
    """One product of a mix and its rate."""

    program_pass = models.ForeignKey(ProgramPass, on_delete=models.CASCADE, related_name="products")
    position = models.PositiveSmallIntegerField()
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    rate_amount = models.DecimalField(max_digits=12, decimal_places=4)
    rate_unit = models.CharField(max_length=10)
    rate_basis = models.CharField(max_length=12, default=RateBasis.PER_ACRE)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["program_pass", "product"], name="program_product_once"),
            models.CheckConstraint(condition=Q(rate_amount__gt=0), name="program_product_rate_positive"),
            models.CheckConstraint(
                condition=Q(rate_unit__in=[*PRODUCT_UNITS, "%vv"]), name="program_product_unit_known"
            ),
            models.CheckConstraint(
                condition=Q(rate_basis__in=[b.value for b in RateBasis]), name="program_product_basis_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product} in {self.program_pass}"


class ProgramDecision(FarmOwned):
    """What somebody decided about a program on a block, and why. Only grows.

    ``said`` is where the program stood when it was decided: the window and the questions, as text.
    """

    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="decisions")
    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    choice = models.CharField(max_length=12)
    decided_on = models.DateField()
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField()
    said = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(choice__in=[c.value for c in Choice]), name="program_decision_choice_known"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="program_decision_has_a_reason"),
        ]
        indexes = [models.Index(fields=["farm", "program", "block"], name="program_decision_by_block")]

    def __str__(self) -> str:
        return f"{self.choice} on {self.block}, {self.program}"
