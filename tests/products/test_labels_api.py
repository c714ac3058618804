"""The label library over HTTP."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.products.models import LabelVersion, Product
from tests.factories.products import DraftFactory, LabelFactory, ProductFactory, canonical, label_document

pytestmark = pytest.mark.django_db
ROOT = "/api/v1/farms/alder-bend/"


@pytest.fixture
def manager(cast, api):
    return api(cast.manager)


def test_a_label_walks_from_the_paper_into_force(cast, api, manager):
    product = manager.post(
        ROOT + "products/", {"name": "Demo Alder 6F", "kind": "fungicide", "is_demo": True}, format="json"
    )
    assert product.status_code == 201
    assert product.json() == {
        "id": product.json()["id"],
        "name": "Demo Alder 6F",
        "registration_number": "",
        "kind": "fungicide",
        "is_demo": True,
        "retired_at": None,
        "label_in_force_id": None,
        "drafts": 0,
        "version": 1,
    }
    place = f"{ROOT}products/{product.json()['id']}/"
    draft = manager.post(
        place + "labels/", {"effective_on": "2026-01-01", "body": label_document()}, format="json"
    ).json()
    assert (draft["number"], draft["checked_at"], draft["transcribed_by"]) == (1, None, "Ines Prado")
    assert draft["body"] == canonical(label_document())
    assert manager.get(place + "label/").status_code == 404

    checked = api(cast.applicator).post(
        f"{ROOT}labels/{draft['id']}/check/",
        {"body_hash": draft["body_hash"], "checked_against": "paper label dated 3 Mar 2026"},
        format="json",
    )
    assert (checked.status_code, checked.json()["checked_by"], checked.json()["same_person"]) == (
        200,
        "Luis Mora",
        False,
    )
    assert api(cast.staff).get(place + "label/").json()["id"] == draft["id"]
    assert manager.get(place).json()["label_in_force_id"] == draft["id"]
    early = manager.get(place + "label/?on=2025-12-31")
    assert (early.status_code, early.json()["detail"]) == (
        404,
        "No checked label of this product is in force on 2025-12-31.",
    )
    withdrawn = manager.post(f"{ROOT}labels/{draft['id']}/withdraw/", {"reason": "misread"}, format="json")
    assert (withdrawn.json()["withdrawn_by"], withdrawn.json()["withdrawn_reason"]) == ("Ines Prado", "misread")
    assert manager.get(place).json()["label_in_force_id"] is None


def test_a_date_that_is_none_names_the_field(cast, manager):
    row = ProductFactory(farm=cast.farm)
    answer = manager.get(f"{ROOT}products/{row.pk}/label/?on=tomorrow")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, ["on"])


def test_faults_of_the_document_come_by_their_dotted_path(cast, manager):
    row = ProductFactory(farm=cast.farm)
    body = label_document(caps=[{"ingredient": "sulfur", "pounds": "-1", "per": "month"}], wind_max="15")
    body["uses"][0]["rate_max"] = "1,5"
    answer = manager.post(
        f"{ROOT}products/{row.pk}/labels/", {"effective_on": "2026-01-01", "body": body}, format="json"
    )
    assert answer.status_code == 400
    assert sorted(answer.json()["errors"]) == [
        "body.caps.0.per",
        "body.caps.0.pounds",
        "body.uses.0.rate_max",
        "body.wind_max",
    ]
    assert answer.json()["errors"]["body.uses.0.rate_max"] == [
        "Use a point for decimals, like 1.5, and no thousands mark."
    ]
    assert LabelVersion.rows.count() == 0


@pytest.mark.parametrize("body", [None, [], "label", 7, {"uses": {}}], ids=str)
def test_what_is_no_document_is_bad_input_not_a_fault(cast, manager, body):
    row = ProductFactory(farm=cast.farm)
    answer = manager.post(
        f"{ROOT}products/{row.pk}/labels/", {"effective_on": "2026-01-01", "body": body}, format="json"
    )
    assert answer.status_code == 400
    assert all(name == "body" or name.startswith("body.") for name in answer.json()["errors"])


def test_editing_a_draft_needs_the_version_read(cast, manager):
    row = DraftFactory(product__farm=cast.farm)
    place = f"{ROOT}labels/{row.pk}/"
    assert manager.patch(place, {"note": "x"}, format="json").status_code == 428
    assert manager.patch(place, {"note": "x"}, format="json", headers={"If-Match": '"v8"'}).status_code == 412
    read = manager.get(place)
    saved = manager.patch(place, {"note": "page 3 torn"}, format="json", headers={"If-Match": read["ETag"]})
    assert (saved.status_code, saved["ETag"], saved.json()["note"]) == (200, '"v2"', "page 3 torn")


def test_a_checked_label_is_refused_for_editing(cast, manager):
    row = LabelFactory(product__farm=cast.farm)
    answer = manager.patch(
        f"{ROOT}labels/{row.pk}/", {"body": label_document(rei_hours="4")}, format="json", headers={"If-Match": "v1"}
    )
    assert (answer.status_code, answer.json()["findings"][0]["code"]) == (409, "label_checked")
    assert LabelVersion.rows.get(pk=row.pk).body == row.body


def test_retiring_and_bringing_back(cast, manager):
    row = ProductFactory(farm=cast.farm)
    place = f"{ROOT}products/{row.pk}/"
    gone = manager.patch(place, {"retired": True}, format="json", headers={"If-Match": "v1"}).json()
    assert gone["retired_at"] is not None
    back = manager.patch(place, {"retired": False}, format="json", headers={"If-Match": "v2"}).json()
    assert (back["retired_at"], back["version"]) == (None, 3)


FILTERS = [
    ("name=alder", ["Demo Alder"]),
    ("kind=insecticide", ["Demo Kestrel"]),
    ("retired=false", ["Demo Alder", "Demo Kestrel"]),
    ("retired=true", ["Demo Yew"]),
    ("has_label=true", ["Demo Alder"]),
    ("is_demo=false", ["Demo Yew"]),
]


@pytest.mark.parametrize(("query", "names"), FILTERS, ids=[q for q, _ in FILTERS])
def test_filters_of_the_library(cast, manager, query, names):
    LabelFactory(product__farm=cast.farm, product__name="Demo Alder")
    ProductFactory(farm=cast.farm, name="Demo Kestrel", kind="insecticide")
    ProductFactory(farm=cast.farm, name="Demo Yew", is_demo=False, retired_at="2026-01-01T00:00:00Z")
    found = manager.get(f"{ROOT}products/?{query}").json()["results"]
    assert sorted(p["name"] for p in found) == names


def test_a_mistyped_filter_is_refused(cast, manager):
    answer = manager.get(ROOT + "products/?kin=herbicide")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, ["kin"])


def test_versions_are_filtered_by_their_state(cast, manager):
    product = ProductFactory(farm=cast.farm)
    checked, draft = LabelFactory(product=product, number=1), DraftFactory(product=product, number=2)
    place = f"{ROOT}products/{product.pk}/labels/"
    assert [v["id"] for v in manager.get(place).json()["results"]] == [draft.pk, checked.pk]
    assert [v["id"] for v in manager.get(place + "?checked=true").json()["results"]] == [checked.pk]
    assert [v["id"] for v in manager.get(place + "?checked=false").json()["results"]] == [draft.pk]


@pytest.mark.parametrize(
    ("method", "place", "body"),
    [
        ("get", "products/{product}/", None),
        ("patch", "products/{product}/", {"name": "Mine"}),
        ("get", "products/{product}/label/", None),
        ("get", "products/{product}/labels/", None),
        ("post", "products/{product}/labels/", {"effective_on": "2026-01-01", "body": label_document()}),
        ("get", "labels/{label}/", None),
        ("patch", "labels/{label}/", {"note": "mine"}),
        ("post", "labels/{label}/check/", {"body_hash": "x", "checked_against": "paper label"}),
        ("post", "labels/{label}/withdraw/", {"reason": "mine"}),
    ],
)
def test_another_farms_rows_are_404_from_ones_own_farm(cast, manager, method, place, body):
    theirs = DraftFactory(product__farm=cast.other_farm, product__name="Their Secret")
    address = ROOT + place.format(product=theirs.product_id, label=theirs.pk)
    answer = getattr(manager, method)(address, body, format="json", headers={"If-Match": "v1"})
    assert (answer.status_code, "Their Secret" in answer.content.decode()) == (404, False)
    theirs.refresh_from_db()
    assert (theirs.note, theirs.checked_at, theirs.withdrawn_at, theirs.number) == ("", None, None, theirs.number)
    assert Product.rows.get(pk=theirs.product_id).name == "Their Secret"


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_only_the_manager_writes_labels(cast, api, role):
    answer = api(cast.by_role(role)).post(ROOT + "products/", {"name": "X", "kind": "other"}, format="json")
    assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: manager.")
    assert Product.rows.count() == 0


def test_staff_may_not_check(cast, api):
    row = DraftFactory(product__farm=cast.farm)
    answer = api(cast.staff).post(
        f"{ROOT}labels/{row.pk}/check/", {"body_hash": row.body_hash, "checked_against": "paper label"}, format="json"
    )
    assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: manager / applicator.")


@pytest.mark.parametrize("place", ["products/", "products/{product}/labels/"])
def test_lists_cost_the_same_for_two_rows_and_for_twelve(cast, manager, place, django_assert_num_queries):
    product = ProductFactory(farm=cast.farm)
    address = ROOT + place.format(product=product.pk)

    def grow(first: int, last: int) -> None:
        for n in range(first, last):
            LabelFactory(product=product, number=n)
            LabelFactory(product__farm=cast.farm, number=1)

    grow(1, 3)
    with CaptureQueriesContext(connection) as few:
        manager.get(address)
    grow(3, 13)
    with django_assert_num_queries(len(few)):
        assert len(manager.get(address).json()["results"]) >= 12
