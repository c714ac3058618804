"""What was ticked on a mix sheet. Only grows: the newest press of a step counts."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.people.models import FarmOwned


class MixTick(FarmOwned):
    """One press on one step of one load; load 0 is what comes before the first load and after the last.

    ``sheet`` names the sheet that was on the screen, ``happened_at`` when it was pressed, ``at`` when it arrived.
    """

    job = models.ForeignKey("spraying.Job", on_delete=models.PROTECT, related_name="mix_ticks")
    load = models.PositiveSmallIntegerField()
    step = models.CharField(max_length=40)
    done = models.BooleanField()
    sheet = models.CharField(max_length=16)
    happened_at = models.DateTimeField()
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["job", "load", "step", "happened_at", "by"], name="mix_tick_once"),
            models.CheckConstraint(condition=Q(load__lte=1000), name="mix_tick_load_sane"),
            models.CheckConstraint(condition=~Q(step=""), name="mix_tick_names_a_step"),
        ]

    def __str__(self) -> str:
        return f"{self.step} of load {self.load} of {self.job}"
