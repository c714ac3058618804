"""People and sign-off, case by case, through the services as people meet them: at the desk, and at the signature.

The cases and what stands behind each: the law where it speaks, else the project's own choice. The spray is on
Monday 6 July 2026 in IN, the product is restricted use unless a case says otherwise.
"""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest

from apps.people.models import Membership, Person
from apps.people.queries import as_member
from apps.spraying import content, queries, services
from apps.spraying.amending.services import amend_job
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import Meaning
from apps.spraying.services.sign import shown
from apps.training.models import Certificate, Suspension, TrainingRecord
from farmops.errors import Refused, Severity
from tests.conftest import place
from tests.factories.spraying import ENDED, NOW, PASSWORD, REPORTED, SIGNED, certify, line, shield_document

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def trained(bench, member, kind="handler", on=date(2026, 3, 1)) -> None:
    TrainingRecord.rows.create(
        farm=bench.farm,
        person_id=member.person_id,
        kind=kind,
        trained_on=on,
        recorded_at=NOW,
        recorded_by_id=bench.manager.person_id,
    )


def own_card(**changes):
    def arrange(bench) -> dict:
        trained(bench, bench.applicator)
        Certificate.rows.update(**changes)
        return {}

    return arrange


def suspended(bench) -> dict:
    trained(bench, bench.applicator)
    Suspension.rows.create(
        farm=bench.farm,
        certificate=Certificate.rows.get(),
        from_on=date(2026, 7, 1),
        reason="late report",
        recorded_by_id=bench.manager.person_id,
    )
    return {}


def helper(born_on: date, *, handler_on: date = date(2026, 3, 1)):
    """Somebody without a certificate sprays under the bench's certified applicator."""

    def arrange(bench) -> dict:
        who = place(bench.farm, "applicator", "Pia Holm", "pia")
        Person.objects.filter(pk=who.person_id).update(born_on=born_on)
        trained(bench, who, on=handler_on)
        return {"applicator_id": who.person_id, "supervisor_id": bench.applicator.person_id}

    return arrange


def respirator(*, fitted_on: date | None):
    def arrange(bench) -> dict:
        for kind in ("respirator_medical", "respirator_use"):
            trained(bench, bench.applicator, kind)
        if fitted_on is not None:
            trained(bench, bench.applicator, "respirator_fit", on=fitted_on)
        masked = shield_document() | {"ppe": {"mixing": ["respirator"], "applying": []}}
        return {"products": [line(bench.product_of("Demo Mask", masked))]}

    return arrange


ADULT = date(1990, 1, 1)
AT_THE_DESK = {
    "F1": ("40 CFR 171.1(b)", own_card(valid_to=date(2026, 7, 5)), {"rup_cert"}),
    "F1, the last day counts": ("40 CFR 171.1(b)", own_card(valid_to=date(2026, 7, 6)), set()),
    "F4": ("40 CFR 171.1(b)", own_card(jurisdiction="OH"), {"rup_cert"}),
    "F4, suspended": ("40 CFR 171.1(b)", suspended, {"rup_cert"}),
    "F5": ("40 CFR 171.201", helper(date(2009, 7, 1)), {"too_young"}),
    "F5, 18": ("40 CFR 171.201", helper(date(2008, 7, 6)), set()),
    "F5, 18 tomorrow": ("40 CFR 171.201", helper(date(2008, 7, 7)), {"too_young"}),
    "F8": ("40 CFR 170.501", helper(ADULT, handler_on=date(2025, 7, 5)), {"handler_training"}),
    "F8, 12 months to the day": ("40 CFR 170.501", helper(ADULT, handler_on=date(2025, 7, 6)), set()),
    "F10": ("40 CFR 170.507(b)(10)", respirator(fitted_on=None), {"respirator"}),
    "F10, fit test too old": ("40 CFR 170.507(b)(10)", respirator(fitted_on=date(2025, 7, 5)), {"respirator"}),
    "F10, fitted within the year": ("40 CFR 170.507(b)(10)", respirator(fitted_on=date(2025, 7, 6)), set()),
}


@pytest.mark.parametrize("case", AT_THE_DESK)
def test_at_the_desk(bench, case):
    basis, arrange, refusing = AT_THE_DESK[case]
    changes = arrange(bench)
    if "products" not in changes:
        document = shield_document() | {"restricted_use": True, "supervised_use_allowed": True}
        changes["products"] = [line(bench.product_of("Demo Restricted", document))]
    job = bench.planned(**changes)
    try:
        services.assign_job(member=bench.manager, job_id=job.pk, reason="as planned for the week", now=NOW)
        found = []
    except Refused as no:
        found = [f for f in no.findings if f.severity is Severity.REFUSE]
    assert {f.code for f in found} == refusing
    assert all(basis.removeprefix("40 CFR ") in f.source for f in found)
    assert (Job.rows.get(pk=job.pk).state == "draft") is bool(refusing)


def test_f2_a_card_that_ended_between_the_spray_and_the_signature_is_accepted_with_a_flag(bench):
    """Project rule: the certificate is judged on the day of the application."""
    job = bench.sprayed()
    Certificate.rows.update(valid_to=date(2026, 7, 10))
    later = SIGNED + 5 * 24 * HOUR
    _, _, signing = shown(job, bench.applicator, Meaning.APPLIED)
    flags = content.since_applied(job, signing, date(2026, 7, 11))
    assert [f.code for f in flags] == ["certificate_ended_since"]
    record = bench.sign(job, now=later)
    signer = json.loads(record.body_text)["content"]["signer"]
    assert (signer["certificate"]["number"], signer["certificate"]["valid_to"]) == ("12345", "2026-07-10")


def test_f2_server_time_and_when_it_happened_are_apart(bench):
    """The signature carries the server's time; the spray its own; the report a third."""
    record = bench.sign(bench.sprayed(), now=SIGNED + 3 * HOUR)
    body = json.loads(record.body_text)
    assert body["signature"]["at"] == (SIGNED + 3 * HOUR).isoformat().replace("+00:00", "Z")
    assert body["content"]["ended_at"] == ENDED.isoformat().replace("+00:00", "Z")
    finish = record.job.steps.get(step="finish")
    assert (finish.at, finish.happened_at) == (REPORTED, ENDED)


def test_f11_a_manager_cannot_sign_as_the_applicator_on_any_door(bench, api, browser_client):
    """Project rule: a manager can ask for a signature, never give another's."""
    job = bench.sprayed()
    address = f"/api/v1/farms/{bench.farm.slug}/jobs/{job.pk}"
    body = {"password": PASSWORD, "checked": True, "body_hash": "0" * 64}
    keyed = {"Idempotency-Key": "a-new-key-1"}
    for door in ("sign", "void", "not-applied"):
        typed = body | ({} if door == "sign" else {"reason": "good reason"})
        answer = api(bench.manager).post(f"{address}/{door}/", typed, format="json", headers=keyed)
        assert (door, answer.status_code, answer.json()["title"]) == (door, 403, "Not your role")
    page = browser_client(bench.manager).get(f"/f/{bench.farm.slug}/jobs/{job.pk}/sign/")
    assert (page.status_code, "This needs one of: applicator" in page.content.decode()) == (403, True)
    assert SprayRecord.rows.count() == 0


def test_f12_an_edit_after_signing_makes_it_unsigned_and_the_old_stays(bench):
    """Project rule; 21 CFR 11.10(e) as a model: changes must not hide earlier entries."""
    record = bench.signed()
    job = queries.job(bench.farm, record.job_id)
    amend_job(
        member=bench.applicator, job_id=job.pk, done=bench.done_values(job), reason="read the meter again", now=SIGNED
    )
    again = Job.rows.get(pk=job.pk)
    assert (again.state, SprayRecord.rows.get(pk=record.pk).body_text) == ("sprayed", record.body_text)


def test_f13_the_record_keeps_name_and_number_of_somebody_who_left(bench):
    """Project rule: copied in at signing."""
    record = bench.signed()
    Membership.rows.filter(pk=bench.applicator.id).update(active=False)
    Person.objects.filter(pk=bench.applicator.person_id).update(full_name="Somebody Else")
    Certificate.rows.all().delete()
    body = json.loads(SprayRecord.rows.get(pk=record.pk).body_text)
    assert (body["signature"]["by"], body["content"]["applicator"]["name"]) == ("Luis Mora", "Luis Mora")
    assert body["content"]["signer"]["certificate"]["number"] == "12345"


def test_f14_two_end_times_count_as_the_later_and_stay_unknown_until_signed(bench):
    """Project rule: use the later; restricted until resolved."""
    boss = place(bench.farm, "applicator", "Pia Holm", "pia")
    certify(bench.farm, boss.person_id, "777")
    job = bench.sprayed(supervisor_id=boss.person_id)
    later = ENDED + timedelta(minutes=4)
    services.correct_finish(
        member=boss, job_id=job.pk, done=bench.done_values(job, ended_at=later), now=REPORTED + timedelta(minutes=2)
    )
    job = queries.job(bench.farm, job.pk)
    assert (job.ended_at, job.disputed) == (later, True)
    record = bench.sign(job)
    assert json.loads(record.body_text)["content"]["disputed"] is True


def test_a_helpers_record_names_both_and_says_in_which_standing_it_was_signed(bench):
    """40 CFR 171.201; 7 CFR 110.3(a): the certified applicator who applied or supervised."""
    changes = helper(ADULT)(bench)
    who = Membership.rows.get(person_id=changes["applicator_id"])
    job = bench.assigned(**changes)
    member = as_member(who)
    at = job.window_starts_at
    services.start_spraying(member=member, job_id=job.pk, readings=bench.readings, reason="looked all round", now=at)
    done = bench.done_values(job, started_at=at)
    job = services.finish_spraying(member=member, job_id=job.pk, done=done, now=REPORTED)
    body = json.loads(bench.sign(job).body_text)["content"]
    assert (body["applicator"]["name"], body["supervisor"]["name"]) == ("Pia Holm", "Luis Mora")
    assert (body["signer"]["name"], body["signer"]["standing"]) == ("Luis Mora", "supervised")
    assert body["statement"] == "I supervised this application as written above."
