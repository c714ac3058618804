"""The demo library that is shipped: invented, whole, readable, and described by the interface description."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, date, datetime

import jsonschema
import pytest
from drf_spectacular.generators import SchemaGenerator

from apps.products import queries, serializers, services
from apps.products.models import Product
from apps.products.rules import (
    ActivityRei,
    GroupRunLimit,
    Ingredient,
    IngredientCap,
    Label,
    LabelUse,
    PhiTier,
    PlantBack,
    Ppe,
    Separation,
    pounds_per_acre,
    read_label,
)
from farmops.units import Dimension, Quantity, dimension_of
from tests.factories.products import DEMO, LIBRARY, canonical

NOW = datetime(2026, 6, 3, 15, 0, tzinfo=UTC)
NAMES = list(DEMO)


@pytest.mark.parametrize("name", NAMES)
def test_every_entry_is_marked_as_a_demo_and_its_label_reads(name):
    entry = DEMO[name]
    assert (entry["is_demo"], entry["note"]) == (True, "Demo label, not advice")
    assert name.startswith("Demo ") and entry["registration_number"].startswith("DEMO-")
    label = read_label(entry["label"])
    assert label.kind.value == entry["kind"]
    assert label.contains_oil is not None


def test_the_library_spans_what_the_checks_need():
    """At least twelve products; the groups, kinds and limits that the checks of a job judge by."""
    labels = {name: read_label(entry["label"]) for name, entry in DEMO.items()}
    groups = {str(g) for label in labels.values() for g in label.groups}
    wanted = "FRAC M01,FRAC M02,FRAC M03,FRAC M05,FRAC 3,FRAC 7,FRAC 13,FRAC U06,FRAC 11,IRAC 3A,IRAC 28,IRAC 4A,HRAC 9"
    assert len(labels) >= 12
    assert set(wanted.split(",")) - groups == set()
    assert {use.site_code for label in labels.values() for use in label.uses} == {
        "winter_squash",
        "muskmelon",
        "sweet_corn",
        "snap_bean",
        "tomato",
        "fallow_cover",
    }
    assert {label.kind.value for label in labels.values()} == {"fungicide", "insecticide", "herbicide", "nutrient"}
    assert [name for name, label in labels.items() if label.restricted_use] == ["Demo Kestrel 1CS"]
    assert [name for name, label in labels.items() if label.rei_hours is None] == ["Demo Rowan DF"]


@pytest.mark.parametrize("name", NAMES)
def test_the_highest_rate_keeps_within_the_labels_own_limit_for_one_pass(name):
    label = read_label(DEMO[name]["label"])
    for use in label.uses:
        assert dimension_of(use.rate_unit) in (Dimension.VOLUME, Dimension.MASS)
        pounds = pounds_per_acre(label, Quantity(use.rate_max, use.rate_unit))
        for cap in (c for c in label.caps if c.per in ("pass", "year") and c.site_code in (None, use.site_code)):
            assert pounds[cap.ingredient] <= cap.pounds


@pytest.mark.django_db
def test_the_library_is_taken_in_once_as_drafts(cast):
    made = services.take_library(member=cast.manager, library=LIBRARY, now=NOW)
    assert [row.product.name for row in made] == NAMES
    assert all(row.is_draft and row.number == 1 and row.product.is_demo for row in made)
    assert services.take_library(member=cast.manager, library=LIBRARY, now=NOW) == []
    assert Product.rows.count() == len(NAMES)
    assert queries.labels_in_force(cast.farm, [r.product_id for r in made], date(2026, 6, 3)) == {}


# ---- the interface description tells of every field ----------------------------------------

SHAPES = [
    (Label, serializers.LabelDocument),
    (LabelUse, serializers.UseShape),
    (Ingredient, serializers.IngredientShape),
    (IngredientCap, serializers.CapShape),
    (Separation, serializers.SeparationShape),
    (PlantBack, serializers.PlantBackShape),
    (PhiTier, serializers.PhiTierShape),
    (ActivityRei, serializers.ActivityReiShape),
    (Ppe, serializers.PpeShape),
]


@pytest.mark.parametrize(("facts", "shape"), SHAPES, ids=lambda kind: kind.__name__)
def test_the_described_fields_are_those_of_the_facts(facts, shape):
    assert sorted(shape().fields) == sorted(f.name for f in fields(facts))


def test_a_run_limit_is_described_flat():
    assert [f.name for f in fields(GroupRunLimit)] == ["group", "max_in_a_row"]
    assert sorted(serializers.RunLimitShape().fields) == ["code", "max_in_a_row", "scheme"]


@pytest.fixture(scope="module")
def described() -> dict:
    return SchemaGenerator().get_schema(request=None, public=True)


@pytest.mark.parametrize("component", ["LabelDocument", "LabelDocumentRequest"])
@pytest.mark.parametrize("name", NAMES)
def test_a_stored_document_fits_its_description(described, name, component):
    schema = {**described, "$ref": f"#/components/schemas/{component}"}
    found = jsonschema.Draft202012Validator(schema).iter_errors(canonical(DEMO[name]["label"]))
    assert [f"{e.json_path}: {e.message}" for e in found] == []
