"""Applications of the past, brought in from a file: counted like any other, signed by nobody here."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.land.models import Block
from apps.people.models import FarmOwned
from apps.products.models import LabelVersion, Product
from farmops.units import PRODUCT_UNITS

_PERSON = settings.AUTH_USER_MODEL


class BroughtFile(FarmOwned):
    """One file, as it was brought in. The same bytes are never brought in twice. Only grows."""

    name = models.CharField(max_length=200)
    digest = models.CharField(max_length=64)
    text = models.TextField()
    rows_count = models.PositiveIntegerField()
    brought_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    brought_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["farm", "digest"], name="brought_file_once_per_farm"),
            models.CheckConstraint(condition=Q(rows_count__gte=1), name="brought_file_has_rows"),
        ]

    def __str__(self) -> str:
        return self.name


class BroughtSpray(FarmOwned):
    """One product on one block, as a row of a file says it was. Brought in, not signed here. Only grows.

    ``date_only``: the file gave no times; the whole day counts. ``label_version`` is the one its limits are counted by.
    """

    file = models.ForeignKey(BroughtFile, on_delete=models.PROTECT, related_name="sprays")
    row = models.PositiveIntegerField()
    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    label_version = models.ForeignKey(LabelVersion, on_delete=models.PROTECT, related_name="+")
    site_code = models.CharField(max_length=40, blank=True)
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    date_only = models.BooleanField(default=False)
    treated_acres = models.DecimalField(max_digits=10, decimal_places=4)
    amount = models.DecimalField(max_digits=14, decimal_places=4)
    unit = models.CharField(max_length=10)
    spray_gpa = models.DecimalField(max_digits=8, decimal_places=3, null=True)
    applicator = models.CharField(max_length=120, blank=True)
    certificate = models.CharField(max_length=60, blank=True)
    targets = models.JSONField(default=list)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["file", "row"], name="brought_row_once_per_file"),
            models.UniqueConstraint(
                fields=["farm", "block", "product", "started_at"], name="brought_spray_once_per_farm"
            ),
            models.CheckConstraint(condition=Q(ended_at__gt=F("started_at")), name="brought_spray_ends_after_start"),
            models.CheckConstraint(condition=Q(treated_acres__gt=0, amount__gt=0), name="brought_spray_amounts"),
            models.CheckConstraint(condition=Q(unit__in=PRODUCT_UNITS), name="brought_spray_unit_known"),
        ]
        indexes = [models.Index(fields=["block", "started_at"], name="brought_by_block")]

    def __str__(self) -> str:
        return f"row {self.row} of {self.file}"
