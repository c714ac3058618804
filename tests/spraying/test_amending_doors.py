"""Corrections over HTTP and on the pages: correct, read back beside the old, sign; withdraw; ask and decline."""

from __future__ import annotations

from datetime import timedelta

import pytest

from apps.spraying import proof, queries
from apps.spraying.amending.services import amend_job, ask_correction
from apps.spraying.models import CorrectionRequest, Job, SprayRecord
from apps.spraying.rules.record import Meaning
from apps.work.forms import local
from farmops import clock
from tests.factories.spraying import ENDED, PASSWORD, SIGNED, STARTED

pytestmark = pytest.mark.django_db
LATER = SIGNED + timedelta(hours=1)


@pytest.fixture
def record(bench, monkeypatch) -> SprayRecord:
    """One signed record, and the clock an hour later."""
    found = bench.signed()
    monkeypatch.setattr(clock, "now", lambda: LATER)
    return found


def address(bench, record, door: str) -> str:
    return f"/api/v1/farms/{bench.farm.slug}/jobs/{record.job_id}/{door}/"


def page(bench, record, door: str) -> str:
    return f"/f/{bench.farm.slug}/jobs/{record.job_id}/{door}/"


def typed(bench, record, **changes) -> dict:
    done = bench.done_values(queries.job(bench.farm, record.job_id))
    times = {name: done[name].isoformat() for name in ("started_at", "ended_at")}
    return {**done, **times, "reason": "the meter was read wrong", **changes}


class TestOverHTTP:
    def test_correct_read_back_and_sign_again(self, api, bench, record):
        client = api(bench.applicator)
        end = (ENDED + timedelta(minutes=25)).isoformat()
        answer = client.post(address(bench, record, "amend"), typed(bench, record, ended_at=end), format="json")
        assert (answer.status_code, answer.json()["state"]) == (200, "sprayed")
        assert set(answer.json()["open_steps"]) == {"correct", "sign", "not_applied"}
        back = client.get(address(bench, record, "read-back")).json()
        assert back["statement"].startswith("This replaces the earlier record.")
        assert any(s.startswith("This corrects record 1, signed") for s in back["sentences"])
        assert any(s.startswith("End: it was") for s in back["sentences"])
        body = {"password": PASSWORD, "checked": True, "body_hash": back["body_hash"]}
        headers = {"Idempotency-Key": "sign-it-again-1"}
        signed = client.post(address(bench, record, "sign"), body, format="json", headers=headers)
        assert (signed.status_code, signed.json()["edition"], signed.json()["seq"]) == (201, 2, 2)
        first, second = client.get(address(bench, record, "editions")).json()
        assert (first["edition"], first["changes"], second["reason"]) == (1, [], "the meter was read wrong")
        assert [c["name"] for c in second["changes"]] == ["End", "Closed for entry before", "Earliest picking"]
        assert second["changes"][0]["before"] == "Mon, Jul 6, 9:40 AM CDT"
        assert list(proof.faults([bench.farm], {})) == []

    def test_withdraw_the_signature(self, api, bench, record):
        client = api(bench.applicator)
        back = client.get(address(bench, record, "read-back") + "?meaning=voided").json()
        assert back["statement"] == "I withdraw the signature under this record."
        body = {"password": PASSWORD, "checked": True, "body_hash": back["body_hash"], "reason": "wrong field"}
        headers = {"Idempotency-Key": "withdraw-it-1"}
        answer = client.post(address(bench, record, "void"), body, format="json", headers=headers)
        assert (answer.status_code, answer.json()["meaning"], answer.json()["edition"]) == (201, "voided", 2)
        again = client.get(address(bench, record, "read-back") + "?meaning=voided")
        assert (again.status_code, again.json()["findings"][0]["code"]) == (409, "nothing_to_sign")

    def test_a_manager_asks_and_the_applicator_declines(self, api, bench, record):
        manager, applicator = api(bench.manager), api(bench.applicator)
        asked = manager.post(address(bench, record, "ask-correction"), {"words": "it ended earlier"}, format="json")
        assert (asked.status_code, asked.json()["state"], asked.json()["job_number"]) == (201, "open", 1)
        place = f"/api/v1/farms/{bench.farm.slug}/correction-requests/"
        refused = manager.post(f"{place}{asked.json()['id']}/decline/", {"reason": "as written"}, format="json")
        assert refused.status_code == 403
        done = applicator.post(f"{place}{asked.json()['id']}/decline/", {"reason": "it is as written"}, format="json")
        assert (done.json()["state"], done.json()["answered_by"]) == ("declined", "Luis Mora")
        assert [r["answer"] for r in manager.get(place).json()["results"]] == ["it is as written"]

    @pytest.mark.parametrize("who", ["manager", "staff"])
    def test_nobody_else_corrects(self, api, bench, cast, record, who):
        client = api(cast.by_role(who))
        answer = client.post(address(bench, record, "amend"), typed(bench, record), format="json")
        assert (answer.status_code, Job.rows.get(pk=record.job_id).state) == (403, "signed")

    def test_the_head_is_given_and_held_against_the_book(self, api, bench, record):
        client, place = api(bench.manager), f"/api/v1/farms/{bench.farm.slug}/records/head/"
        head = client.get(place).json()
        assert (head["records"], head["head"]) == (1, record.hash)
        assert client.post(place, head, format="json").json() == {"fault": None}
        wrong = client.post(place, {**head, "head": "0" * 64}, format="json").json()
        assert wrong["fault"]["code"] == "rewritten"
        foreign = client.post(place, {**head, "farm": "far-side"}, format="json")
        assert (foreign.status_code, "farm" in foreign.content.decode()) == (400, True)

    def test_a_thorough_look_over_http(self, api, bench, record):
        place = f"/api/v1/farms/{bench.farm.slug}/records/verify/?thorough=true"
        assert api(bench.manager).get(place).json() == {"records": 1, "head": record.hash, "fault": None}


class TestOnThePages:
    def form(self, bench, record, **changes) -> dict:
        job = queries.job(bench.farm, record.job_id)
        zone, product = bench.farm.time_zone, bench.product.pk
        return {
            "reason": "the meter was read wrong",
            "version": job.version,
            "applicator_id": bench.applicator.person_id,
            "started_at": local(STARTED, zone),
            "ended_at": local(ENDED, zone),
            "loads": "3",
            f"area_{bench.blocks[0].pk}": "all",
            f"amount_{product}": f"{job.job_products.all()[0].actual_amount.normalize():f}",
            f"unit_{product}": "floz",
            "once_key": "a" * 32,
            **changes,
        }

    def test_the_form_holds_what_was_signed_and_leads_to_the_read_back(self, browser_client, bench, record):
        client = browser_client(bench.applicator)
        shown = client.get(page(bench, record, "amend")).content.decode()
        assert 'value="3"' in shown
        assert "From here on the record is unsigned" in shown
        answer = client.post(page(bench, record, "amend"), self.form(bench, record, loads="4"), follow=True)
        text = answer.content.decode()
        assert answer.redirect_chain == [(page(bench, record, "sign"), 302)]
        assert "This corrects record 1, signed" in text
        assert "Loads: it was 3, it is 4 now." in text
        assert "@America" not in text  # instants are said in words, on every page
        assert Job.rows.get(pk=record.job_id).state == "sprayed"

    def test_another_block_and_product_can_be_added(self, browser_client, bench, record):
        other = bench.product_of("Demo Other", bench.label.body)
        extra = {
            "other_block": bench.blocks[1].pk,
            "other_acres": "2",
            "other_product": other.pk,
            "other_amount": "30",
            "other_unit": "floz",
        }
        browser_client(bench.applicator).post(page(bench, record, "amend"), self.form(bench, record, **extra))
        job = queries.job(bench.farm, record.job_id)
        assert [(b.block_id, b.treated_acres) for b in job.job_blocks.all()][1] == (bench.blocks[1].pk, 2)
        assert [(p.product_id, p.actual_amount) for p in job.job_products.all()][1] == (other.pk, 30)

    def test_what_is_wrong_is_said_and_nothing_is_unsigned(self, browser_client, bench, record):
        wrong = self.form(bench, record, reason="", loads="many")
        answer = browser_client(bench.applicator).post(page(bench, record, "amend"), wrong)
        assert (answer.status_code, Job.rows.get(pk=record.job_id).state) == (400, "signed")

    def test_editions_stand_side_by_side(self, browser_client, bench, record):
        done = bench.done_values(queries.job(bench.farm, record.job_id), loads="4")
        amend_job(member=bench.applicator, job_id=record.job_id, done=done, reason="miscounted", now=LATER)
        bench.sign(queries.job(bench.farm, record.job_id), now=LATER)
        client = browser_client(bench.manager)
        text = client.get(page(bench, record, "editions")).content.decode()
        assert "Edition 2, record 2" in text
        assert "Edition 1, record 1" in text
        assert "Why: miscounted" in text
        old = client.get(f"/f/{bench.farm.slug}/records/1/").content.decode()
        assert "This record was corrected. It stays readable and counts no longer." in old
        assert "corrected since" in client.get(f"/f/{bench.farm.slug}/records/").content.decode()

    def test_withdrawing_says_what_follows_before_the_password(self, browser_client, bench, record):
        client = browser_client(bench.applicator)
        shown = client.get(page(bench, record, "void"))
        assert "The blocks are closed again until the spray is signed." in shown.content.decode()
        form = shown.context["form"].initial
        typed = {**form, "reason": "wrong field", "checked": "on", "password": PASSWORD, "once_key": "b" * 32}
        text = client.post(page(bench, record, "void"), typed, follow=True).content.decode()
        assert "signature withdrawn" in text
        assert SprayRecord.rows.get(seq=2).meaning == Meaning.VOIDED
        assert "The signature under this record was withdrawn." in (
            client.get(f"/f/{bench.farm.slug}/records/1/").content.decode()
        )
        assert "Its signature is withdrawn." in client.get(f"/f/{bench.farm.slug}/records/2/").content.decode()

    def test_asking_and_declining(self, browser_client, bench, record):
        manager, applicator = browser_client(bench.manager), browser_client(bench.applicator)
        asked = {"words": "it ended at 8:40", "once_key": "c" * 32}
        text = manager.post(page(bench, record, "ask-correction"), asked, follow=True).content.decode()
        assert "waits for the applicator" in text
        row = CorrectionRequest.rows.get()
        place = f"/f/{bench.farm.slug}/correction-requests/{row.pk}/decline/"
        assert "it ended at 8:40" in applicator.get(place).content.decode()
        answer = {"reason": "it is as written", "once_key": "d" * 32}
        text = applicator.post(place, answer, follow=True).content.decode()
        assert "it is as written" in text
        assert manager.get(place).status_code == 403

    def test_the_proof_page_compares_an_earlier_head(self, browser_client, bench, record):
        client, place = browser_client(bench.manager), f"/f/{bench.farm.slug}/records/proof/"
        text = client.get(place)
        assert "1 record, unbroken." in text.content.decode()
        agree = client.post(place, {"text": text.context["text"], "once_key": "e" * 32}).content.decode()
        assert "The book agrees with it: it has only grown since." in agree
        wrong = client.post(place, {"records": "9", "head": "f" * 64}).content.decode()
        assert "the book had 9 records then and has 1 now" in wrong
        for bad in ({}, {"text": "no head"}, {"text": "[]"}):
            assert client.post(place, bad).status_code == 400

    def test_a_request_is_on_the_applicators_job_page_as_a_step(self, browser_client, bench, record):
        ask_correction(member=bench.manager, job_id=record.job_id, words="it ended at 8:40", now=LATER)
        text = browser_client(bench.applicator).get(f"/f/{bench.farm.slug}/jobs/{record.job_id}/").content.decode()
        assert page(bench, record, "amend") in text
        assert page(bench, record, "void") in text
        assert page(bench, record, "amend") not in (
            browser_client(bench.manager).get(f"/f/{bench.farm.slug}/jobs/{record.job_id}/").content.decode()
        )


def test_what_is_being_corrected_is_shown_as_it_was_signed_and_said_to_be_open(browser_client, bench, record):
    job = queries.job(bench.farm, record.job_id)
    end = ENDED + timedelta(minutes=25)
    done = bench.done_values(job, ended_at=end)
    amend_job(
        member=bench.applicator, job_id=job.pk, done=done, reason="the end was wrong", now=SIGNED + timedelta(hours=1)
    )
    client = browser_client(bench.manager)
    for page in ("/f/alder-bend/records/", "/f/alder-bend/records/1/"):
        text = client.get(page).content.decode()
        assert ("9:40 AM" in text, "10:05 AM" in text) == (True, False)
        assert "open again" in text
