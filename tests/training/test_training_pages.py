"""Pages: people and cards, one card, my card."""

from __future__ import annotations

from datetime import date

import pytest

from apps.training.models import Certificate, TrainingRecord
from tests.factories.training import CertificateFactory, SuspensionFactory, TrainingFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("june")]
HOME = "/f/alder-bend/"


def text(answer):
    return " ".join(answer.content.decode().split())


def test_everybody_with_days_left(cast, browser_client):
    CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id, number="P-9", valid_to=date(2026, 6, 8))
    TrainingFactory(farm=cast.farm, person_id=cast.staff.person_id, kind="worker", trained_on=date(2025, 6, 1))
    CertificateFactory(farm=cast.other_farm, number="THEIRS")
    page = text(browser_client(cast.applicator).get(HOME + "cards/"))
    assert "P-9 (IN): valid, last day Mon, Jun 8, 2026, <strong>7 days left" in page
    assert "worker: through Mon, Jun 1, 2026, <strong>last day today" in page
    assert "THEIRS" not in page
    assert "Record a certificate" not in page  # only managers record
    assert "Record a certificate" in text(browser_client(cast.manager).get(HOME + "cards/"))


def test_my_card_shows_only_my_own(cast, browser_client):
    CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id, number="P-9")
    page = text(browser_client(cast.staff).get(HOME + "my-card/"))
    assert ("P-9" in page, "Not certified today in IN." in page) == (False, True)
    page = text(browser_client(cast.applicator).get(HOME + "my-card/"))
    assert ("P-9" in page, "Certified today in IN." in page, "578 days left" in page) == (True, True, True)


def test_manager_records_suspends_lifts_and_strikes(cast, browser_client):
    client, person = browser_client(cast.manager), cast.applicator.person_id
    asked = {
        "person_id": person,
        "number": "P-9",
        "jurisdiction": "IN",
        "kind": "private",
        "categories": "General, aerial",
        "valid_from": "2026-01-01",
        "valid_to": "2026-12-31",
        "once_key": "record-one-paper",
    }
    for _ in range(2):
        answer = client.post(HOME + "cards/certificates/new/", asked, follow=True)
    row = Certificate.rows.get()
    assert (row.categories, answer.redirect_chain[-1][0]) == (["aerial", "general"], f"{HOME}cards/{person}/")
    client.post(f"{HOME}cards/certificates/{row.pk}/suspend/", {"from_on": "2026-06-01", "reason": "Inquiry"})
    page = text(client.get(f"{HOME}cards/{person}/"))
    assert ("<strong>suspended</strong>" in page, "does not count now" in page) == (True, True)
    assert ("days left" in page, "Not certified today in IN." in page) == (False, True)
    client.post(f"{HOME}cards/certificates/{row.pk}/lift/", {"lifted_on": "2026-06-01"})
    edited = {**asked, "number": "P-10", "version": "1", "once_key": "edit-one-paper"}
    client.post(f"{HOME}cards/certificates/{row.pk}/edit/", edited)
    row.refresh_from_db()
    assert (row.number, row.version) == ("P-10", 2)
    taught = {"person_id": person, "kind": "handler", "trained_on": "2026-06-01"}
    client.post(HOME + "cards/trainings/new/", taught)
    training = TrainingRecord.rows.get()
    answer = client.post(f"{HOME}cards/trainings/{training.pk}/strike/", {"because": "wrong day"}, follow=True)
    assert "No training is in the book." in text(answer)


def test_wrong_dates_are_said_twice_and_kept(cast, browser_client):
    asked = {
        "person_id": cast.applicator.person_id,
        "number": "P-9",
        "jurisdiction": "IN",
        "kind": "private",
        "valid_from": "2026-01-01",
        "valid_to": "2025-12-31",
    }
    answer = browser_client(cast.manager).post(HOME + "cards/certificates/new/", asked)
    assert (answer.status_code, Certificate.rows.count()) == (400, 0)
    assert text(answer).count("The last day must be on or after the first day.") == 2
    assert 'value="2025-12-31"' in text(answer)


def test_suspending_twice_is_refused_on_the_page(cast, browser_client):
    row = SuspensionFactory(certificate=CertificateFactory(farm=cast.farm)).certificate
    answer = browser_client(cast.manager).post(
        f"{HOME}cards/certificates/{row.pk}/suspend/", {"from_on": "2026-06-01", "reason": "x"}
    )
    assert (answer.status_code, "This certificate is suspended already." in text(answer)) == (409, True)


def test_another_farms_pages_are_not_found(cast, browser_client):
    theirs = CertificateFactory(farm=cast.other_farm, person_id=cast.neighbour.person_id, number="SECRET")
    taught = TrainingFactory(farm=cast.other_farm, person_id=cast.neighbour.person_id)
    client = browser_client(cast.manager)
    for address in (
        f"cards/{cast.neighbour.person_id}/",
        f"cards/certificates/{theirs.pk}/edit/",
        f"cards/certificates/{theirs.pk}/suspend/",
        f"cards/certificates/{theirs.pk}/lift/",
        f"cards/trainings/{taught.pk}/strike/",
    ):
        answer = client.get(HOME + address)
        assert (answer.status_code, "SECRET" in text(answer)) == (404, False), address


def test_wrong_roles_are_told_who_may(cast, browser_client):
    answer = browser_client(cast.staff).get(HOME + "cards/")
    assert (answer.status_code, "This needs one of: manager / applicator." in text(answer)) == (403, True)
    answer = browser_client(cast.applicator).get(HOME + "cards/certificates/new/")
    assert (answer.status_code, "This needs one of: manager." in text(answer)) == (403, True)
