"""Shapes of the shed in and out."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.inventory.rules import Move
from farmops.units import PRODUCT_UNITS


def _amount(**options: Any) -> serializers.DecimalField:
    return serializers.DecimalField(max_digits=15, decimal_places=9, **options)


def _typed(**options: Any) -> serializers.DecimalField:
    return serializers.DecimalField(max_digits=15, decimal_places=6, **options)


class QuantityIn(serializers.Serializer):
    amount = _typed(min_value=0)
    unit = serializers.ChoiceField(choices=PRODUCT_UNITS, help_text="fluid ounce is floz, weight ounce is oz")


class DeliveryIn(QuantityIn):
    lot_number = serializers.CharField(max_length=60)
    received_on = serializers.DateField()
    expires_on = serializers.DateField(required=False, allow_null=True, default=None)
    supplier = serializers.CharField(required=False, allow_blank=True, max_length=160)


class CountIn(QuantityIn):
    reason = serializers.CharField(max_length=300)


class AdjustIn(QuantityIn):
    amount = _typed(help_text="the change: below zero = less")
    reason = serializers.CharField(max_length=300)


class LotEdit(serializers.Serializer):
    lot_number = serializers.CharField(max_length=60)
    expires_on = serializers.DateField(allow_null=True)
    supplier = serializers.CharField(allow_blank=True, max_length=160)


class StockOut(serializers.Serializer):
    product_id = serializers.IntegerField()
    product_name = serializers.CharField()
    is_demo = serializers.BooleanField()
    unit = serializers.CharField(help_text="gal or lb")
    on_hand = _amount()
    reserved = _amount()
    available = _amount(help_text="on hand minus reserved; below zero = more is promised than is there")
    soonest_expiry = serializers.DateField(allow_null=True)
    days_left = serializers.IntegerField(allow_null=True, help_text="at the pace of the last eight weeks")


class LotOut(serializers.Serializer):
    id = serializers.IntegerField()
    product_id = serializers.IntegerField()
    product_name = serializers.CharField(source="product.name")
    lot_number = serializers.CharField()
    expires_on = serializers.DateField(allow_null=True)
    received_on = serializers.DateField()
    supplier = serializers.CharField()
    on_hand = _amount()
    unit = serializers.CharField(help_text="gal or lb", source="product.stock.unit")
    version = serializers.IntegerField()


class LedgerLineOut(serializers.Serializer):
    id = serializers.IntegerField()
    at = serializers.DateTimeField()
    by = serializers.CharField(source="by.full_name", allow_null=True, default=None)
    product_id = serializers.IntegerField()
    product_name = serializers.CharField(source="product.name")
    lot_id = serializers.IntegerField(allow_null=True)
    lot_number = serializers.CharField(source="lot.lot_number", allow_null=True, default=None)
    kind = serializers.ChoiceField(choices=[(m.value, m.name) for m in Move])
    unit = serializers.CharField(help_text="gal or lb")
    on_hand_change = _amount()
    reserved_change = _amount()
    entered_amount = _typed()
    entered_unit = serializers.ChoiceField(choices=PRODUCT_UNITS)
    reason = serializers.CharField(allow_blank=True)
    source_type = serializers.CharField(allow_blank=True)
    source_id = serializers.CharField(allow_blank=True)


class PromiseOut(serializers.Serializer):
    source_type = serializers.CharField()
    source_id = serializers.CharField()
    amount = _amount()


class ProductStockOut(serializers.Serializer):
    """One product's balance and what is promised of it."""

    stock = StockOut()
    promises = PromiseOut(many=True)
