"""Products and labels, all invented."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import factory
from django.conf import settings
from django.utils import timezone

from apps.products.models import LabelVersion, Product, hash_of
from apps.products.rules import label_body, read_label
from tests.factories.base import FarmOwnedFactory
from tests.factories.people import FarmFactory, PersonFactory

LIBRARY: dict[str, Any] = json.loads((Path(settings.BASE_DIR) / "fixtures" / "demo_labels.json").read_text())
DEMO: dict[str, dict[str, Any]] = {entry["name"]: entry for entry in LIBRARY["products"]}


def label_document(**changes: Any) -> dict[str, Any]:
    """A short fungicide label on winter squash; ``changes`` replace its fields."""
    return {
        "kind": "fungicide",
        "restricted_use": False,
        "ingredients": [{"name": "quinoxyfen", "amount": "2.08", "basis": "lb_per_gal"}],
        "groups": [{"scheme": "frac", "code": "13"}],
        "rei_hours": "12",
        "uses": [
            {
                "site_code": "winter_squash",
                "rate_min": "4",
                "rate_max": "6",
                "rate_unit": "floz",
                "rate_basis": "per_acre",
                "phi_days": 3,
                "min_interval_days": 7,
            }
        ],
        **changes,
    }


def canonical(document: dict[str, Any]) -> dict[str, Any]:
    """The document as the book stores it."""
    return label_body(read_label(document))


class ProductFactory(FarmOwnedFactory):
    class Meta:
        model = Product

    farm = factory.SubFactory(FarmFactory)
    name = factory.Sequence(lambda n: f"Demo Product {n}")
    kind = "fungicide"
    is_demo = True


class DraftFactory(FarmOwnedFactory):
    """A label draft; ``document`` is the label as typed."""

    class Meta:
        model = LabelVersion
        exclude = ["document"]

    document = factory.LazyFunction(label_document)
    product = factory.SubFactory(ProductFactory)
    farm = factory.SelfAttribute("product.farm")
    number = factory.Sequence(lambda n: n + 1)
    effective_on = date(2026, 1, 1)
    body = factory.LazyAttribute(lambda row: canonical(row.document))
    body_hash = factory.LazyAttribute(lambda row: hash_of(row.body))
    transcribed_by = factory.SubFactory(PersonFactory)
    transcribed_at = factory.LazyFunction(timezone.now)


class LabelFactory(DraftFactory):
    """A label checked against the paper by somebody else."""

    checked_by = factory.SubFactory(PersonFactory)
    checked_at = factory.LazyFunction(timezone.now)
    checked_against = "paper label dated 3 Mar 2026"
