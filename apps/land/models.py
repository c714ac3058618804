"""Fields, the blocks in them, and the sensitive places round about."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from apps.land.rules import Reshaping, SensitiveKind
from apps.land.rules.farm_files import CODE_LENGTH, NAME_LENGTH, NOTE_LENGTH
from apps.people.models import FarmOwned


class Boxed(FarmOwned):
    """A row with a shape: its corners in degrees stand beside it so that neighbours are found by index."""

    min_lon = models.FloatField()
    min_lat = models.FloatField()
    max_lon = models.FloatField()
    max_lat = models.FloatField()

    class Meta:
        abstract = True


class Field(FarmOwned):
    """A field by the name people use; it holds blocks."""

    name = models.CharField(max_length=NAME_LENGTH)
    note = models.CharField(max_length=NOTE_LENGTH, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint("farm", Lower("name"), name="land_field_name_once_per_farm")]

    def __str__(self) -> str:
        return self.name


class Block(Boxed):
    """A piece of ground that is planted, sprayed, closed and entered as one.

    ``polygon`` is a checked GeoJSON Polygon or MultiPolygon. ``mapped_acres`` is its geodesic area;
    ``planted_acres`` is what the grower states, or the mapped acres while ``planted_stated`` is false.
    """

    field = models.ForeignKey(Field, on_delete=models.PROTECT, related_name="blocks")
    name = models.CharField(max_length=NAME_LENGTH)
    code = models.CharField(max_length=CODE_LENGTH)
    polygon = models.JSONField()
    mapped_acres = models.DecimalField(max_digits=12, decimal_places=6)
    planted_acres = models.DecimalField(max_digits=10, decimal_places=4)
    planted_stated = models.BooleanField(default=False)
    archived_at = models.DateTimeField(null=True)
    reshaped = models.BooleanField(default=False, help_text="Made by splitting or merging: it has a lineage")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "farm", Lower("code"), condition=Q(archived_at=None), name="land_block_code_once_per_farm"
            ),
            models.CheckConstraint(condition=Q(mapped_acres__gt=0), name="land_block_mapped_acres_above_0"),
            models.CheckConstraint(condition=Q(planted_acres__gt=0), name="land_block_planted_acres_above_0"),
            models.CheckConstraint(
                condition=Q(min_lon__lt=F("max_lon"), min_lat__lt=F("max_lat")), name="land_block_box_in_order"
            ),
        ]
        indexes = [models.Index(fields=["farm", "archived_at", "min_lat", "max_lat"], name="land_block_by_place")]

    def __str__(self) -> str:
        return called(self.code, self.name)

    @property
    def archived(self) -> bool:
        """No longer in use; its records stay."""
        return self.archived_at is not None


def called(code: str, name: str) -> str:
    """A block in words."""
    return f"{code} {name}"


class Lineage(FarmOwned):
    """Ground of ``parent`` became part of ``child`` when blocks were split or merged. Only grows."""

    parent = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    child = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    how = models.CharField(max_length=8)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["parent", "child"], name="land_lineage_once"),
            models.CheckConstraint(condition=Q(how__in=[h.value for h in Reshaping]), name="land_lineage_how_known"),
            models.CheckConstraint(condition=~Q(parent=F("child")), name="land_lineage_not_of_itself"),
        ]
        indexes = [models.Index(fields=["farm"], name="land_lineage_by_farm")]

    def __str__(self) -> str:
        return f"{self.parent} became {self.child} ({self.how})"


class SensitivePlace(Boxed):
    """Water, hives, houses and the like, as a point or a polygon."""

    kind = models.CharField(max_length=12)
    name = models.CharField(max_length=NAME_LENGTH)
    geometry = models.JSONField()
    note = models.CharField(max_length=NOTE_LENGTH, blank=True)
    removed_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=[k.value for k in SensitiveKind]), name="land_place_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(min_lon__lte=F("max_lon"), min_lat__lte=F("max_lat")), name="land_place_box_in_order"
            ),
        ]
        indexes = [models.Index(fields=["farm", "removed_at"], name="land_place_by_farm")]

    def __str__(self) -> str:
        return self.name
