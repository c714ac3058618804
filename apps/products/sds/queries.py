"""Reading safety data sheets: the newest of each product, and one with its paper."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import QuerySet

from apps.people.models import Farm
from apps.people.queries import one
from apps.products.models import SafetySheet


def sheets(farm: Farm) -> QuerySet[SafetySheet]:
    """Every sheet that is on file, without its paper, the newest by its own date first."""
    rows = SafetySheet.objects.for_farm(farm).filter(removed_at=None).defer("content")
    return rows.select_related("product", "recorded_by").order_by("-sheet_on", "-id")


def sheet_in(farm: Farm, sheet_id: int) -> SafetySheet:
    """One sheet that is on file, with its paper if there is one; ``Unknown`` otherwise."""
    row: SafetySheet = one(sheets(farm).defer(None).filter(pk=sheet_id))
    return row


def newest(farm: Farm, product_ids: Collection[int]) -> dict[int, SafetySheet]:
    """product id -> its newest sheet on file; a product without one is left out. One query."""
    rows = sheets(farm).filter(product_id__in=product_ids).order_by("sheet_on", "id")
    return {row.product_id: row for row in rows}


def on_file(farm: Farm) -> frozenset[int]:
    """Products whose safety data sheet is on file. One query."""
    return frozenset(sheets(farm).order_by().values_list("product_id", flat=True))
