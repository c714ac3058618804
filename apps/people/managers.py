"""Managers that make it hard to read another farm's rows by accident."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from django.db import models

if TYPE_CHECKING:
    from apps.people.models import Farm

M = TypeVar("M", bound=models.Model)


class ScopeMissing(RuntimeError):
    """A farm-owned table was read without saying which farm."""


class FarmScoped(models.Manager[M]):
    """Reads only through ``for_farm``; anything else raises ``ScopeMissing``."""

    def get_queryset(self) -> models.QuerySet[M]:
        raise ScopeMissing(f"{self.model.__name__}: say which farm with .objects.for_farm(farm)")

    def for_farm(self, farm: Farm) -> models.QuerySet[M]:
        """All rows of one farm."""
        return super().get_queryset().filter(farm=farm)

    def none(self) -> models.QuerySet[M]:
        """No rows at all; the schema generator asks for this."""
        return super().get_queryset().none()

    def add(self, **values: Any) -> M:
        """Insert one row (``farm`` must be among the values)."""
        if "farm" not in values and "farm_id" not in values:
            raise ScopeMissing(f"{self.model.__name__}: a new row needs its farm")
        return super().get_queryset().create(**values)
