"""Codes on the plates at the gates, and the count of questions asked there."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.land.models import Block
from apps.people.models import FarmOwned


class GateCode(FarmOwned):
    """One code for one block. At most one is in force; a revoked one answers to nobody and never comes back."""

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="gate_codes")
    code = models.CharField(max_length=12, unique=True)
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    revoked_at = models.DateTimeField(null=True)
    revoked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["block"], condition=Q(revoked_at=None), name="gate_code_one_in_force_per_block"
            ),
            models.CheckConstraint(
                condition=Q(revoked_at=None, revoked_by=None) | Q(revoked_at__isnull=False, revoked_by__isnull=False),
                name="gate_code_revoked_by_somebody",
            ),
        ]
        indexes = [models.Index(fields=["farm", "block"], name="gate_code_by_block")]

    def __str__(self) -> str:
        return f"gate code of {self.block}"


class GateCount(models.Model):
    """How many questions came from one bucket of connections in the current minute. Counted, not tracked."""

    bucket = models.PositiveIntegerField(primary_key=True)
    window_at = models.DateTimeField()
    hits = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(bucket__lt=65536), name="gate_count_bucket_in_range")]

    def __str__(self) -> str:
        return f"bucket {self.bucket}"
