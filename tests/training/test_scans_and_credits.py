"""Pictures of cards: taken only when they are whole, signed pictures, seen only by managers and the holder. Credits."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from hypothesis import given
from hypothesis import strategies as st

from apps.audit.models import AuditEvent
from apps.training.credits import services as credits
from apps.training.credits.rules import CreditFacts, toward
from apps.training.models import CertificateScan, Credit
from apps.training.scans import services
from apps.training.scans.rules import UNSIGNED
from farmops import uploads as rules
from farmops.errors import BadInput
from tests.factories.training import CertificateFactory, a_png

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 14, 0, tzinfo=UTC)


JPEG = b"\xff\xd8\xff\xe0" + b"\0\x10JFIF\0" + b"x" * 200 + b"\xff\xd9"
PDF = b"%PDF-1.7\n1 0 obj<</Type/Catalog>>endobj\n" + b"% card\n" * 20 + b"startxref\n0\n%%EOF\n"


@pytest.fixture
def card(cast):
    return CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id, number="P-77")


@pytest.mark.parametrize(
    ("content", "media"),
    [(a_png(), "image/png"), (JPEG, "image/jpeg"), (PDF, "application/pdf")],
    ids=["png", "jpg", "pdf"],
)
def test_a_whole_picture_is_kept_as_what_it_is(cast, card, content, media):
    row = services.add_scan(member=cast.manager, certificate_id=card.pk, content=content, signed=True, now=NOW)
    kept = CertificateScan.objects.for_farm(cast.farm).get()
    assert (row.media, kept.size, bytes(kept.content)) == (media, len(content), content)
    line = AuditEvent.objects.get(subject_type="training.certificatescan")
    assert (line.verb, line.subject_name) == ("added", "scan of certificate P-77 of Luis Mora")
    assert line.after == {"media": media, "size": len(content), "sha256": kept.sha256, "signed": True}


BAD = [
    ("empty", b"", rules.EMPTY),
    ("cut off at the start", a_png()[:60], rules.EMPTY),
    ("no end", a_png()[:-12], rules.CUT_OFF),
    ("a page that calls itself a picture", b"<html><script>alert(1)</script>" + b" " * 200, rules.NO_PICTURE),
    ("a drawing that can run", b"<svg xmlns='http://www.w3.org/2000/svg' onload='x()'>" + b" " * 200, rules.NO_PICTURE),
    ("a program", b"MZ" + b"\0" * 300, rules.NO_PICTURE),
    ("too big", JPEG[:-2] + b"x" * rules.MOST_BYTES + b"\xff\xd9", rules.TOO_BIG),
    ("a PDF with a script", PDF.replace(b"/Type", b"/JavaScript (x) /Type"), rules.ACTIVE),
    ("a PDF that starts something", PDF.replace(b"/Type", b"/Launch <<>> /Type"), rules.ACTIVE),
]


@pytest.mark.parametrize(("content", "said"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_what_is_no_whole_picture_is_answered(cast, card, content, said):
    with pytest.raises(BadInput) as error:
        services.add_scan(member=cast.manager, certificate_id=card.pk, content=content, signed=True, now=NOW)
    assert error.value.errors == {"scan": [said]}
    assert CertificateScan.objects.for_farm(cast.farm).count() == 0


def test_a_font_called_aaaaaa_is_no_script():
    assert rules.fault(PDF.replace(b"/Type", b"/JSAAAA+Serif /Type")) is None


@given(st.binary(max_size=400))
def test_only_what_opens_like_a_picture_is_taken(content):
    assert (rules.fault(content) is None) <= content.startswith((b"\xff\xd8\xff", b"\x89PNG", b"%PDF-"))


def test_an_unsigned_card_is_answered(cast, card):
    with pytest.raises(BadInput) as error:
        services.add_scan(member=cast.manager, certificate_id=card.pk, content=a_png(), signed=False, now=NOW)
    assert error.value.errors == {"signed": [UNSIGNED]}


def test_the_same_file_twice_is_answered(cast, card):
    services.add_scan(member=cast.manager, certificate_id=card.pk, content=a_png(), signed=True, now=NOW)
    with pytest.raises(BadInput) as error:
        services.add_scan(member=cast.manager, certificate_id=card.pk, content=a_png(), signed=True, now=NOW)
    assert error.value.errors == {"scan": ["This very file is there already."]}


def test_managers_and_the_holder_see_it_and_nobody_else(cast, card, api, browser_client):
    row = services.add_scan(member=cast.manager, certificate_id=card.pk, content=a_png(), signed=True, now=NOW)
    address = f"/api/v1/farms/alder-bend/card-scans/{row.pk}/file/"
    for who in (cast.manager, cast.applicator):
        answer = api(who).get(address)
        assert (answer.status_code, answer.content) == (200, a_png())
        assert {k: answer[k] for k in ("Content-Disposition", "X-Content-Type-Options", "Cache-Control")} == {
            "Content-Disposition": f'attachment; filename="card-{row.pk}.png"',
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "no-store",
        }
        assert browser_client(who).get(f"/f/alder-bend/cards/scans/{row.pk}/file/").content == a_png()
    answer = api(cast.staff).get(address)
    assert (answer.status_code, answer.json()["title"]) == (404, "Not found")
    assert api(cast.staff).get("/api/v1/farms/alder-bend/card-scans/").json()["results"] == []
    looked = AuditEvent.objects.filter(verb="looked at").order_by("id")
    assert [e.actor_name for e in looked] == ["Ines Prado"] * 2 + ["Luis Mora"] * 2


def test_a_picture_taken_away_is_gone_and_said_to_be(cast, card, api):
    row = services.add_scan(member=cast.manager, certificate_id=card.pk, content=a_png(), signed=True, now=NOW)
    address = f"/api/v1/farms/alder-bend/card-scans/{row.pk}/"
    answer = api(cast.manager).post(address + "remove/", {"because": "wrong person"}, format="json")
    assert (answer.status_code, answer.json()["removed_because"]) == (200, "wrong person")
    assert CertificateScan.objects.for_farm(cast.farm).get().content is None
    assert api(cast.manager).get(address + "file/").json()["detail"] == "This scan was taken away."
    services.add_scan(member=cast.manager, certificate_id=card.pk, content=a_png(), signed=True, now=NOW)


def upload(name="card.png", content=None, **more):
    return {"scan": SimpleUploadedFile(name, content if content is not None else a_png()), **more}


def test_the_interface_takes_a_file(cast, card, api):
    address = f"/api/v1/farms/alder-bend/certificates/{card.pk}/scans/"
    answer = api(cast.manager).post(address, upload("evil.exe", signed="true"), format="multipart")
    assert (answer.status_code, answer.json()["media"]) == (201, "image/png")
    answer = api(cast.manager).post(address, upload(content=b"", signed="true"), format="multipart")
    assert (answer.status_code, answer.json()["errors"]) == (400, {"scan": [rules.EMPTY]})
    answer = api(cast.manager).post(address, {"signed": "true"}, format="multipart")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, ["scan"])


def test_the_page_takes_a_file_and_shows_it_on_the_card(cast, card, browser_client):
    client = browser_client(cast.manager)
    address = f"/f/alder-bend/cards/certificates/{card.pk}/scan/"
    assert 'enctype="multipart/form-data"' in client.get(address).content.decode()
    answer = client.post(address, upload())
    assert (answer.status_code, UNSIGNED in answer.content.decode()) == (400, True)
    assert client.post(address, upload(signed="on")).status_code == 302
    html = client.get(f"/f/alder-bend/cards/{cast.applicator.person_id}/").content.decode()
    assert "Fetch the picture" in html
    assert "Fetch the picture" in browser_client(cast.applicator).get("/f/alder-bend/my-card/").content.decode()


# ---- credits ---------------------------------------------------------------------------


def test_credits_count_from_the_first_day_through_the_last_of_their_issuer():
    held = [
        CreditFacts(jurisdiction=place, held_on=on, amount=Decimal(amount))
        for place, on, amount in [
            ("IN", date(2023, 12, 31), "8"),
            ("IN", date(2024, 1, 1), "2.5"),
            ("in", date(2026, 12, 31), "4"),
            ("IN", date(2027, 1, 1), "8"),
            ("OH", date(2025, 1, 1), "8"),
        ]
    ]
    span = {"jurisdiction": "IN", "valid_from": date(2024, 1, 1), "valid_to": date(2026, 12, 31)}
    found = toward(held, needed=Decimal("20"), **span)
    assert (found.earned, found.left) == (Decimal("6.5"), Decimal("13.5"))
    assert toward(held, needed=Decimal("6.5"), **span).left == 0
    assert toward(held, needed=None, **span) is None


def test_the_card_says_how_many_are_still_needed(cast, card, api, browser_client, june):
    client = api(cast.manager)
    version = {"HTTP_IF_MATCH": '"v1"'}
    answer = client.patch(
        f"/api/v1/farms/alder-bend/certificates/{card.pk}/", {"credits_needed": "10"}, format="json", **version
    )
    assert (answer.status_code, answer.json()["credits_needed"]) == (200, "10.00")
    course = {"person_id": cast.applicator.person_id, "jurisdiction": "in", "held_on": "2026-03-01"}
    course |= {"amount": "4.5", "course": "Drift", "course_number": "C-9"}
    answer = client.post("/api/v1/farms/alder-bend/credits/", course, format="json")
    assert (answer.status_code, answer.json()["jurisdiction"]) == (201, "IN")
    held = client.get(f"/api/v1/farms/alder-bend/cards/{cast.applicator.person_id}/").json()
    assert held["certificates"][0]["renewal"] == {"earned": "4.50", "needed": "10.00", "left": "5.50"}
    html = browser_client(cast.manager).get(f"/f/alder-bend/cards/{cast.applicator.person_id}/").content.decode()
    assert "4.5 of 10 credits for renewal" in html and "5.5 still needed" in html
    credit = Credit.objects.for_farm(cast.farm).get()
    client.post(f"/api/v1/farms/alder-bend/credits/{credit.pk}/strike/", {"because": "not attended"}, format="json")
    held = client.get(f"/api/v1/farms/alder-bend/cards/{cast.applicator.person_id}/").json()
    assert held["certificates"][0]["renewal"]["earned"] == "0.00"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"held_on": date(2026, 6, 2)}, "held_on"),
        ({"amount": Decimal(0)}, "amount"),
        ({"amount": Decimal("100.01")}, "amount"),
        ({"person_id": 987654}, "person_id"),
        ({"course": "Drift"}, "course"),
    ],
    ids=str,
)
def test_a_credit_that_cannot_be_is_answered(cast, change, field):
    values = {
        "person_id": cast.applicator.person_id,
        "jurisdiction": "IN",
        "held_on": date(2026, 3, 1),
        "amount": Decimal("4"),
        "course": "Drift",
    }
    credits.record_credit(member=cast.manager, now=NOW, **values)
    with pytest.raises(BadInput) as error:
        credits.record_credit(member=cast.manager, now=NOW, **{**values, "course": "Nozzles", **change})
    assert list(error.value.errors) == [field]
    assert Credit.objects.for_farm(cast.farm).count() == 1
