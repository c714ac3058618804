"""The shed: lots, the balance of each product, and the ledger both are sums of."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.inventory.rules import Move
from apps.people.models import FarmOwned
from apps.products.models import Product
from farmops.units import PRODUCT_UNITS

STOCK_UNITS = ["gal", "lb"]


def stock_field() -> Any:
    """Gallons or pounds. Fifteen digits are what SQLite, too, gives back exactly."""
    return models.DecimalField(max_digits=15, decimal_places=9, default=0)


class ProductStock(FarmOwned):
    """One product's balance. Written only together with ledger lines, under a row lock."""

    product = models.OneToOneField(Product, on_delete=models.PROTECT, related_name="stock")
    unit = models.CharField(max_length=3)
    on_hand = stock_field()
    reserved = stock_field()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(unit__in=STOCK_UNITS), name="stock_unit_known"),
            models.CheckConstraint(condition=Q(on_hand__gte=0), name="stock_on_hand_not_negative"),
            models.CheckConstraint(condition=Q(reserved__gte=0), name="stock_reserved_not_negative"),
        ]

    def __str__(self) -> str:
        return f"stock of {self.product}"


class Lot(FarmOwned):
    """One lot of a product, in the product's stock unit."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="lots")
    lot_number = models.CharField(max_length=60)
    expires_on = models.DateField(null=True)
    received_on = models.DateField()
    supplier = models.CharField(max_length=160, blank=True, help_text="Who delivered it")
    on_hand = stock_field()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["product", "lot_number"], name="lot_number_once_per_product"),
            models.CheckConstraint(condition=Q(on_hand__gte=0), name="lot_on_hand_not_negative"),
        ]

    def __str__(self) -> str:
        return f"lot {self.lot_number} of {self.product.name}"


class LedgerLine(FarmOwned):
    """One movement, as it was typed and as it counts. Only grows."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, related_name="+")
    kind = models.CharField(max_length=10)
    unit = models.CharField(max_length=3)
    on_hand_change = stock_field()
    reserved_change = stock_field()
    entered_amount = models.DecimalField(max_digits=15, decimal_places=6)
    entered_unit = models.CharField(max_length=8)
    reason = models.CharField(max_length=300, blank=True)
    source_type = models.CharField(max_length=30, blank=True)
    source_id = models.CharField(max_length=40, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = [
            models.Index(fields=["farm", "product", "-id"], name="ledger_by_product"),
            models.Index(fields=["farm", "source_type", "source_id"], name="ledger_by_source"),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=[m.value for m in Move]), name="ledger_kind_known"),
            models.CheckConstraint(condition=Q(unit__in=STOCK_UNITS), name="ledger_unit_known"),
            models.CheckConstraint(condition=Q(entered_unit__in=PRODUCT_UNITS), name="ledger_entered_unit_known"),
            models.CheckConstraint(
                condition=~Q(kind=Move.ADJUST.value) | ~Q(reason=""), name="ledger_adjustment_has_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.product.name}"
