"""Safety data sheets on file: the date printed on them, where they hang or the paper itself; read by everybody."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from apps.audit.models import AuditEvent
from apps.inventory import services as shed
from apps.inventory.queries import supplied
from apps.products.models import SafetySheet
from apps.products.sds import queries, services
from apps.spraying.display import pdf
from apps.spraying.display.queries import sheet
from apps.spraying.records import queries as records
from apps.spraying.records.rules import Element, judge
from farmops import uploads
from farmops.errors import BadInput, NotYourRole, Unknown
from tests.factories.inventory import qty
from tests.factories.products import ProductFactory
from tests.factories.spraying import bench_for
from tests.factories.training import a_png

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 14, 0, tzinfo=UTC)
SHEET_ON = date(2025, 3, 4)


@pytest.fixture
def product(cast):
    return ProductFactory(farm=cast.farm, name="Demo Shield")


def keep(member, product, **values):
    given = {"sheet_on": SHEET_ON, "hangs_at": "in the shop", **values}
    return services.keep_sheet(member=member, product_id=product.pk, now=NOW, **given)


def test_where_it_hangs_is_enough(cast, product):
    row = keep(cast.manager, product)
    assert (row.sheet_on, row.hangs_at, row.media, row.content) == (SHEET_ON, "in the shop", "", None)
    line = AuditEvent.objects.get(subject_type="products.safetysheet")
    assert (line.verb, line.subject_name) == ("added", "safety data sheet of Demo Shield")
    assert queries.on_file(cast.farm) == {product.pk}


def test_the_paper_is_kept_as_what_it_is(cast, product):
    row = keep(cast.manager, product, hangs_at="", content=a_png())
    assert (row.media, row.size, bytes(SafetySheet.rows.get().content)) == ("image/png", len(a_png()), a_png())


@pytest.mark.parametrize(
    ("values", "errors"),
    [
        ({"hangs_at": " "}, {"hangs_at": ["Say where the sheet hangs, or upload it."]}),
        ({"content": b""}, {"file": [uploads.EMPTY]}),
        ({"content": b"<html>" + b" " * 200}, {"file": [uploads.NO_PICTURE]}),
        ({"content": a_png()[:-12]}, {"file": [uploads.CUT_OFF]}),
        ({"hangs_at": "x" * 201}, {"hangs_at": ["Use 200 characters at most."]}),
        *(
            ({"sheet_on": day}, {"sheet_on": ["Enter the date printed on the sheet; it cannot be later than today."]})
            for day in (date(2026, 6, 2), date(206, 3, 4))
        ),
    ],
    ids=str,
)
def test_what_cannot_be_is_answered_by_field(cast, product, values, errors):
    with pytest.raises(BadInput) as bad:
        keep(cast.manager, product, **values)
    assert bad.value.errors == errors
    assert SafetySheet.rows.count() == 0


def test_staff_read_and_do_not_write(cast, product):
    with pytest.raises(NotYourRole):
        keep(cast.staff, product)
    with pytest.raises(Unknown):
        keep(cast.neighbour, product)


def test_the_newest_by_its_own_date_counts(cast, product):
    keep(cast.manager, product, sheet_on=date(2026, 1, 5), hangs_at="new")
    keep(cast.manager, product, hangs_at="old")
    assert queries.newest(cast.farm, [product.pk, 999_999])[product.pk].hangs_at == "new"
    assert [s.hangs_at for s in queries.sheets(cast.farm)] == ["new", "old"]


def test_taken_away_is_gone_and_the_line_stays(cast, product):
    row = keep(cast.manager, product, content=a_png())
    with pytest.raises(BadInput):
        services.remove_sheet(member=cast.manager, sheet_id=row.pk, because=" ", now=NOW)
    services.remove_sheet(member=cast.manager, sheet_id=row.pk, because="of another product", now=NOW)
    kept = SafetySheet.rows.get()
    assert (kept.content, kept.sha256, kept.removed_because) == (None, row.sha256, "of another product")
    assert queries.on_file(cast.farm) == frozenset()
    with pytest.raises(Unknown):
        queries.sheet_in(cast.farm, row.pk)


def test_over_the_interface(cast, product, api, monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: NOW)
    base = "/api/v1/farms/alder-bend/"
    url = f"{base}products/{product.pk}/safety-sheets/"
    file = SimpleUploadedFile("sheet.exe", a_png())
    made = api(cast.manager).post(url, {"sheet_on": "2025-03-04", "file": file}, format="multipart")
    assert (made.status_code, made.json()["media"]) == (201, "image/png")
    bad = api(cast.manager).post(url, {"sheet_on": "soon"}, format="json")
    assert (bad.status_code, set(bad.json()["errors"])) == (400, {"sheet_on"})
    answer = api(cast.staff).get(f"{base}safety-sheets/{made.json()['id']}/file/")
    assert (answer.content, answer["X-Content-Type-Options"]) == (a_png(), "nosniff")
    hung = keep(cast.manager, product, sheet_on=date(2025, 1, 1))
    answer = api(cast.staff).get(f"{base}safety-sheets/{hung.pk}/file/")
    assert (answer.status_code, "it hangs where the book says" in answer.json()["detail"]) == (404, True)
    assert [s["id"] for s in api(cast.staff).get(f"{base}safety-sheets/").json()["results"]] == [
        hung.pk,
        made.json()["id"],
    ]
    gone = api(cast.manager).post(f"{base}safety-sheets/{hung.pk}/remove/", {"because": "wrong"}, format="json")
    assert gone.json()["removed_at"] is not None


def test_on_the_pages(cast, product, browser_client, monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: NOW)
    client, page = browser_client(cast.manager), f"/f/alder-bend/products/{product.pk}/"
    assert "Not on file." in client.get(page).content.decode()
    assert client.get(f"{page}safety-sheet/").status_code == 200
    answer = client.post(f"{page}safety-sheet/", {"sheet_on": "2025-03-04"})
    assert "Say where the sheet hangs, or upload it." in answer.content.decode()
    typed = {"sheet_on": "2025-03-04", "hangs_at": "in the shop", "file": SimpleUploadedFile("s.png", a_png())}
    assert client.post(f"{page}safety-sheet/", typed).status_code == 302
    row = SafetySheet.rows.get()
    html = browser_client(cast.staff).get(page).content.decode()
    assert ("in the shop" in html, "Take it off the file" in html) == (True, False)
    assert browser_client(cast.staff).get(f"/f/alder-bend/safety-sheets/{row.pk}/file/").content == a_png()
    remove = f"/f/alder-bend/safety-sheets/{row.pk}/remove/"
    assert "Tue, Mar 4, 2025" in client.get(remove).content.decode()
    assert client.post(remove, {"because": "wrong product"}).status_code == 302
    assert "Not on file." in client.get(page).content.decode()


# ---- what asks for them ----------------------------------------------------------------


def elsewhere(bench, record) -> set:
    return {e for s in records.standings_of(record) for e in s.elsewhere}


def test_a_rule_that_asks_for_it_is_content_with_the_file(cast):
    """40 CFR 170.311(b): the sheet is displayed with the application information."""
    bench = bench_for(cast)
    record = bench.signed()
    assert Element.SAFETY_SHEET in elsewhere(bench, record)
    keep(cast.manager, bench.product)
    assert Element.SAFETY_SHEET not in elsewhere(bench, record)
    content = json.loads(record.body_text)["content"]
    found = judge(records.rules_of(cast.farm), content, record.signed_at, records.kept(cast.farm))
    assert not any(f.numbers.get("what") == "safety data sheet" for f in found)


def test_every_product_of_the_tank_needs_its_own(cast):
    bench = bench_for(cast)
    other = bench.product_of("Demo Other", bench.label.body)
    record = bench.signed(
        products=[{"product_id": p.pk, "rate_amount": "5", "rate_unit": "floz"} for p in (bench.product, other)]
    )
    keep(cast.manager, bench.product)
    assert Element.SAFETY_SHEET in elsewhere(bench, record)
    keep(cast.manager, other)
    assert Element.SAFETY_SHEET not in elsewhere(bench, record)


def test_the_display_sheet_says_which_are_on_file(cast):
    bench = bench_for(cast)
    job = bench.sprayed()
    assert pdf.safety_sheets(sheet(job)) == ["Demo Shield: no safety data sheet is on file."]
    keep(cast.manager, bench.product)
    assert pdf.safety_sheets(sheet(job)) == [
        "Demo Shield: its safety data sheet of Tue, Mar 4, 2025 is on file, in the shop"
    ]


def test_a_supplier_is_known_when_every_lot_names_one(cast, product):
    def receive(number, supplier):
        return shed.receive_delivery(
            member=cast.manager, product_id=product.pk, lot_number=number, quantity=qty("1", "gal"),
            received_on=SHEET_ON, supplier=supplier, now=NOW,
        )  # fmt: skip

    assert supplied(cast.farm) == frozenset()
    assert receive("A1", " Valley  Co-op ").supplier == "Valley Co-op"
    assert supplied(cast.farm) == {product.pk}
    with pytest.raises(BadInput) as bad:
        receive("A1", "Hill Co-op")
    assert set(bad.value.errors) == {"supplier"}
    lot = receive("A2", "")
    assert supplied(cast.farm) == frozenset()
    shed.edit_lot(
        member=cast.manager, lot_id=lot.pk, expected_version=lot.version, changes={"supplier": "Hill"}, now=NOW
    )
    assert supplied(cast.farm) == {product.pk}
