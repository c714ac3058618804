"""Reading the label library. A label is in force on a farm-local date."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery

from apps.people.models import Farm
from apps.people.queries import one
from apps.products.models import LabelVersion, Product, hash_of
from farmops import clock


def today(farm: Farm, now: datetime) -> date:
    """The farm's own date at ``now``."""
    return clock.to_local(now, farm.time_zone).date()


def products(farm: Farm, on_date: date) -> QuerySet[Product]:
    """The farm's products, retired ones included, with ``label_in_force_id`` on a date and the number of ``drafts``."""
    draft = Q(label_versions__checked_at=None, label_versions__withdrawn_at=None)
    newest = _usable(farm, on_date).filter(product=OuterRef("pk")).order_by("-effective_on", "-number")
    return (
        Product.objects.for_farm(farm)
        .annotate(
            label_in_force_id=Subquery(newest.values("pk")[:1]),
            drafts=Count("label_versions", filter=draft),
        )
        .order_by("name", "id")
    )


def product_in(farm: Farm, product_id: int, on_date: date) -> Product:
    return one(products(farm, on_date).filter(pk=product_id))


def label_versions(farm: Farm) -> QuerySet[LabelVersion]:
    people = ("transcribed_by", "checked_by", "withdrawn_by")
    return LabelVersion.objects.for_farm(farm).select_related("farm", "product", *people).order_by("-id")


def versions_of(farm: Farm, product_id: int) -> QuerySet[LabelVersion]:
    """A product's label versions, newest first; ``Unknown`` if the farm has no such product."""
    product = one(Product.objects.for_farm(farm).filter(pk=product_id))
    return label_versions(farm).filter(product=product).order_by("-number")


def version_in(farm: Farm, label_id: int) -> LabelVersion:
    return one(label_versions(farm).filter(pk=label_id))


def _usable(farm: Farm, on_date: date) -> QuerySet[LabelVersion]:
    """Versions a job may go by on a date. The one with the latest effective date, then number, is in force."""
    return label_versions(farm).filter(checked_at__isnull=False, withdrawn_at=None, effective_on__lte=on_date)


def label_in_force(product: Product, on_date: date) -> LabelVersion | None:
    """The checked label version in force on ``on_date``; ``None`` = there is none to go by."""
    return labels_in_force(product.farm, [product.pk], on_date).get(product.pk)


def labels_in_force(farm: Farm, product_ids: Collection[int], on_date: date) -> dict[int, LabelVersion]:
    """Product id -> label version in force, in one query; products without one are left out."""
    usable = _usable(farm, on_date).filter(product__in=product_ids).order_by("effective_on", "number")
    return {row.product_id: row for row in usable}


def altered(farm: Farm) -> list[LabelVersion]:
    """Label versions whose document no longer matches its hash. Always empty unless somebody went past the book."""
    return [row for row in label_versions(farm).order_by("id") if hash_of(row.body) != row.body_hash]
