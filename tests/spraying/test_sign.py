"""Signing: the right person, the password, what was shown; all of it or nothing."""

from __future__ import annotations

import json
from datetime import date, timedelta
from decimal import Decimal

import pytest

from apps.audit.models import AuditEvent
from apps.inventory import queries as shed
from apps.inventory import services as shed_services
from apps.inventory.models import LedgerLine
from apps.people.models import Membership
from apps.reminders.models import Notice
from apps.safety import queries as board
from apps.safety.models import Closure
from apps.spraying import content, services
from apps.spraying.models import Job, JobStep, SprayRecord
from apps.spraying.rules.record import Meaning
from apps.spraying.services.sign import shown
from apps.training.models import Certificate, TrainingRecord
from farmops.errors import BadInput, NotYourRole, Refused, Stale
from farmops.units import Quantity
from tests.conftest import place
from tests.factories.crops import CropFactory, PlantingFactory
from tests.factories.land import BlockFactory
from tests.factories.spraying import ENDED, PASSWORD, REPORTED, SIGNED, certify, line, plot_of, shield_document

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def counts() -> list[int]:
    tables = (SprayRecord, JobStep, Closure, LedgerLine, Notice)
    return [t.rows.count() for t in tables] + [AuditEvent.objects.count()]


def nothing_changed(job, before: list[int]) -> None:
    again = Job.rows.get(pk=job.pk)
    assert (again.state, again.version) == ("sprayed", job.version)
    assert counts() == before
    assert [c.kind for c in Closure.rows.filter(lifted_at=None)] == ["unconfirmed"]


class TestTheSignature:
    @pytest.mark.parametrize(
        ("typed", "field"),
        [
            ({"password": "not-this-one"}, "password"),
            ({"password": ""}, "password"),
            ({"checked": False}, "checked"),
            ({"checked": False, "password": "not-this-one"}, "checked"),
        ],
        ids=["wrong password", "no password", "box not ticked", "neither"],
    )
    def test_password_and_box_are_needed_and_nothing_changes_without(self, bench, typed, field):
        job = bench.sprayed()
        before = counts()
        with pytest.raises(BadInput) as error:
            bench.sign(job, **typed)
        assert list(error.value.errors) == [field]
        nothing_changed(job, before)

    @pytest.mark.parametrize("hash_sent", ["", "0" * 64, "nonsense"])
    def test_what_was_not_shown_is_not_signed(self, bench, hash_sent):
        job = bench.sprayed()
        before = counts()
        with pytest.raises(Stale):
            bench.sign(job, body_hash=hash_sent)
        nothing_changed(job, before)

    def test_a_read_back_from_before_a_correction_is_stale(self, bench):
        job = bench.sprayed()
        _, old, _ = shown(job, bench.applicator, Meaning.APPLIED)
        services.correct_finish(
            member=bench.applicator,
            job_id=job.pk,
            done=bench.done_values(job, ended_at=ENDED + timedelta(minutes=1)),
            now=REPORTED,
        )
        with pytest.raises(Stale):
            bench.sign(Job.rows.get(pk=job.pk), body_hash=old)
        assert SprayRecord.rows.count() == 0

    def test_a_certificate_corrected_after_the_read_back_makes_it_stale(self, bench):
        job = bench.sprayed()
        _, old, _ = shown(job, bench.applicator, Meaning.APPLIED)
        Certificate.rows.update(number="99999")
        with pytest.raises(Stale):
            bench.sign(job, body_hash=old)

    def test_it_can_be_signed_once(self, bench):
        job = bench.sprayed()
        bench.sign(job)
        with pytest.raises(Refused) as error:
            services.sign_off(
                member=bench.applicator, job_id=job.pk, password=PASSWORD, checked=True, body_hash="x", now=SIGNED
            )
        assert [f.code for f in error.value.findings] == ["wrong_state"]
        assert SprayRecord.rows.count() == 1


class TestWho:
    """Cases F2, F11 and F13 of part F; helpers under supervision (40 CFR 171.201)."""

    def test_a_manager_never_signs_for_another(self, bench, cast):
        job = bench.sprayed()
        for who in (cast.manager, cast.staff):
            with pytest.raises(NotYourRole, match="This needs one of: applicator"):
                services.sign_off(member=who, job_id=job.pk, password=PASSWORD, checked=True, body_hash="x", now=SIGNED)
        assert SprayRecord.rows.count() == 0

    def test_a_manager_who_is_also_an_applicator_but_not_named_does_not_sign(self, bench):
        both = place(bench.farm, "applicator", "Pia Holm", "pia")
        Membership.rows.filter(pk=both.id).update(is_manager=True)
        job = bench.sprayed()
        with pytest.raises(NotYourRole, match="Only the person named on the job can do this: Luis Mora"):
            services.sign_off(member=both, job_id=job.pk, password=PASSWORD, checked=True, body_hash="x", now=SIGNED)

    def test_an_owner_who_sprays_signs_as_the_applicator(self, bench):
        Membership.rows.filter(pk=bench.applicator.id).update(is_manager=True)
        assert bench.signed().signed_by_id == bench.applicator.person_id

    def test_a_helpers_spray_is_signed_by_the_supervisor_and_names_both(self, bench):
        helper = place(bench.farm, "applicator", "Pia Holm", "pia")
        trained(bench, helper)
        job = bench.assigned(applicator_id=helper.person_id, supervisor_id=bench.applicator.person_id)
        services.start_spraying(
            member=helper,
            job_id=job.pk,
            readings=bench.readings,
            reason="all clear of people",
            now=job.window_starts_at,
        )
        done = bench.done_values(job, started_at=job.window_starts_at)
        job = services.finish_spraying(member=helper, job_id=job.pk, done=done, now=REPORTED)
        with pytest.raises(NotYourRole, match="Only the applicator who did or supervised this spray can sign it: Luis"):
            shown(job, helper, Meaning.APPLIED)
        record = bench.sign(job)
        body = json.loads(record.body_text)
        assert body["content"]["statement"] == "I supervised this application as written above."
        assert (body["content"]["applicator"]["name"], body["content"]["supervisor"]["name"]) == (
            "Pia Holm",
            "Luis Mora",
        )
        assert body["content"]["applicator"]["certificates"] == []

    def test_a_certified_applicator_under_supervision_may_sign_too(self, bench):
        boss = place(bench.farm, "applicator", "Pia Holm", "pia")
        certify(bench.farm, boss.person_id, "777")
        job = bench.sprayed(supervisor_id=boss.person_id)
        assert shown(job, boss, Meaning.APPLIED)[2].standing == "supervised"
        assert bench.sign(job).signed_by_id == bench.applicator.person_id

    def test_a_certificate_that_ended_since_is_noted_and_the_signature_stands(self, bench):
        """F2: valid on the day of the application, ended before signing: accept with a flag."""
        job = bench.sprayed()
        Certificate.rows.update(valid_to=date(2026, 7, 6))
        _, _, signing = shown(job, bench.applicator, Meaning.APPLIED)
        flags = content.since_applied(job, signing, date(2026, 7, 7))
        assert [f.code for f in flags] == ["certificate_ended_since"]
        assert bench.sign(job, now=SIGNED + 24 * HOUR).seq == 1

    def test_the_record_keeps_the_name_of_somebody_who_left(self, bench):
        """F13: removed from the farm later; the record keeps name and number."""
        record = bench.signed()
        Membership.rows.filter(pk=bench.applicator.id).update(active=False)
        Certificate.rows.all().delete()
        again = json.loads(SprayRecord.rows.get(pk=record.pk).body_text)["content"]
        assert (again["signer"]["name"], again["signer"]["certificate"]["number"]) == ("Luis Mora", "12345")


def trained(bench, member) -> None:
    TrainingRecord.rows.create(
        farm=bench.farm,
        person_id=member.person_id,
        kind="handler",
        trained_on=date(2026, 3, 1),
        recorded_at=SIGNED,
        recorded_by_id=bench.manager.person_id,
    )


@pytest.fixture
def no_signs(monkeypatch):
    """What follows on the board is looked at without the warning signs, which have tests of their own."""
    monkeypatch.setattr("apps.spraying.ground.signs_missing", lambda job: [])


@pytest.mark.usefixtures("no_signs")
class TestWhatFollows:
    def test_the_longest_interval_of_a_mix_counts(self, bench):
        other = bench.product_of(
            "Demo Long",
            shield_document()
            | {"rei_hours": "48", "ingredients": [{"name": "captan", "amount": "4", "basis": "lb_per_gal"}]},
        )
        bench.signed(products=[line(bench.product), line(other)])
        closure = Closure.rows.get(kind="entry", lifted_at=None)
        assert (closure.ends_at, closure.product_names) == (ENDED + 48 * HOUR, ["Demo Long"])

    def test_an_interval_that_is_not_known_keeps_the_block_unknown(self, bench):
        document = shield_document()
        del document["rei_hours"]
        silent = bench.product_of("Demo Silent", document)
        bench.signed(products=[line(bench.product), line(silent)])
        answer = board.entry_answer(bench.blocks[0], activity=None, at=SIGNED + 900 * HOUR, now=SIGNED + 900 * HOUR)
        assert (answer.answer, answer.because[0].code) == ("unknown", "rei_missing")

    def test_a_wait_before_harvest_that_is_not_known_is_not_zero(self, bench):
        document = shield_document()
        del document["uses"][0]["phi_days"]
        bench.signed(products=[line(bench.product_of("Demo Silent", document))])
        later = SIGNED + 900 * HOUR
        assert board.harvest_answer(bench.blocks[0], at=later, now=later).answer == "unknown"
        assert board.entry_answer(bench.blocks[0], activity=None, at=later, now=later).answer == "yes"

    def test_an_activity_with_a_longer_interval_stays_out_longer(self, bench):
        document = shield_document() | {"activity_rei": [{"activity": "picking_by_hand", "hours": "120"}]}
        bench.signed(products=[line(bench.product_of("Demo Hands", document))])
        at = ENDED + 24 * HOUR

        def said(work):
            return board.entry_answer(bench.blocks[0], activity=work, at=at, now=at).answer

        assert (said("picking_by_hand"), said("scouting_on_foot"), said(None), said("other")) == (
            "no",
            "yes",
            "no",
            "no",
        )

    def test_until_dried_waits_for_a_person_not_for_a_clock(self, bench):
        document = shield_document() | {"condition_release": "Do not enter until sprays have dried."}
        bench.signed(products=[line(bench.product_of("Demo Wet", document))])
        later = SIGNED + 900 * HOUR
        answer = board.entry_answer(bench.blocks[0], activity=None, at=later, now=later)
        assert (answer.answer, answer.because[0].code) == ("unknown", "until_dry")

    def test_a_cover_crop_has_no_wait_before_harvest(self, bench):
        rye = CropFactory(farm=bench.farm, code="cereal_rye", name="Cereal rye", family="poaceae")
        block = BlockFactory(farm=bench.farm, code="R1", polygon=plot_of(5))
        PlantingFactory(farm=bench.farm, block=block, crop=rye, purpose="cover", sown_on=date(2025, 9, 20))
        document = shield_document() | {
            "kind": "herbicide",
            "groups": [{"scheme": "hrac", "code": "9"}],
            "ingredients": [{"name": "glyphosate", "amount": "3", "basis": "lb_per_gal"}],
        }
        document["uses"][0]["site_code"] = "fallow_cover"
        job = bench.sprayed(products=[line(bench.product_of("Demo Burn", document))], blocks=[{"block_id": block.pk}])
        bench.sign(job)
        assert [c.kind for c in Closure.rows.filter(lifted_at=None)] == ["entry"]

    def test_a_block_where_nothing_was_treated_opens_by_that_statement(self, bench):
        job = bench.spraying(blocks=[{"block_id": b.pk} for b in bench.blocks])
        first = job.job_blocks.all()[0].planned_acres
        done = bench.done_values(
            job,
            blocks=[
                {"block_id": bench.blocks[0].pk, "treated_acres": str(first)},
                {"block_id": bench.blocks[1].pk, "treated_acres": "0"},
            ],
            products=[{"product_id": bench.product.pk, "amount": str(5 * first), "unit": "floz"}],
        )
        job = services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=REPORTED)
        bench.sign(job)
        rows = Closure.rows.filter(block=bench.blocks[1]).values_list("kind", "lift_reason")
        assert sorted(rows) == [("planned", "started"), ("unconfirmed", "not_applied"), ("underway", "finished")]
        assert board.entry_answer(bench.blocks[1], activity=None, at=SIGNED, now=SIGNED).answer == "yes"
        assert board.entry_answer(bench.blocks[0], activity=None, at=SIGNED, now=SIGNED).answer == "no"

    def test_an_earlier_spray_that_holds_longer_still_holds(self, bench):
        long = bench.product_of("Demo Long", shield_document() | {"rei_hours": "96"})
        bench.signed(products=[line(long)])
        bench.signed()
        at = ENDED + 13 * HOUR
        assert board.entry_answer(bench.blocks[0], activity=None, at=at, now=at).opens_at == ENDED + 96 * HOUR


class TestTheShed:
    def test_what_was_used_is_drawn_and_the_rest_of_the_promise_is_free(self, bench):
        job = bench.spraying()
        acres = job.job_blocks.all()[0].planned_acres
        done = bench.done_values(
            job,
            products=[{"product_id": bench.product.pk, "amount": str(4 * acres), "unit": "floz"}],
            deviation_reason="slower than planned",
        )
        job = services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=REPORTED)
        bench.sign(job)
        stock = shed.stock_of(bench.farm, bench.product.pk)
        used = (4 * acres / 128).quantize(Decimal("0.000000001"))
        assert (stock.on_hand, stock.reserved) == (5 - used, 0)
        assert shed.rebuild_balances(bench.farm) == []

    def test_a_shed_that_does_not_hold_it_stops_the_signature_and_nothing_is_half_written(self, bench):
        job = bench.sprayed()
        lot = shed.lots(bench.farm).get(product=bench.product)
        shed_services.count(
            member=bench.manager, lot_id=lot.pk, counted=shed_quantity("1", "floz"), reason="counted", now=REPORTED
        )
        before = counts()
        with pytest.raises(Refused) as error:
            bench.sign(job)
        assert [f.code for f in error.value.findings] == ["stock_short"]
        nothing_changed(job, before)
        shed_services.count(
            member=bench.manager, lot_id=lot.pk, counted=shed_quantity("1", "gal"), reason="found it", now=REPORTED
        )
        assert bench.sign(job).seq == 1


def shed_quantity(amount: str, unit: str):
    return Quantity(Decimal(amount), unit)
