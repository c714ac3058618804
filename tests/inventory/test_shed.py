"""Deliveries, counts, reservations and use, and that it always adds up."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from apps.audit import triggers
from apps.audit.models import AuditEvent
from apps.inventory import queries, services
from apps.inventory.models import LedgerLine, Lot, ProductStock
from apps.products.models import Product
from farmops.errors import BadInput, NotYourRole, Refused, Unknown
from farmops.units import Quantity
from tests.factories.inventory import qty, stocked
from tests.factories.products import LabelFactory, ProductFactory, label_document

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 3, 15, 0, tzinfo=UTC)
D = Decimal
JOB = ("job", 12)


@pytest.fixture
def product(cast) -> Product:
    return ProductFactory(farm=cast.farm, name="Demo Cedar 2SC")


def balance(product) -> tuple[Decimal, Decimal, str]:
    row = ProductStock.rows.get(product=product)
    return row.on_hand, row.reserved, row.unit


def reserve(cast, product, amount: str, unit: str = "gal", source=JOB):
    return services.reserve(
        farm=cast.farm, member=cast.manager, product_id=product.pk, quantity=qty(amount, unit), source=source, now=NOW
    )


def draw(cast, product, amount: str, unit: str = "gal", source=JOB, **more):
    return services.draw_down(
        farm=cast.farm,
        member=cast.applicator,
        product_id=product.pk,
        quantity=qty(amount, unit),
        source=source,
        now=NOW,
        **more,
    )


def in_order(farm) -> bool:
    return queries.rebuild_balances(farm) == []


# ---- deliveries ----------------------------------------------------------------------------


def test_a_delivery_is_kept_as_typed_and_as_it_counts(cast, product):
    lot = stocked(cast.applicator, product, "64", "floz", expires_on=date(2027, 5, 1), now=NOW)
    line = LedgerLine.rows.get()
    assert balance(product) == (D("0.5"), D(0), "gal")
    assert (lot.on_hand, lot.expires_on) == (D("0.5"), date(2027, 5, 1))
    assert (line.kind, line.lot, line.on_hand_change, line.unit) == ("receive", lot, D("0.5"), "gal")
    assert (line.entered_amount, line.entered_unit, line.at, line.by_id) == (
        D(64),
        "floz",
        NOW,
        cast.applicator.person_id,
    )
    assert AuditEvent.objects.get(verb="received").after == {"amount": "64 fl oz"}


def test_more_of_a_known_lot_is_added_to_it(cast, product):
    stocked(cast.manager, product, "1")
    stocked(cast.manager, product, "2", "qt", lot=" A1 ")
    assert (Lot.rows.get().on_hand, balance(product)[0]) == (D("1.5"), D("1.5"))
    assert in_order(cast.farm)


def test_a_known_lot_with_another_expiry_is_a_question_not_a_merge(cast, product):
    stocked(cast.manager, product, "1", expires_on=date(2027, 1, 1))
    with pytest.raises(BadInput) as bad:
        stocked(cast.manager, product, "1", expires_on=date(2028, 1, 1))
    assert list(bad.value.errors) == ["expires_on"]
    assert balance(product)[0] == D(1)


BAD_DELIVERIES = [
    ({"amount": "0"}, "amount"),
    ({"amount": "-1"}, "amount"),
    ({"unit": "ac"}, "unit"),
    ({"lot": "  "}, "lot_number"),
    ({"lot": "x" * 61}, "lot_number"),
    ({"received_on": date(2026, 6, 4)}, "received_on"),
    ({"expires_on": date(2026, 3, 31)}, "expires_on"),
    ({"amount": "200000"}, "unit"),
]


@pytest.mark.parametrize(("changes", "field"), BAD_DELIVERIES, ids=[f"{c}" for c, _ in BAD_DELIVERIES])
def test_a_delivery_that_cannot_be_names_the_field_and_leaves_nothing(cast, product, changes, field):
    with pytest.raises(BadInput) as bad:
        stocked(cast.manager, product, **{"now": NOW, **changes})
    assert list(bad.value.errors) == [field]
    assert (Lot.rows.count(), LedgerLine.rows.count(), ProductStock.rows.count()) == (0, 0, 0)


def test_the_delivery_day_is_judged_in_the_farms_zone(cast, product):
    """02:00 UTC on 4 June is still 3 June in Chicago."""
    late = datetime(2026, 6, 4, 2, 0, tzinfo=UTC)
    with pytest.raises(BadInput):
        stocked(cast.manager, product, received_on=date(2026, 6, 4), now=late)
    assert stocked(cast.manager, product, received_on=date(2026, 6, 3), now=late).received_on == date(2026, 6, 3)


# ---- units ---------------------------------------------------------------------------------


def test_fluid_ounce_against_weight_ounce_is_refused_on_the_unit(cast, product):
    stocked(cast.manager, product, "1", "gal")
    for act in (lambda: reserve(cast, product, "8", "oz"), lambda: draw(cast, product, "8", "oz")):
        with pytest.raises(BadInput) as bad:
            act()
        assert list(bad.value.errors) == ["unit"]
    assert balance(product) == (D(1), D(0), "gal")


def test_only_the_checked_labels_density_turns_weight_into_liquid(cast, product):
    stocked(cast.manager, product, "2", "gal", now=NOW)
    label = LabelFactory(product=product, number=1, document=label_document(density_lb_per_gal="10"))
    assert reserve(cast, product, "5", "lb").reserved_change == D("0.5")
    label.withdrawn_by, label.withdrawn_at, label.withdrawn_reason = label.checked_by, NOW, "misread"
    label.save()
    with pytest.raises(BadInput) as bad:
        reserve(cast, product, "5", "lb")
    assert list(bad.value.errors) == ["unit"]


def test_the_label_says_in_which_unit_a_product_is_kept(cast, product):
    LabelFactory(product=product, document=label_document(density_lb_per_gal="10"))
    stocked(cast.manager, product, "5", "lb", now=NOW)
    assert balance(product) == (D("0.5"), D(0), "gal")


def test_a_first_delivery_in_the_wrong_kind_of_ounce_can_be_mended(cast, product):
    lot = stocked(cast.manager, product, "16", "oz", now=NOW)
    services.count(member=cast.manager, lot_id=lot.pk, counted=qty("0", "lb"), reason="typed oz for fl oz", now=NOW)
    stocked(cast.manager, product, "16", "floz", lot="A2", now=NOW)
    assert balance(product) == (D("0.125"), D(0), "gal")
    assert in_order(cast.farm)


def test_a_shelf_with_something_on_it_keeps_its_unit(cast, product):
    stocked(cast.manager, product, "16", "oz", now=NOW)
    with pytest.raises(BadInput) as bad:
        stocked(cast.manager, product, "16", "floz", lot="A2", now=NOW)
    assert list(bad.value.errors) == ["unit"]


# ---- counts and adjustments ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("counted", "unit", "change"),
    [("9", "qt", "-0.25"), ("2.5", "gal", "0"), ("3", "gal", "0.5"), ("0", "pt", "-2.5")],
    ids=["less", "the same", "more", "nothing"],
)
def test_a_count_writes_the_difference(cast, product, counted, unit, change):
    lot = stocked(cast.manager, product, "2.5")
    line = services.count(
        member=cast.applicator, lot_id=lot.pk, counted=qty(counted, unit), reason="monthly count", now=NOW
    )
    assert (line.kind, line.on_hand_change, line.reason) == ("adjust", D(change), "monthly count")
    assert (line.entered_amount, line.entered_unit) == (D(counted), unit)
    assert Lot.rows.get().on_hand == balance(product)[0] == D("2.5") + D(change)
    assert in_order(cast.farm)


def test_a_spill_is_an_adjustment_below_zero_change(cast, product):
    lot = stocked(cast.manager, product, "2.5")
    services.adjust(member=cast.manager, lot_id=lot.pk, change=qty("-1", "qt"), reason="spilled", now=NOW)
    assert balance(product)[0] == D("2.25")


def test_an_adjustment_never_goes_below_zero(cast, product):
    lot = stocked(cast.manager, product, "2.5")
    stocked(cast.manager, product, "10", lot="A2")
    with pytest.raises(Refused) as no:
        services.adjust(member=cast.manager, lot_id=lot.pk, change=qty("-2.6", "gal"), reason="spilled", now=NOW)
    assert [(f.code, f.field) for f in no.value.findings] == [("below_zero", "amount")]
    assert no.value.findings[0].sentence == "Lot A1 holds 2.5 gal: it cannot be brought below zero."
    assert balance(product)[0] == D("12.5")


@pytest.mark.parametrize("reason", ["", "  ", "x" * 301])
def test_a_correction_needs_its_reason(cast, product, reason):
    lot = stocked(cast.manager, product)
    for act in (
        lambda: services.adjust(member=cast.manager, lot_id=lot.pk, change=qty("1", "gal"), reason=reason, now=NOW),
        lambda: services.count(member=cast.manager, lot_id=lot.pk, counted=qty("1", "gal"), reason=reason, now=NOW),
    ):
        with pytest.raises(BadInput) as bad:
            act()
        assert list(bad.value.errors) == ["reason"]
    assert LedgerLine.rows.count() == 1


def test_a_count_may_fall_below_what_is_promised_and_shows_it(cast, product):
    lot = stocked(cast.manager, product, "2")
    reserve(cast, product, "1.5")
    services.count(member=cast.manager, lot_id=lot.pk, counted=qty("1", "gal"), reason="leak", now=NOW)
    assert queries.available(cast.farm, [product.pk]) == {product.pk: Quantity(D("-0.5"), "gal")}


def test_a_lots_number_and_date_are_corrected(cast, product):
    lot, other = stocked(cast.manager, product, "1"), stocked(cast.manager, product, "1", lot="A2")
    version = Lot.rows.get(pk=lot.pk).version
    saved = services.edit_lot(
        member=cast.applicator,
        lot_id=lot.pk,
        expected_version=version,
        changes={"lot_number": "A1-7", "expires_on": date(2027, 1, 1), "on_hand": D(99)},
        now=NOW,
    )
    assert (saved.lot_number, saved.expires_on, saved.on_hand) == ("A1-7", date(2027, 1, 1), D(1))
    with pytest.raises(BadInput) as bad:
        services.edit_lot(
            member=cast.manager,
            lot_id=lot.pk,
            expected_version=saved.version,
            changes={"lot_number": other.lot_number},
            now=NOW,
        )
    assert list(bad.value.errors) == ["lot_number"]


# ---- reserve, release, use -----------------------------------------------------------------


def test_a_reservation_takes_from_what_is_there_to_use(cast, product):
    stocked(cast.manager, product, "2.5")
    line = reserve(cast, product, "6", "qt")
    assert (line.kind, line.reserved_change, line.on_hand_change, line.lot) == ("reserve", D("1.5"), D(0), None)
    assert (line.source_type, line.source_id) == ("job", "12")
    assert balance(product) == (D("2.5"), D("1.5"), "gal")
    assert queries.available(cast.farm, [product.pk]) == {product.pk: Quantity(D(1), "gal")}
    assert queries.available(cast.farm, [product.pk], JOB) == {product.pk: Quantity(D("2.5"), "gal")}


def test_more_than_there_is_is_refused_with_the_numbers(cast, product):
    stocked(cast.manager, product, "2.5")
    reserve(cast, product, "2")
    with pytest.raises(Refused) as no:
        reserve(cast, product, "0.6", source=("job", 13))
    assert [(f.code, f.sentence) for f in no.value.findings] == [
        ("stock_short", "Demo Cedar 2SC: 0.6 gal is needed, 0.5 gal is there to use, 0.1 gal is missing.")
    ]
    assert balance(product) == (D("2.5"), D(2), "gal")


def test_a_product_the_shed_never_held_is_short(cast, product):
    with pytest.raises(Refused) as no:
        reserve(cast, product, "1")
    assert [f.code for f in no.value.findings] == ["stock_short"]
    assert ProductStock.rows.count() == 0


@pytest.mark.parametrize("amount", ["0", "-1"])
def test_nothing_cannot_be_reserved(cast, product, amount):
    stocked(cast.manager, product)
    with pytest.raises(BadInput) as bad:
        reserve(cast, product, amount)
    assert list(bad.value.errors) == ["amount"]


def test_release_gives_back_all_of_one_source_and_is_repeatable(cast, product):
    other = ProductFactory(farm=cast.farm)
    stocked(cast.manager, product, "3")
    stocked(cast.manager, other, "5", "lb")
    reserve(cast, product, "1")
    reserve(cast, product, "0.5")
    reserve(cast, other, "2", "lb")
    reserve(cast, product, "0.25", source=("job", 13))
    lines = services.release(farm=cast.farm, member=cast.manager, source=JOB, now=NOW)
    assert [(line.product_id, line.reserved_change) for line in lines] == [(product.pk, D("-1.5")), (other.pk, D(-2))]
    assert services.release(farm=cast.farm, member=cast.manager, source=JOB, now=NOW) == []
    assert (balance(product)[1], balance(other)[1]) == (D("0.25"), D(0))
    assert in_order(cast.farm)


def test_use_takes_the_first_expiring_lot_first(cast, product):
    late = stocked(cast.manager, product, "1", lot="LATE", expires_on=date(2028, 1, 1))
    soon = stocked(cast.manager, product, "1", lot="SOON", expires_on=date(2026, 9, 1))
    none = stocked(cast.manager, product, "1", lot="NONE")
    lines = draw(cast, product, "10", "qt")
    assert [(line.lot, line.on_hand_change) for line in lines] == [(soon, D(-1)), (late, D(-1)), (none, D("-0.5"))]
    assert [(line.entered_amount, line.entered_unit) for line in lines] == [(D(4), "qt"), (D(4), "qt"), (D(2), "qt")]
    assert balance(product) == (D("0.5"), D(0), "gal")
    assert in_order(cast.farm)


def test_a_stated_lot_is_used_and_no_other(cast, product):
    stocked(cast.manager, product, "1", lot="SOON", expires_on=date(2026, 9, 1))
    late = stocked(cast.manager, product, "1", lot="LATE", expires_on=date(2028, 1, 1))
    assert [line.lot for line in draw(cast, product, "0.5", lot_id=late.pk)] == [late]
    with pytest.raises(Refused) as no:
        draw(cast, product, "0.6", lot_id=late.pk)
    assert [f.numbers["available"] for f in no.value.findings] == ["0.5 gal"]


def test_a_lot_of_another_product_or_farm_is_not_a_lot_of_this_one(cast, product):
    stocked(cast.manager, product)
    strange = stocked(cast.manager, ProductFactory(farm=cast.farm))
    foreign = stocked(cast.neighbour, ProductFactory(farm=cast.other_farm))
    for lot in (strange, foreign):
        with pytest.raises(BadInput) as bad:
            draw(cast, product, "1", lot_id=lot.pk)
        assert list(bad.value.errors) == ["lot_id"]


@pytest.mark.parametrize(
    ("used", "keep", "left"),
    [
        ("1", False, ("2", "0.25")),
        ("0.4", False, ("2.6", "0.25")),
        ("0.4", True, ("2.6", "0.85")),
        ("0", False, ("3", "0.25")),
        ("1.2", False, ("1.8", "0.25")),
    ],
    ids=["all of it", "less, rest given back", "less, more to come", "nothing", "more than reserved"],
)
def test_use_eats_the_reservation_of_its_own_source_first(cast, product, used, keep, left):
    stocked(cast.manager, product, "3")
    reserve(cast, product, "1")
    reserve(cast, product, "0.25", source=("job", 13))
    draw(cast, product, used, keep_rest=keep)
    assert balance(product) == (D(left[0]), D(left[1]), "gal")
    assert queries.promises(cast.farm, product.pk)[-1] == (("job", "13"), D("0.25"))
    assert in_order(cast.farm)


def test_what_was_used_counts_even_when_it_was_promised_to_others(cast, product):
    stocked(cast.manager, product, "1")
    reserve(cast, product, "1", source=("job", 13))
    draw(cast, product, "0.5")
    assert queries.available(cast.farm, [product.pk]) == {product.pk: Quantity(D("-0.5"), "gal")}


def test_more_cannot_be_used_than_is_there(cast, product):
    stocked(cast.manager, product, "1")
    reserve(cast, product, "1")
    with pytest.raises(Refused) as no:
        draw(cast, product, "1.01")
    assert [f.code for f in no.value.findings] == ["stock_short"]
    assert (balance(product), LedgerLine.rows.count()) == ((D(1), D(1), "gal"), 2)


# ---- the database holds the line -----------------------------------------------------------


@pytest.mark.parametrize(("table", "column"), [(ProductStock, "on_hand"), (ProductStock, "reserved"), (Lot, "on_hand")])
def test_the_database_itself_refuses_a_negative_balance(cast, product, table, column):
    stocked(cast.manager, product)
    with pytest.raises(IntegrityError, match="not_negative"), transaction.atomic():
        table.rows.update(**{column: D("-0.000000001")})


@pytest.mark.parametrize(
    "statement", ["UPDATE inventory_ledgerline SET reason = 'hid'", "DELETE FROM inventory_ledgerline"]
)
def test_the_ledger_only_grows(cast, product, statement):
    stocked(cast.manager, product)
    with pytest.raises(DatabaseError, match=triggers.REFUSAL), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    assert [line.reason for line in LedgerLine.rows.all()] == [""]


def test_a_balance_that_does_not_add_up_is_found(cast, product):
    lot = stocked(cast.manager, product, "1")
    reserve(cast, product, "0.5")
    assert in_order(cast.farm)
    ProductStock.rows.filter(product=product).update(on_hand=D(9), reserved=D(0))
    Lot.rows.filter(pk=lot.pk).update(on_hand=D(7))
    found = [(d.subject, d.what, d.kept, d.derived) for d in queries.rebuild_balances(cast.farm)]
    assert found == [
        ("lot A1 of Demo Cedar 2SC", "on hand", D(7), D(1)),
        ("stock of Demo Cedar 2SC", "on hand", D(9), D(1)),
        ("stock of Demo Cedar 2SC", "reserved", D(0), D("0.5")),
    ]
    assert in_order(cast.other_farm)


# ---- who may -------------------------------------------------------------------------------

ACTS = {
    "receive": lambda m, lot: stocked(m, lot.product, "1", now=NOW),
    "adjust": lambda m, lot: services.adjust(member=m, lot_id=lot.pk, change=qty("1", "gal"), reason="found", now=NOW),
    "count": lambda m, lot: services.count(member=m, lot_id=lot.pk, counted=qty("1", "gal"), reason="count", now=NOW),
    "edit": lambda m, lot: services.edit_lot(
        member=m, lot_id=lot.pk, expected_version=lot.version, changes={"lot_number": "B"}, now=NOW
    ),
}


@pytest.mark.parametrize("act", list(ACTS))
def test_staff_may_not_touch_the_shed(cast, product, act):
    lot = stocked(cast.manager, product)
    with pytest.raises(NotYourRole, match="manager / applicator"):
        ACTS[act](cast.staff, lot)


@pytest.mark.parametrize("act", list(ACTS))
@pytest.mark.parametrize("role", ["manager", "applicator"])
def test_manager_and_applicator_may(cast, product, act, role):
    ACTS[act](cast.by_role(role), stocked(cast.manager, product))
    assert AuditEvent.objects.latest("id").actor_id == cast.by_role(role).person_id


@pytest.mark.parametrize("act", list(ACTS))
def test_another_farms_shed_is_unknown(cast, product, act):
    lot = stocked(cast.manager, product)
    with pytest.raises(Unknown):
        ACTS[act](cast.neighbour, lot)
    assert balance(product)[0] == D("2.5")


# ---- reading -------------------------------------------------------------------------------


def test_available_is_told_for_every_product_asked_about(cast, product):
    dry, never = ProductFactory(farm=cast.farm), ProductFactory(farm=cast.farm)
    ounces = {**label_document()["uses"][0], "rate_unit": "oz"}
    content = [{"name": "sulfur", "amount": "0.8", "basis": "fraction"}]
    LabelFactory(product=dry, document=label_document(ingredients=content, uses=[ounces]))
    stocked(cast.manager, product, "2.5")
    assert queries.available(cast.farm, [product.pk, dry.pk, never.pk]) == {
        product.pk: Quantity(D("2.5"), "gal"),
        dry.pk: Quantity(D(0), "lb"),
        never.pk: Quantity(D(0), "gal"),
    }


def test_shortages_of_several_products_come_together(cast, product):
    plenty, never = ProductFactory(farm=cast.farm), ProductFactory(farm=cast.farm, name="Demo Never")
    stocked(cast.manager, product, "1")
    stocked(cast.manager, plenty, "9")
    reserve(cast, product, "1")
    needs = {product.pk: qty("4", "qt"), plenty.pk: qty("1", "gal"), never.pk: qty("1", "pt")}
    found = queries.shortages(cast.farm, needs, date(2026, 6, 3))
    assert [(f.subject, f.code) for f in found] == [("Demo Cedar 2SC", "stock_short"), ("Demo Never", "stock_short")]
    assert [f.subject for f in queries.shortages(cast.farm, needs, date(2026, 6, 3), JOB)] == ["Demo Never"]


@pytest.mark.parametrize("products", [2, 12])
def test_reading_costs_the_same_for_any_number_of_products(cast, products, django_assert_num_queries):
    rows = [ProductFactory(farm=cast.farm) for _ in range(products)]
    for row in rows[1:]:
        stocked(cast.manager, row, expires_on=date(2026, 9, 1), now=NOW)
    ids = [row.pk for row in rows]
    with django_assert_num_queries(3):
        assert sorted(queries.available(cast.farm, ids, JOB)) == sorted(ids)
    with django_assert_num_queries(5):
        queries.shortages(cast.farm, {i: qty("1", "gal") for i in ids}, date(2026, 6, 3), JOB)
    with django_assert_num_queries(3):
        assert len(queries.shed(cast.farm, NOW)) == products - 1
    with django_assert_num_queries(3):
        assert queries.rebuild_balances(cast.farm) == []


def test_what_runs_out_first_is_on_top(cast):
    def product(name: str, left: str, *, used: str = "", expires: date | None = None) -> Product:
        row = ProductFactory(farm=cast.farm, name=name)
        stocked(cast.manager, row, left, expires_on=expires, now=NOW)
        if used:
            draw(cast, row, used)
        return row

    product("Demo E never used", "5")
    product("Demo D never used, expires", "5", expires=date(2026, 9, 1))
    product("Demo C slow", "57", used="1")
    product("Demo B fast", "12", used="10")
    promised = product("Demo A overpromised", "1")
    reserve(cast, promised, "1", source=("job", 13))
    rows = queries.shed(cast.farm, NOW)
    assert [(r.product_name, r.days_left) for r in rows] == [
        ("Demo A overpromised", 0),
        ("Demo B fast", 11),  # 2 gal left at 10 gal in 56 days
        ("Demo C slow", 3136),  # 56 gal left at 1 gal in 56 days
        ("Demo D never used, expires", None),
        ("Demo E never used", None),
    ]
    later = queries.shed(cast.farm, NOW + timedelta(days=57))
    assert [r.days_left for r in later] == [0, None, None, None, None]


# ---- what is due ---------------------------------------------------------------------------


def test_expiring_lots_are_due_once_per_mark_to_the_managers(cast, product):
    lot = stocked(cast.manager, product, "2.5", expires_on=date(2026, 7, 3), now=NOW)
    stocked(cast.manager, product, "1", lot="FAR", expires_on=date(2027, 7, 3), now=NOW)
    stocked(cast.manager, product, "1", lot="NONE", now=NOW)
    (one,) = queries.due(cast.farm, NOW)
    assert (one.kind, one.subject_type, one.subject_id, one.occasion) == (
        "lot_expiring",
        "lot",
        lot.pk,
        "2026-07-03 at 30 days",
    )
    assert (one.person_ids, one.path) == ([cast.manager.person_id], f"/f/alder-bend/shed/{product.pk}/")
    assert one.template.format(**one.numbers) == ("Lot A1 of Demo Cedar 2SC expires on 2026-07-03; 2.5 gal is left.")
    occasions = [
        [d.occasion for d in queries.due(cast.farm, NOW + timedelta(days=n))] for n in (-1, 0, 22, 23, 29, 30, 31)
    ]
    marks = [[], [30], [30], [7], [7], [0], [0]]
    assert occasions == [[f"2026-07-03 at {m} days" for m in day] for day in marks]
    after = queries.due(cast.farm, NOW + timedelta(days=31))[0]
    assert after.template.startswith("Lot {lot} of {product} expired on")


def test_an_empty_lot_is_not_due(cast, product):
    stocked(cast.manager, product, "1", expires_on=date(2026, 6, 10), now=NOW)
    draw(cast, product, "1")
    assert queries.due(cast.farm, NOW) == []
