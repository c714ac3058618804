"""The wrong person was written down: who really did or supervised it corrects and signs; nobody signs for another."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from apps.audit.models import AuditEvent
from apps.people.models import Membership
from apps.reminders.models import Notice
from apps.spraying import proof, queries, services
from apps.spraying.amending import queries as amending
from apps.spraying.amending.services import amend_job
from apps.spraying.models import Job, JobStep, SprayRecord
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.signing import read_back
from apps.spraying.services.naming import wanted
from farmops.errors import BadInput, NotYourRole, Refused
from tests.conftest import place
from tests.factories.spraying import ENDED, PASSWORD, REPORTED, SIGNED, certify

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
LATER = SIGNED + HOUR


@pytest.fixture
def pia(bench):
    """She drove the tractor; the book says Luis did."""
    member = place(bench.farm, "applicator", "Pia Holm", "pia")
    certify(bench.farm, member.person_id, "777")
    return member


def put_right(bench, job, by, *, now=LATER, reason="Pia drove, not Luis", **named):
    job = queries.job(bench.farm, job.pk)
    done = bench.done_values(job)
    return amend_job(member=by, job_id=job.pk, done=done, reason=reason, named=named, now=now)


def refused(job) -> set[str]:
    return {f["code"] for b in job.finish_findings for f in b["findings"] if f["severity"] == "refuse"}


def content(record) -> dict:
    return json.loads(record.body_text)["content"]


class TestWhoReallyDidIt:
    def test_corrects_and_signs_and_the_old_edition_stays(self, bench, pia):
        first = bench.signed()
        job = put_right(bench, first.job, pia, applicator_id=pia.person_id)
        assert (job.state, job.applicator_id, job.supervisor_id) == ("sprayed", pia.person_id, None)
        second = bench.sign(queries.job(bench.farm, job.pk), by=pia, now=LATER + HOUR)
        said = content(second)
        assert (said["applicator"]["name"], said["signer"]["name"], said["signer"]["certificate"]["number"]) == (
            "Pia Holm",
            "Pia Holm",
            "777",
        )
        assert (second.edition, second.supersedes_id, second.signed_by_id) == (2, first.pk, pia.person_id)
        assert said["amends"]["changes"] == [
            {"what": "applicator", "subject": "", "before": "Luis Mora", "after": "Pia Holm"}
        ]
        old = SprayRecord.rows.get(pk=first.pk)
        assert (content(old)["applicator"]["name"], old.hash) == ("Luis Mora", first.hash)
        assert [e.record.seq for e in amending.side_by_side(queries.job(bench.farm, job.pk))] == [1, 2]
        assert [fault for _, fault in proof.faults([bench.farm], {})] == []

    def test_reads_it_back_with_both_names(self, bench, pia):
        first = bench.signed()
        put_right(bench, first.job, pia, applicator_id=pia.person_id)
        second = bench.sign(queries.job(bench.farm, first.job_id), by=pia, now=LATER + HOUR)
        back = read_back(content(second))
        said = [s.template.format(**s.numbers) for s in back.sentences]
        assert "Applied by: it said Luis Mora, it says Pia Holm now." in said
        assert any(s.startswith("You sprayed all") for s in said)
        assert back.statement.template == "This replaces the earlier record. I made this application as written above."

    def test_whoever_was_named_can_no_longer_sign_it(self, bench, pia):
        first = bench.signed()
        put_right(bench, first.job, pia, applicator_id=pia.person_id)
        with pytest.raises(NotYourRole) as no:
            bench.sign(queries.job(bench.farm, first.job_id), now=LATER + HOUR)
        assert str(no.value).endswith("can sign it: Pia Holm.")
        assert SprayRecord.rows.count() == 1

    def test_supervised_and_signs_as_that(self, bench, pia):
        first = bench.signed()
        put_right(bench, first.job, pia, supervisor_id=pia.person_id)
        second = bench.sign(queries.job(bench.farm, first.job_id), by=pia, now=LATER + HOUR)
        said = content(second)
        assert (said["applicator"]["name"], said["supervisor"]["name"], said["signer"]["standing"]) == (
            "Luis Mora",
            "Pia Holm",
            "supervised",
        )
        assert said["amends"]["changes"] == [{"what": "supervisor", "subject": "", "before": "–", "after": "Pia Holm"}]

    def test_a_supervisor_who_was_not_there_is_taken_out(self, bench, pia):
        job = bench.sprayed(supervisor_id=pia.person_id)
        first = bench.sign(job, by=pia)
        put_right(bench, first.job, bench.applicator, supervisor_id=None, reason="nobody supervised")
        second = bench.sign(queries.job(bench.farm, job.pk), now=LATER + HOUR)
        assert (content(second)["supervisor"], content(second)["signer"]["name"]) == (None, "Luis Mora")

    def test_the_blocks_stay_closed_until_it_is_signed(self, bench, pia):
        from apps.safety import queries as board

        first = bench.signed()
        at = ENDED + 13 * HOUR
        assert board.entry_answer(bench.blocks[0], activity=None, at=at, now=at).answer == "yes"
        put_right(bench, first.job, pia, applicator_id=pia.person_id)
        assert board.entry_answer(bench.blocks[0], activity=None, at=at, now=at).answer == "unknown"
        bench.sign(queries.job(bench.farm, first.job_id), by=pia, now=LATER + HOUR)
        assert board.entry_answer(bench.blocks[0], activity=None, at=at, now=at).answer == "yes"

    def test_is_judged_by_their_own_certificate(self, bench):
        """Nobody's card but the real applicator's counts (40 CFR 171): without one it is on the record."""
        nora = place(bench.farm, "applicator", "Nora Falk", "nora")
        restricted = bench.product_of("Demo Restricted", {**bench.label.body, "restricted_use": True})
        first = bench.signed(products=[{"product_id": restricted.pk, "rate_amount": "5", "rate_unit": "floz"}])
        assert refused(Job.rows.get()) == set()
        job = put_right(bench, first.job, nora, applicator_id=nora.person_id, reason="Nora drove")
        assert refused(job) == {"rup_cert", "handler_training"}


class TestWhoWasWronglyNamed:
    def test_hands_it_over_and_the_other_must_sign(self, bench, pia):
        first = bench.signed()
        job = put_right(bench, first.job, bench.applicator, applicator_id=pia.person_id)
        with pytest.raises(NotYourRole):
            bench.sign(queries.job(bench.farm, job.pk), now=LATER + HOUR)
        second = bench.sign(queries.job(bench.farm, job.pk), by=pia, now=LATER + HOUR)
        assert content(second)["signer"]["name"] == "Pia Holm"

    def test_is_told_at_once_with_the_managers(self, bench, pia):
        first = bench.signed()
        put_right(bench, first.job, pia, applicator_id=pia.person_id)
        told = {n.person_id: n for n in Notice.rows.filter(kind="job_reopened", occasion__endswith="people")}
        assert set(told) == {bench.applicator.person_id, bench.manager.person_id}
        mine = told[bench.applicator.person_id]
        said = mine.template.format(**mine.numbers)
        assert "Pia Holm corrects who made spray job 1" in said
        assert "Applied by: Pia Holm; supervised by: –. Before: Luis Mora. Why: Pia drove, not Luis" in said

    def test_may_say_before_signing_that_it_was_another(self, bench, pia):
        job = bench.sprayed()
        done = bench.done_values(queries.job(bench.farm, job.pk))
        asked = {"member": bench.applicator, "job_id": job.pk, "done": done, "named": {"applicator_id": pia.person_id}}
        with pytest.raises(BadInput) as bad:
            services.correct_finish(now=REPORTED, **asked)
        assert bad.value.errors == {"reason": ["Say why somebody else is named."]}
        assert Job.rows.get().applicator_id == bench.applicator.person_id
        services.correct_finish(now=REPORTED, reason="Pia drove", **asked)
        record = bench.sign(queries.job(bench.farm, job.pk), by=pia)
        assert (content(record)["applicator"]["name"], content(record)["amends"]) == ("Pia Holm", None)
        step = JobStep.rows.filter(step="correct").get()
        assert step.details["people"] == {"before": ["Luis Mora", ""], "now": ["Pia Holm", ""]}

    def test_may_withdraw_and_the_other_takes_it_from_there(self, bench, pia):
        first = bench.signed()
        bench.sign(first.job, meaning=Meaning.VOIDED, now=LATER, reason="it was not me")
        done = bench.done_values(queries.job(bench.farm, first.job_id))
        named = {"applicator_id": pia.person_id}
        services.correct_finish(
            member=pia, job_id=first.job_id, done=done, named=named, reason="I drove", now=LATER + HOUR
        )
        third = bench.sign(queries.job(bench.farm, first.job_id), by=pia, now=LATER + 2 * HOUR)
        assert (third.edition, content(third)["applicator"]["name"]) == (3, "Pia Holm")
        assert [c["what"] for c in content(third)["amends"]["changes"]] == ["applicator"]


class TestNobodyElse:
    def test_who_names_neither_themselves_nor_is_named_changes_nothing(self, bench, pia):
        nora = place(bench.farm, "applicator", "Nora Falk", "nora")
        first = bench.signed()
        for named in ({"applicator_id": nora.person_id}, {}, {"supervisor_id": nora.person_id}):
            with pytest.raises(NotYourRole):
                put_right(bench, first.job, pia, **named)
        assert (Job.rows.get().state, Job.rows.get().applicator_id) == ("signed", bench.applicator.person_id)

    def test_a_manager_who_does_not_sign_cannot(self, bench, pia):
        first = bench.signed()
        with pytest.raises(NotYourRole):
            put_right(bench, first.job, bench.manager, applicator_id=pia.person_id)

    def test_a_helper_under_supervision_cannot_make_themselves_the_signer(self, bench, pia):
        """Uncertified, supervised: the supervisor corrects and signs (40 CFR 171.201)."""
        nora = place(bench.farm, "applicator", "Nora Falk", "nora")
        job = bench.sprayed(supervisor_id=pia.person_id)
        bench.sign(job, by=pia)
        with pytest.raises(NotYourRole):
            put_right(bench, job, nora, applicator_id=nora.person_id)
        assert Job.rows.get().state == "signed"

    @pytest.mark.parametrize(
        ("who", "field"),
        [
            ("outsider", "applicator_id"),
            ("staff", "applicator_id"),
            ("same", "supervisor_id"),
            ("none", "applicator_id"),
        ],
    )
    def test_people_who_cannot_be_named_are_refused_by_field(self, bench, cast, who, field):
        first = bench.signed()
        value = {
            "outsider": cast.outsider.pk,
            "staff": cast.staff.person_id,
            "same": bench.applicator.person_id,
            "none": None,
        }[who]
        with pytest.raises(BadInput) as bad:
            put_right(bench, first.job, bench.applicator, **{field: value})
        assert set(bad.value.errors) == {field}
        assert Job.rows.get().state == "signed"

    def test_somebody_who_left_the_farm_stays_named_but_is_not_named_anew(self, bench, pia):
        first = bench.signed()
        Membership.rows.filter(person_id=bench.applicator.person_id).update(active=False)
        job = put_right(bench, first.job, pia, supervisor_id=pia.person_id)
        assert (job.applicator_id, job.supervisor_id) == (bench.applicator.person_id, pia.person_id)
        with pytest.raises(Refused):
            put_right(bench, first.job, pia)  # it is open now: corrected, not amended again


def test_nothing_is_wanted_when_nobody_changes(bench):
    job = bench.assigned()
    same = {"applicator_id": job.applicator_id, "supervisor_id": None}
    assert [wanted(job, named) for named in (None, {}, same)] == [None, None, None]


def test_the_trail_says_who_was_named_before(bench, pia):
    first = bench.signed()
    put_right(bench, first.job, pia, applicator_id=pia.person_id)
    row = AuditEvent.objects.filter(verb="amend").get()
    assert (row.before["applicator_id"], row.after["applicator_id"]) == (bench.applicator.person_id, pia.person_id)
    assert (row.before["state"], row.after["state"]) == ("signed", "sprayed")


# ---- the doors -------------------------------------------------------------------------


def api_body(bench, job, **more):
    done = bench.done_values(queries.job(bench.farm, job.pk))
    times = {k: done[k].isoformat() for k in ("started_at", "ended_at")}
    return {**done, **times, "reason": "Pia drove", **more}


def test_over_the_interface(bench, pia, api, monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: LATER)
    first = bench.signed()
    url = f"/api/v1/farms/alder-bend/jobs/{first.job_id}/amend/"
    answer = api(pia).post(url, api_body(bench, first.job, supervisor_id=None), format="json")
    assert (answer.status_code, "Only the person named on the job" in answer.content.decode()) == (403, True)
    answer = api(pia).post(url, api_body(bench, first.job, applicator_id=pia.person_id), format="json")
    assert answer.status_code == 200, answer.content
    assert (answer.json()["applicator"], answer.json()["state"]) == ("Pia Holm", "sprayed")
    url = f"/api/v1/farms/alder-bend/jobs/{first.job_id}/correct/"
    answer = api(pia).post(url, api_body(bench, first.job, applicator_id=2**40), format="json")
    assert (answer.status_code, set(answer.json()["errors"])) == (400, {"applicator_id"})


def page_form(client, url) -> dict[str, str]:
    """What the page would send as it stands."""
    form = client.get(url).context["form"]
    return {name: str(form[name].value()) for name in form.fields if form[name].value() not in (None, "")}


def test_on_the_pages(bench, pia, browser_client, monkeypatch):
    """From the job's page: names right, read-back with both names, signed."""
    monkeypatch.setattr("farmops.clock.now", lambda: LATER)
    first = bench.signed()
    client = browser_client(pia)
    amend = f"/f/alder-bend/jobs/{first.job_id}/amend/"
    assert f'href="{amend}"' in client.get(f"/f/alder-bend/jobs/{first.job_id}/").content.decode()
    html = client.get(amend).content.decode()
    assert "This job names Luis Mora. Go on only if you really did or supervised it" in html
    typed = page_form(client, amend) | {"reason": "Pia drove, not Luis"}
    refused = client.post(amend, typed)
    assert "Only the person named on the job can do this: Luis Mora." in refused.content.decode()
    answer = client.post(amend, typed | {"applicator_id": str(pia.person_id)})
    assert (answer.status_code, answer["Location"]) == (302, f"/f/alder-bend/jobs/{first.job_id}/sign/")
    html = client.get(answer["Location"]).content.decode()
    assert "Luis Mora" in html and "Pia Holm" in html and "card 777" in html
    typed = page_form(client, answer["Location"]) | {"password": PASSWORD, "checked": "on"}
    assert client.post(answer["Location"], typed).status_code == 302
    assert SprayRecord.rows.get(edition=2).signed_by_id == pia.person_id


def test_who_hands_it_over_comes_back_to_the_job(bench, pia, browser_client, monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: REPORTED)
    job = bench.sprayed()
    client = browser_client(bench.applicator)
    page = f"/f/alder-bend/jobs/{job.pk}/correct/"
    typed = page_form(client, page) | {"applicator_id": str(pia.person_id)}
    assert "Say why somebody else is named." in client.post(page, typed).content.decode()
    answer = client.post(page, typed | {"reason": "Pia drove"})
    assert (answer.status_code, answer["Location"]) == (302, f"/f/alder-bend/jobs/{job.pk}/")
    assert Job.rows.get().applicator_id == pia.person_id
