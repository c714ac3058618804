"""Products, drafts, the check against the paper, and which label is in force."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.core.management import call_command
from django.db import DatabaseError, IntegrityError, connection, transaction

from apps.audit import triggers
from apps.audit.models import AuditEvent
from apps.products import queries, services
from apps.products.models import LabelVersion, Product, hash_of
from apps.products.triggers import GUARD
from farmops.errors import BadInput, NotYourRole, Refused, Stale, Unknown
from tests.factories.products import DraftFactory, LabelFactory, ProductFactory, canonical, label_document

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 3, 15, 0, tzinfo=UTC)
PAPER = "paper label dated 3 Mar 2026"


@pytest.fixture
def product(cast) -> Product:
    return services.add_product(member=cast.manager, name="Demo Alder 6F", kind="fungicide", is_demo=True, now=NOW)


@pytest.fixture
def draft(cast, product) -> LabelVersion:
    return services.draft_label(
        member=cast.manager, product_id=product.pk, effective_on=date(2026, 1, 1), body=label_document(), now=NOW
    )


def check(member, row, paper: str = PAPER) -> LabelVersion:
    return services.check_label(member=member, label_id=row.pk, body_hash=row.body_hash, checked_against=paper, now=NOW)


@pytest.mark.parametrize("name", ["Demo Alder 6F", "demo alder 6f", "  DEMO  Alder 6F "])
def test_a_name_is_taken_once_whatever_its_case(cast, product, name):
    with pytest.raises(BadInput) as bad:
        services.add_product(member=cast.manager, name=name, kind="fungicide", now=NOW)
    assert bad.value.errors == {"name": ["The library already holds a product of this name."]}
    assert Product.rows.count() == 1


def test_the_database_itself_keeps_names_apart(product):
    with pytest.raises(IntegrityError, match="product_name_once_per_farm"), transaction.atomic():
        ProductFactory(farm=product.farm, name="DEMO ALDER 6F")


def test_the_same_name_on_another_farm_is_another_product(cast, product):
    other = services.add_product(member=cast.neighbour, name="Demo Alder 6F", kind="fungicide", now=NOW)
    assert (other.farm, Product.rows.count()) == (cast.other_farm, 2)


@pytest.mark.parametrize("column", ["is_demo", "retired_at", "farm_id"])
def test_an_edit_cannot_take_off_the_demo_mark_or_reach_other_columns(cast, product, column):
    with pytest.raises(BadInput) as bad:
        services.edit_product(
            member=cast.manager, product_id=product.pk, expected_version=1, changes={column: None}, now=NOW
        )
    assert bad.value.errors == {column: ["This cannot be changed here."]}


def test_an_edit_of_a_draft_cannot_pass_for_a_check(cast, draft):
    with pytest.raises(BadInput) as bad:
        services.edit_draft(
            member=cast.manager, label_id=draft.pk, expected_version=1, changes={"checked_at": NOW}, now=NOW
        )
    assert list(bad.value.errors) == ["checked_at"]


def test_kind_stays_once_a_label_says_it(cast, product, draft):
    with pytest.raises(Refused) as no:
        services.edit_product(
            member=cast.manager, product_id=product.pk, expected_version=1, changes={"kind": "herbicide"}, now=NOW
        )
    assert [f.code for f in no.value.findings] == ["kind_in_use"]


def test_a_document_of_another_kind_is_refused_at_its_field(cast, product):
    with pytest.raises(BadInput) as bad:
        services.draft_label(
            member=cast.manager,
            product_id=product.pk,
            effective_on=date(2026, 1, 1),
            body=label_document(kind="insecticide"),
            now=NOW,
        )
    assert list(bad.value.errors) == ["body.kind"]


def test_every_fault_of_a_document_is_named_from_the_root_of_the_request(cast, product):
    body = label_document(rei_hour="12")
    body["uses"][0] |= {"rate_max": "2", "rate_unit": "ounces"}
    with pytest.raises(BadInput) as bad:
        services.draft_label(
            member=cast.manager, product_id=product.pk, effective_on=date(2026, 1, 1), body=body, now=NOW
        )
    assert sorted(bad.value.errors) == ["body.rei_hour", "body.uses.0.rate_min", "body.uses.0.rate_unit"]
    assert LabelVersion.rows.count() == 0


def test_drafts_are_numbered_and_stored_in_canonical_form(cast, product, draft):
    second = services.draft_label(
        member=cast.manager,
        product_id=product.pk,
        effective_on=date(2026, 2, 1),
        body=label_document(rei_hours=" 12.0 "),
        now=NOW,
    )
    assert (draft.number, second.number) == (1, 2)
    assert (second.body, second.body_hash) == (draft.body, draft.body_hash)
    assert draft.body == canonical(label_document())


def test_an_unchecked_label_is_never_in_force(product, draft):
    assert queries.label_in_force(product, date(2026, 6, 3)) is None
    assert queries.labels_in_force(product.farm, [product.pk], date(2026, 6, 3)) == {}


def test_a_check_names_the_person_the_paper_and_the_time(cast, draft):
    row = check(cast.applicator, draft)
    row.refresh_from_db()
    assert (row.checked_by_id, row.checked_at, row.checked_against, row.same_person, row.is_draft) == (
        cast.applicator.person_id,
        NOW,
        PAPER,
        False,
        False,
    )
    assert queries.label_in_force(row.product, date(2026, 6, 3)) == row


def test_the_same_person_may_check_and_it_shows(cast, draft):
    assert check(cast.manager, draft).same_person is True
    event = AuditEvent.objects.filter(verb="checked").get()
    assert event.after == {"against": PAPER, "hash": draft.body_hash, "also transcribed it": True}


def test_whoever_changes_the_text_is_its_transcriber(cast, draft):
    LabelVersion.rows.filter(pk=draft.pk).update(transcribed_by_id=cast.applicator.person_id)
    new_date = services.edit_draft(
        member=cast.manager,
        label_id=draft.pk,
        expected_version=1,
        changes={"effective_on": date(2026, 5, 1), "body": label_document()},
        now=NOW,
    )
    assert (new_date.transcribed_by_id, new_date.effective_on) == (cast.applicator.person_id, date(2026, 5, 1))
    new_text = services.edit_draft(
        member=cast.manager,
        label_id=draft.pk,
        expected_version=2,
        changes={"body": label_document(rei_hours="24")},
        now=NOW,
    )
    assert (new_text.transcribed_by_id, new_text.version) == (cast.manager.person_id, 3)
    assert new_text.body_hash == hash_of(new_text.body) != draft.body_hash


def test_a_check_of_a_text_that_has_changed_meanwhile_is_stale(cast, draft):
    services.edit_draft(
        member=cast.manager,
        label_id=draft.pk,
        expected_version=1,
        changes={"body": label_document(rei_hours="4")},
        now=NOW,
    )
    with pytest.raises(Stale):
        check(cast.applicator, draft)
    draft.refresh_from_db()
    assert draft.checked_at is None


@pytest.mark.parametrize("paper", ["", "   ", "ok", "x" * 301])
def test_a_check_says_which_paper(cast, draft, paper):
    with pytest.raises(BadInput) as bad:
        check(cast.manager, draft, paper)
    assert list(bad.value.errors) == ["checked_against"]


def test_an_edit_of_an_older_version_is_stale(cast, draft):
    with pytest.raises(Stale):
        services.edit_draft(member=cast.manager, label_id=draft.pk, expected_version=7, changes={"note": "x"}, now=NOW)


def test_a_checked_label_cannot_be_edited_or_checked_again(cast, draft):
    row = check(cast.manager, draft)
    with pytest.raises(Refused) as no:
        services.edit_draft(
            member=cast.manager, label_id=row.pk, expected_version=row.version, changes={"note": "x"}, now=NOW
        )
    assert [f.code for f in no.value.findings] == ["label_checked"]
    with pytest.raises(Refused) as again:
        check(cast.applicator, row)
    assert [f.code for f in again.value.findings] == ["label_checked"]


@pytest.mark.parametrize("column", ["body", "body_hash", "effective_on", "checked_at", "number", "transcribed_by_id"])
def test_the_database_keeps_a_checked_label_as_it_was_checked(cast, draft, column):
    before = LabelVersion.rows.filter(pk=check(cast.manager, draft).pk).values().get()
    new = {
        "body": canonical(label_document(rei_hours="1")),
        "body_hash": "0" * 64,
        "effective_on": date(2020, 1, 1),
        "checked_at": datetime(2020, 1, 1, tzinfo=UTC),
        "number": 9,
        "transcribed_by_id": cast.staff.person_id,
    }
    with pytest.raises(DatabaseError, match=GUARD.refusal), transaction.atomic():
        LabelVersion.rows.filter(pk=draft.pk).update(**{column: new[column]})
    assert LabelVersion.rows.filter(pk=draft.pk).values().get() == before


def test_the_database_keeps_a_checked_label_from_being_deleted(cast, draft):
    other = DraftFactory(product=draft.product, number=2)
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM products_labelversion WHERE id = %s", [other.pk])
    checked = check(cast.manager, draft)
    with pytest.raises(DatabaseError, match=GUARD.refusal), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM products_labelversion WHERE id = %s", [checked.pk])
    assert list(LabelVersion.rows.values_list("pk", flat=True)) == [checked.pk]


@pytest.mark.parametrize("action", ["update", "delete"])
def test_a_missing_trigger_is_found_and_put_back(db, client, action):
    """By the check at the start, by ``/readyz``, and by the next migrate."""
    name = GUARD.name(action)
    on = f' ON "{GUARD.table}"' if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f'DROP TRIGGER "{name}"{on}')
    assert [e.msg for e in triggers.check_installed(None, ["default"])] == [
        f"Database trigger {name} is missing: run manage.py migrate."
    ]
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["missing_triggers"]) == (503, [name])
    call_command("migrate", verbosity=0)
    assert triggers.check_installed(None, ["default"]) == []
    assert client.get("/readyz").json()["missing_triggers"] == []


def test_a_document_altered_behind_the_book_is_found(cast, draft):
    assert queries.altered(cast.farm) == []
    LabelVersion.rows.filter(pk=draft.pk).update(body=canonical(label_document(rei_hours="1")))
    assert queries.altered(cast.farm) == [draft]


@pytest.mark.parametrize(
    ("on_date", "number"),
    [(date(2025, 12, 31), None), (date(2026, 1, 1), 1), (date(2026, 3, 31), 1), (date(2026, 4, 1), 3)],
    ids=["before any", "first day", "day before the next", "the later number of two on one day"],
)
def test_the_latest_checked_version_in_effect_is_in_force(product, on_date, number):
    LabelFactory(product=product, number=1, effective_on=date(2026, 1, 1))
    LabelFactory(product=product, number=2, effective_on=date(2026, 4, 1))
    LabelFactory(product=product, number=3, effective_on=date(2026, 4, 1))
    DraftFactory(product=product, number=4, effective_on=date(2026, 4, 1))
    found = queries.label_in_force(product, on_date)
    assert (found.number if found else None) == number
    listed = queries.products(product.farm, on_date).get()
    assert (listed.label_in_force_id, listed.drafts) == (found.pk if found else None, 1)


def test_a_withdrawn_version_gives_way_to_the_one_before(cast, product):
    first = LabelFactory(product=product, number=1, effective_on=date(2026, 1, 1))
    second = LabelFactory(product=product, number=2, effective_on=date(2026, 4, 1))
    assert queries.label_in_force(product, date(2026, 6, 3)) == second
    row = services.withdraw_label(member=cast.applicator, label_id=second.pk, reason="misread page 4", now=NOW)
    assert (row.withdrawn_by_id, row.withdrawn_at, row.withdrawn_reason) == (
        cast.applicator.person_id,
        NOW,
        "misread page 4",
    )
    assert queries.label_in_force(product, date(2026, 6, 3)) == first
    with pytest.raises(Refused) as no:
        services.withdraw_label(member=cast.manager, label_id=second.pk, reason="again", now=NOW)
    assert [f.code for f in no.value.findings] == ["label_withdrawn"]


def test_a_withdrawn_draft_can_no_longer_be_checked(cast, draft):
    services.withdraw_label(member=cast.manager, label_id=draft.pk, reason="typed twice", now=NOW)
    with pytest.raises(Refused) as no:
        check(cast.manager, draft)
    assert [f.code for f in no.value.findings] == ["label_withdrawn"]


ACTS = {
    "add a product": lambda m, row: services.add_product(member=m, name="X", kind="other", now=NOW),
    "edit a product": lambda m, row: services.edit_product(
        member=m, product_id=row.product_id, expected_version=1, changes={"name": "Y"}, now=NOW
    ),
    "draft": lambda m, row: services.draft_label(
        member=m, product_id=row.product_id, effective_on=date(2026, 1, 1), body=label_document(), now=NOW
    ),
    "edit a draft": lambda m, row: services.edit_draft(
        member=m, label_id=row.pk, expected_version=1, changes={"note": "x"}, now=NOW
    ),
    "check": check,
    "withdraw": lambda m, row: services.withdraw_label(member=m, label_id=row.pk, reason="why not", now=NOW),
}
MAY = {"check": {"manager", "applicator"}, "withdraw": {"manager", "applicator"}}


@pytest.mark.parametrize("role", ["manager", "applicator", "staff"])
@pytest.mark.parametrize("act", list(ACTS))
def test_each_role_may_do_what_the_table_says(cast, draft, act, role):
    def do() -> None:
        ACTS[act](cast.by_role(role), draft)

    if role in MAY.get(act, {"manager"}):
        do()
        assert AuditEvent.objects.latest("id").actor_id == cast.by_role(role).person_id
    else:
        before = AuditEvent.objects.count()
        with pytest.raises(NotYourRole, match="This needs one of:"):
            do()
        assert AuditEvent.objects.count() == before


@pytest.mark.parametrize("act", [a for a in ACTS if a != "add a product"])
def test_another_farms_labels_are_unknown(cast, draft, act):
    with pytest.raises(Unknown):
        ACTS[act](cast.neighbour, draft)


@pytest.mark.parametrize("products", [1, 12])
def test_labels_of_any_number_of_products_take_one_query(cast, django_assert_num_queries, products):
    rows = [LabelFactory(product__farm=cast.farm, number=1) for _ in range(products)]
    with django_assert_num_queries(1):
        found = queries.labels_in_force(cast.farm, [r.product_id for r in rows], date(2026, 6, 3))
    assert found == {r.product_id: r for r in rows}
    with django_assert_num_queries(1):
        assert [p.label_in_force_id for p in queries.products(cast.farm, date(2026, 6, 3)).order_by("id")] == [
            r.pk for r in rows
        ]


def test_labels_of_another_farm_are_not_found_by_id(cast):
    theirs = LabelFactory(product__farm=cast.other_farm)
    assert queries.labels_in_force(cast.farm, [theirs.product_id], date(2026, 6, 3)) == {}
