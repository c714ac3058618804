"""Shapes of the sums: one request shape for each method, one shape for every answer."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.equipment.serializers import FindingOut
from apps.equipment.sums.rules import SUMS, Asked, Kind, Sum

LONGEST = 60


def _field(box: Asked) -> serializers.Field:
    options: dict[str, Any] = {"required": box.needed, "help_text": _help(box)}
    if not box.needed:
        options["allow_null"] = True
    if box.kind is Kind.SEVERAL:
        return serializers.ListField(child=serializers.CharField(max_length=LONGEST), max_length=200, **options)
    return serializers.CharField(max_length=LONGEST, allow_blank=not box.needed, **options)


def _help(box: Asked) -> str:
    if box.kind is Kind.CHOICE:
        return f"{box.label}: {', '.join(code for code, _ in box.choices)}"
    if box.kind in (Kind.PRODUCT, Kind.ANY):
        return f"{box.label}, with its unit. A bare ounce is asked back: floz is a volume, oz a weight"
    return f"{box.label}. A number, or a number with its unit" if box.units else box.label


def _unit(box: Asked) -> serializers.Field:
    start = "none" if box.kind in (Kind.PRODUCT, Kind.ANY) else box.units[0]
    said = f"One of: {', '.join(box.units)}. Without it: {start}"
    return serializers.CharField(max_length=20, required=False, allow_blank=True, help_text=said)


def shape_of(made: Sum) -> type[serializers.Serializer]:
    """The request shape of one method."""
    fields: dict[str, Any] = {}
    for box in made.asked:
        fields[box.name] = _field(box)
        if box.units:
            fields[f"{box.name}_unit"] = _unit(box)
    name = "".join(part.capitalize() for part in made.code.split("-"))
    return type(f"Sum{name}In", (serializers.Serializer,), fields)


SHAPES = {code: shape_of(made) for code, made in SUMS.items()}


class ResultOut(serializers.Serializer):
    code = serializers.CharField()
    label = serializers.CharField()
    amount = serializers.DecimalField(max_digits=None, decimal_places=None)
    unit = serializers.CharField(help_text="Empty: a bare number")


class WorkedOut(serializers.Serializer):
    """The answer of a sum, with the formula, the working and where the method is published. Nothing is stored."""

    results = ResultOut(many=True)
    formula = serializers.CharField()
    working = serializers.CharField()
    source = serializers.CharField()
    findings = FindingOut(many=True)
