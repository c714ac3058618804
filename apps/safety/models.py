"""The closures on the field board: hung by whoever does something hazardous, taken down by rule only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.land.models import Block
from apps.people.models import FarmOwned
from apps.safety import rules
from apps.safety.rules import FAR_AHEAD, TIMED_KINDS, Kind, LiftReason, Reason

TIMED = sorted(kind.value for kind in TIMED_KINDS)
TIMED_REASONS = [Reason.REI.value, Reason.PHI.value]


class Closure(FarmOwned):
    """One closure of one block. It only grows; the ``lift`` columns are set when it comes down.

    ``speaks_until`` lets a question skip what has long run out: the end of a timed interval, else the end of
    all days. The database keeps it from being earlier than the end, and keeps an end away from what no timer
    may open.
    """

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="closures")
    kind = models.CharField(max_length=20)
    reason_code = models.CharField(max_length=20)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True)
    provisional_ends_at = models.DateTimeField(null=True)
    speaks_until = models.DateTimeField(default=FAR_AHEAD)
    activities = models.JSONField(default=list)
    product_names = models.JSONField(default=list)
    numbers = models.JSONField(default=dict)
    part = models.JSONField(null=True, help_text="The mapped piece that was treated (GeoJSON); null is the whole block")
    source = models.CharField(max_length=60, help_text="What it was hung for, such as job:41")
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    set_by_name = models.CharField(max_length=120)
    contact = models.CharField(max_length=160)
    hung_at = models.DateTimeField()
    lifted_at = models.DateTimeField(null=True)
    lifted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    lift_reason = models.CharField(max_length=20, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=[k.value for k in Kind]), name="closure_kind_known"),
            models.CheckConstraint(condition=Q(reason_code__in=[r.value for r in Reason]), name="closure_reason_known"),
            models.CheckConstraint(
                condition=Q(ends_at=None) | Q(ends_at__gte=F("starts_at")), name="closure_ends_after_start"
            ),
            models.CheckConstraint(
                condition=Q(lifted_at=None, lift_reason="")
                | Q(lifted_at__isnull=False, lift_reason__in=[r.value for r in LiftReason]),
                name="closure_lifted_for_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(ends_at=None)
                | Q(kind=Kind.PLANNED.value)
                | Q(kind__in=TIMED, reason_code__in=TIMED_REASONS),
                name="closure_only_intervals_end",
            ),
            models.CheckConstraint(
                condition=~Q(kind=Kind.PLANNED.value) | Q(ends_at__isnull=False), name="closure_window_has_an_end"
            ),
            models.CheckConstraint(
                condition=Q(part__isnull=True) | Q(kind__in=TIMED), name="closure_part_is_signed_ground"
            ),
            models.CheckConstraint(
                condition=Q(speaks_until=FAR_AHEAD)
                | Q(kind__in=TIMED, ends_at__isnull=False, speaks_until=F("ends_at")),
                name="closure_speaks_to_its_end",
            ),
        ]
        indexes = [
            models.Index(fields=["block", "speaks_until"], condition=Q(lifted_at=None), name="closure_speaking"),
            models.Index(fields=["farm", "source"], name="closure_of_source"),
            models.Index(fields=["farm", "ends_at"], name="closure_by_end"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} closure of {self.block}"

    @property
    def facts(self) -> rules.Closure:
        """The row as the rules read it."""
        return facts_of([getattr(self, name) for name in FACTS])


FACTS = (
    "id",
    "block_id",
    "kind",
    "reason_code",
    "starts_at",
    "ends_at",
    "provisional_ends_at",
    "activities",
    "product_names",
    "numbers",
    "part",
    "set_by_name",
    "contact",
    "source",
    "lifted_at",
)
"""The columns that ``facts_of`` reads, in its order."""
_KINDS, _REASONS = {k.value: k for k in Kind}, {r.value: r for r in Reason}


def facts_of(values: Sequence[Any]) -> rules.Closure:
    """A row of the ``FACTS`` columns as the rules read it. ``LookupError`` or ``TypeError`` for what makes no sense."""
    (number, block_id, kind, reason, starts_at, ends_at, provisional, work, products, numbers, part, by, contact,
     source, lifted_at) = values  # fmt: skip
    return rules.Closure(
        id=number,
        block_id=block_id,
        kind=_KINDS[kind],
        reason_code=_REASONS[reason],
        starts_at=starts_at,
        ends_at=ends_at,
        provisional_ends_at=provisional,
        activities=frozenset(work),
        product_names=tuple(products),
        numbers=dict(numbers),
        part=part,
        set_by=by,
        contact=contact,
        source=source,
        lifted_at=lifted_at,
    )


from apps.safety.early.models import EarlyEntry  # noqa: E402, F401
from apps.safety.gate.models import GateCode, GateCount  # noqa: E402, F401
from apps.safety.phones.models import PhoneNumber  # noqa: E402, F401
from apps.safety.posting.models import Posting  # noqa: E402, F401
from apps.safety.seen.models import AnswerGiven, PossibleExposure  # noqa: E402, F401
