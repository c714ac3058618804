"""Numbers the farm typed."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from apps.people.models import FarmOwned
from apps.safety.phones.rules import PURPOSE_NAMES, Purpose, dialled


class PhoneNumber(FarmOwned):
    """One number to call, and what it is for."""

    purpose = models.CharField(max_length=12)
    name = models.CharField(max_length=120)
    number = models.CharField(max_length=30)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(purpose__in=[p.value for p in Purpose]), name="phone_number_purpose_known"
            )
        ]
        indexes = [models.Index(fields=["farm", "purpose"], name="phone_number_of_farm")]

    def __str__(self) -> str:
        return f"{self.name} {self.number}"

    @property
    def purpose_name(self) -> str:
        return PURPOSE_NAMES[Purpose(self.purpose)]

    @property
    def dialled(self) -> str:
        return dialled(self.number)
