"""Correcting what is signed: reason, new signature, the old kept, and everything that hangs on it counted again."""

from __future__ import annotations

import json
from datetime import timedelta
from decimal import ROUND_HALF_UP, Decimal

import pytest

from apps.inventory import queries as shed
from apps.inventory import services as shed_services
from apps.inventory.models import LedgerLine
from apps.people.models import Membership
from apps.reminders.models import Notice
from apps.safety import queries as board
from apps.safety.models import Closure
from apps.spraying import proof, queries, services
from apps.spraying.amending import queries as amending
from apps.spraying.amending.models import CorrectionRequest
from apps.spraying.amending.services import amend_job, ask_correction, decline_correction
from apps.spraying.history import Labels, events_on
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import Meaning
from apps.spraying.services.sign import shown
from apps.work.models import Task
from farmops.errors import BadInput, NotYourRole, Refused, Stale, Unknown
from farmops.units import Quantity
from tests.conftest import place
from tests.factories.spraying import ENDED, PASSWORD, READINGS, REPORTED, SIGNED, STARTED, shield_document
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
LATER = SIGNED + HOUR


def amended(bench, job, *, by=None, reason="the end was written wrong", now=LATER, **changes):
    job = queries.job(bench.farm, job.pk)
    return amend_job(
        member=by or bench.applicator, job_id=job.pk, done=bench.done_values(job, **changes), reason=reason, now=now
    )


def again(bench, job, *, now=LATER + HOUR) -> SprayRecord:
    return bench.sign(queries.job(bench.farm, job.pk), now=now)


def entry(bench, at, block=0):
    return board.entry_answer(bench.blocks[block], activity=None, at=at, now=at)


def agrees(bench) -> list:
    return [fault for _, fault in proof.faults([bench.farm], {})]


def used(bench, product=None) -> Decimal:
    """Gallons drawn from the five on the shelf."""
    return 5 - shed.stock_of(bench.farm, (product or bench.product).pk).on_hand


def gal(floz: Decimal) -> Decimal:
    return (floz / 128).quantize(Decimal("0.000000001"), rounding=ROUND_HALF_UP)


class TestTheBoard:
    """Cases B15, B16, B23 of the decision table: later at once, earlier only with the new signature (project rule)."""

    def test_a_later_end_closes_at_once_and_stays_after_signing(self, bench):
        """B15: the end was 9:40, it was 11:15; the interval of 12 hours runs from there, before anybody signs again."""
        job = bench.signed().job
        end = ENDED + timedelta(minutes=25)
        amended(bench, job, ended_at=end)
        at = ENDED + 12 * HOUR + timedelta(minutes=1)  # open by what was signed first
        answer = entry(bench, at)
        assert answer.answer == "unknown"
        assert {b.code: b.until_at for b in answer.because} == {"unsigned": None, "entry_interval": end + 12 * HOUR}
        assert agrees(bench) == []
        again(bench, job)
        answer = entry(bench, at)
        assert (answer.answer, answer.opens_at) == ("no", end + 12 * HOUR)
        assert entry(bench, end + 12 * HOUR).answer == "yes"
        assert agrees(bench) == []

    def test_an_earlier_end_opens_nothing_before_it_is_signed(self, bench):
        """B16."""
        job = bench.signed().job
        end = ENDED - HOUR
        amended(bench, job, ended_at=end)
        at = end + 12 * HOUR
        assert entry(bench, at).answer == "unknown"
        assert Closure.rows.filter(kind="entry", lifted_at=None).get().ends_at == ENDED + 12 * HOUR
        again(bench, job)
        assert entry(bench, at).answer == "yes"
        assert entry(bench, at - timedelta(minutes=1)).opens_at == at
        assert agrees(bench) == []

    def test_another_product_with_a_longer_interval_counts_at_once(self, bench):
        """B23: what was in the tank was another product, with 48 hours."""
        long = bench.product_of("Demo Long", shield_document() | {"rei_hours": "48"})
        job = bench.signed().job
        acres = queries.job(bench.farm, job.pk).job_blocks.all()[0].planned_acres
        products = [
            {"product_id": bench.product.pk, "amount": "0", "unit": "floz"},
            {"product_id": long.pk, "amount": str(5 * acres), "unit": "floz"},
        ]
        amended(bench, job, products=products, reason="took the wrong jug")
        ends = sorted(Closure.rows.filter(kind="entry", lifted_at=None).values_list("ends_at", flat=True))
        assert ends == [ENDED + 12 * HOUR, ENDED + 48 * HOUR]
        record = again(bench, job)
        closure = Closure.rows.get(kind="entry", lifted_at=None)
        assert (closure.ends_at, closure.product_names) == (ENDED + 48 * HOUR, ["Demo Long"])
        assert (used(bench), used(bench, long)) == (0, gal(5 * acres))
        named = {p["name"]: p["amount"] for p in json.loads(record.body_text)["content"]["products"]}
        assert named == {"Demo Shield": "0", "Demo Long": f"{(5 * acres).normalize():f}"}
        assert agrees(bench) == []

    def test_the_wrong_block_is_taken_back_and_the_right_one_closed(self, bench):
        job = bench.signed().job
        acres = bench.blocks[1].planted_acres
        blocks = [
            {"block_id": bench.blocks[0].pk, "treated_acres": "0"},
            {"block_id": bench.blocks[1].pk, "treated_acres": str(acres)},
        ]
        amended(bench, job, blocks=blocks, reason="it was the next block")
        at = LATER + timedelta(minutes=1)
        assert (entry(bench, at).answer, entry(bench, at, 1).answer) == ("unknown", "unknown")
        again(bench, job)
        at = LATER + 2 * HOUR
        assert (entry(bench, at).answer, entry(bench, at, 1).answer) == ("yes", "no")
        assert agrees(bench) == []

    def test_two_people_who_say_different_ends_stay_disputed_and_the_later_counts(self, bench):
        """F14: use the later, restricted until resolved."""
        boss = place(bench.farm, "applicator", "Pia Holm", "pia")
        job = bench.sprayed(supervisor_id=boss.person_id)
        done = bench.done_values(queries.job(bench.farm, job.pk), ended_at=ENDED + timedelta(minutes=4))
        services.correct_finish(member=boss, job_id=job.pk, done=done, now=REPORTED)
        bench.sign(queries.job(bench.farm, job.pk))
        amended(bench, job, ended_at=ENDED - HOUR)
        row = Job.rows.get(pk=job.pk)
        assert (row.ended_at, row.disputed) == (ENDED + timedelta(minutes=4), True)
        assert Closure.rows.get(kind="unconfirmed", lifted_at=None).reason_code == "two_ends"

    def test_a_record_that_nothing_was_applied_is_corrected_to_what_was(self, bench):
        job = bench.assigned()
        bench.sign(job, meaning=Meaning.NOT_APPLIED, now=SIGNED)
        assert entry(bench, SIGNED).answer == "yes"
        with pytest.raises(BadInput) as error:
            amended(bench, job, reason="it was sprayed after all")
        assert list(error.value.errors) == ["readings"]
        done = bench.done_values(queries.job(bench.farm, job.pk))
        amend_job(member=bench.applicator, job_id=job.pk, done=done, readings=READINGS, reason="was sprayed", now=LATER)
        assert entry(bench, LATER).answer == "unknown"
        record = again(bench, job)
        assert (record.edition, record.meaning, entry(bench, LATER + HOUR).answer) == (2, "applied", "no")
        assert Job.rows.get(pk=job.pk).not_applied_at is None
        assert agrees(bench) == []

    def test_a_spray_that_never_was_is_taken_back_with_everything(self, bench):
        job = bench.signed().job
        bench.sign(queries.job(bench.farm, job.pk), meaning=Meaning.VOIDED, now=LATER)
        bench.sign(queries.job(bench.farm, job.pk), meaning=Meaning.NOT_APPLIED, now=LATER + HOUR)
        assert entry(bench, LATER + HOUR).answer == "yes"
        assert used(bench) == 0
        assert agrees(bench) == []


class TestTheSignature:
    def test_an_edit_after_signing_makes_it_unsigned_again(self, bench):
        """F12: signature void, unsigned again."""
        record = bench.signed()
        job = amended(bench, record.job)
        assert (job.state, job.signed_before["record"]) == ("sprayed", record.seq)
        assert SprayRecord.rows.get(pk=record.pk).body_text == record.body_text

    def test_what_is_read_back_is_what_is_signed_with_every_change(self, bench):
        first = bench.signed()
        end = ENDED + timedelta(minutes=25)
        job = amended(bench, first.job, ended_at=end, loads="4")
        body, body_hash, _ = shown(job, bench.applicator, Meaning.APPLIED)
        record = again(bench, first.job)
        signed = json.loads(record.body_text)
        assert signed["signature"]["shown_hash"] == body_hash
        assert signed["signature"]["reason"] == "the end was written wrong"
        assert signed["content"]["statement"] == (
            "This replaces the earlier record. I made this application as written above."
        )
        amends = signed["content"]["amends"]
        assert (amends["record"], amends["hash"], amends["signed_by"]) == (first.seq, first.hash, "Luis Mora")
        assert [(c["what"], c["subject"]) for c in amends["changes"]] == [
            ("ended_at", ""),
            ("loads", ""),
            ("entry", "N1 North 1"),
            ("harvest", "N1 North 1"),
        ]
        assert amends["changes"][1] | {"before": "3", "after": "4"} == amends["changes"][1]
        assert (record.edition, record.supersedes_id, record.seq) == (2, first.pk, 2)

    def test_the_reason_is_needed_and_nothing_changes_without(self, bench):
        record = bench.signed()
        for reason in ("", "  ", "oops"):
            with pytest.raises(BadInput) as error:
                amended(bench, record.job, reason=reason)
            assert list(error.value.errors) == ["reason"]
        assert Job.rows.get(pk=record.job_id).state == "signed"

    @pytest.mark.parametrize("typed", [{"password": "not-this-one"}, {"checked": False}])
    def test_the_correction_needs_password_and_box_like_the_first(self, bench, typed):
        job = bench.signed().job
        amended(bench, job)
        with pytest.raises(BadInput):
            bench.sign(queries.job(bench.farm, job.pk), now=LATER, **typed)
        assert SprayRecord.rows.count() == 1

    def test_the_read_back_of_the_first_signature_does_not_sign_the_second(self, bench):
        job = bench.sprayed()
        _, old, _ = shown(job, bench.applicator, Meaning.APPLIED)
        bench.sign(job)
        amended(bench, job)
        with pytest.raises(Stale):
            bench.sign(queries.job(bench.farm, job.pk), now=LATER, body_hash=old)

    @pytest.mark.parametrize("who", ["manager", "staff"])
    def test_a_manager_can_ask_and_never_correct_or_withdraw(self, bench, cast, who):
        """F11: a manager tries to sign as the applicator: refused."""
        record = bench.signed()
        with pytest.raises(NotYourRole, match="This needs one of: applicator"):
            amended(bench, record.job, by=cast.by_role(who))
        with pytest.raises(NotYourRole):
            services.void_signature(
                member=cast.by_role(who), job_id=record.job_id, password=PASSWORD, checked=True, body_hash="x",
                reason="good reason", now=LATER,
            )  # fmt: skip
        assert Job.rows.get(pk=record.job_id).state == "signed"

    def test_a_helper_who_may_not_sign_does_not_correct_either(self, bench):
        record = bench.signed()
        helper = place(bench.farm, "applicator", "Pia Holm", "pia")
        Job.rows.filter(pk=record.job_id).update(
            supervisor_id=bench.applicator.person_id, applicator_id=helper.person_id
        )
        with pytest.raises(NotYourRole, match="Only the applicator who did or supervised this spray can sign it"):
            amended(bench, record.job, by=helper)

    def test_it_can_be_corrected_again_and_each_edition_points_to_the_one_before(self, bench):
        job = bench.signed().job
        for n in (1, 2, 3):
            amended(bench, job, loads=str(3 + n), now=LATER + n * HOUR)
            again(bench, job, now=LATER + n * HOUR)
        found = list(amending.editions(job).values_list("edition", "supersedes__edition"))
        assert found == [(1, None), (2, 1), (3, 2), (4, 3)]
        assert [r.edition for r in amending.standing(bench.farm)] == [4]
        assert agrees(bench) == []

    def test_nothing_signed_is_not_corrected(self, bench):
        job = bench.sprayed()
        with pytest.raises(Refused) as error:
            amended(bench, job)
        assert [f.code for f in error.value.findings] == ["wrong_state"]

    def test_what_cannot_be_is_refused_and_the_block_stays_as_it_was(self, bench):
        """B20: end before start, or in the future: reject."""
        job = bench.signed().job
        before = Closure.rows.count()
        for end in (STARTED - HOUR, LATER + 5 * HOUR):
            with pytest.raises(BadInput) as error:
                amended(bench, job, ended_at=end)
            assert list(error.value.errors) == ["ended_at"]
        assert (Job.rows.get(pk=job.pk).state, Closure.rows.count()) == ("signed", before)


class TestWithdrawn:
    def test_a_withdrawn_signature_is_unsigned_not_gone(self, bench):
        first = bench.signed()
        record = bench.sign(queries.job(bench.farm, first.job_id), meaning=Meaning.VOIDED, now=LATER)
        assert (record.seq, record.edition, record.meaning, record.supersedes_id) == (2, 2, "voided", first.pk)
        voids = json.loads(record.body_text)["content"]["voids"]
        assert (voids["record"], voids["hash"]) == (first.seq, first.hash)
        assert Job.rows.get(pk=first.job_id).state == "sprayed"
        at = ENDED + 400 * HOUR
        assert (entry(bench, at).answer, entry(bench, at).because[0].code) == ("unknown", "unsigned")
        assert agrees(bench) == []
        assert again(bench, first.job).edition == 3
        assert entry(bench, at).answer == "yes"
        assert agrees(bench) == []

    def test_it_goes_on_counting_in_season_totals(self, bench):
        acres = bench.blocks[0].planted_acres
        done = {
            "products": [{"product_id": bench.product.pk, "amount": str(6 * acres), "unit": "floz"}],
            "deviation_reason": "ran slower than planned",
        }
        first = bench.sign(bench.sprayed(done=done))
        signed = rates(bench)
        assert signed == [("Demo Shield", 6)]
        bench.sign(queries.job(bench.farm, first.job_id), meaning=Meaning.VOIDED, now=LATER)
        assert rates(bench) == signed


def rates(bench) -> list[tuple[str, Decimal]]:
    found = events_on(bench.farm, [bench.blocks[0].pk], labels=Labels())
    return [(ln.name, ln.rate.quantity.amount) for e in found.get(bench.blocks[0].pk, ()) for ln in e.lines]


class TestTotalsAndShed:
    def test_less_counts_only_once_it_is_signed_and_more_at_once(self, bench):
        job = bench.signed().job
        acres = queries.job(bench.farm, job.pk).job_blocks.all()[0].planned_acres
        for each, before, after in ((6, 6, 6), (4, 6, 4)):
            products = [{"product_id": bench.product.pk, "amount": str(each * acres), "unit": "floz"}]
            amended(bench, job, products=products)
            assert rates(bench) == [("Demo Shield", before)]
            again(bench, job)
            assert rates(bench) == [("Demo Shield", after)]
            assert used(bench) == gal(each * acres)
            assert agrees(bench) == []

    def test_the_ledger_gets_the_difference_and_keeps_every_line(self, bench):
        job = bench.signed().job
        kept = list(LedgerLine.rows.order_by("id").values())
        acres = queries.job(bench.farm, job.pk).job_blocks.all()[0].planned_acres
        amended(bench, job, products=[{"product_id": bench.product.pk, "amount": str(4 * acres), "unit": "floz"}])
        again(bench, job)
        lines = list(LedgerLine.rows.order_by("id").values())
        assert lines[: len(kept)] == kept
        added = [(r["kind"], r["on_hand_change"], r["source_id"], r["reason"]) for r in lines[len(kept) :]]
        drawn = -sum(r["on_hand_change"] for r in kept if r["kind"] == "draw")
        assert added == [("adjust", drawn - gal(4 * acres), str(job.pk), "job 1 was corrected")]

    def test_the_same_amount_writes_no_line(self, bench):
        job = bench.signed().job
        before = LedgerLine.rows.count()
        amended(bench, job, loads="4")
        again(bench, job)
        assert LedgerLine.rows.count() == before

    def test_more_than_the_shed_holds_is_refused_and_nothing_is_half_written(self, bench):
        job = bench.signed().job
        acres = queries.job(bench.farm, job.pk).job_blocks.all()[0].planned_acres
        lot = shed.lots(bench.farm).get(product=bench.product)
        counted = Quantity(Decimal("1"), "floz")
        shed_services.count(member=bench.manager, lot_id=lot.pk, counted=counted, reason="counted", now=LATER)
        amended(bench, job, products=[{"product_id": bench.product.pk, "amount": str(6 * acres), "unit": "floz"}])
        with pytest.raises(Refused) as error:
            again(bench, job)
        assert [f.code for f in error.value.findings] == ["stock_short"]
        assert (SprayRecord.rows.count(), Job.rows.get(pk=job.pk).state) == (1, "sprayed")
        assert entry(bench, LATER).answer == "unknown"

    def test_a_block_that_turns_out_untreated_counts_until_that_is_signed(self, bench):
        job = bench.sprayed(blocks=[{"block_id": b.pk} for b in bench.blocks])
        bench.sign(job)
        acres = bench.blocks[1].planted_acres
        amended(
            bench,
            job,
            blocks=[
                {"block_id": bench.blocks[0].pk, "treated_acres": "0"},
                {"block_id": bench.blocks[1].pk, "treated_acres": str(acres)},
            ],
            products=[{"product_id": bench.product.pk, "amount": str(5 * acres), "unit": "floz"}],
        )
        assert len(rates(bench)) == 1
        again(bench, job)
        assert rates(bench) == []


class TestPeople:
    def told(self, bench, kind="job_reopened") -> set[tuple[str, bool]]:
        return set(Notice.rows.filter(kind=kind).values_list("person__username", "urgent"))

    def test_managers_hear_of_it_and_of_the_new_signature(self, bench):
        job = bench.signed().job
        amended(bench, job)
        assert self.told(bench) == {("ines", False)}
        again(bench, job)
        words = Notice.rows.get(kind="job_signed", occasion="edition 2").template
        assert "corrected and signed again" in words

    def test_whoever_is_planned_in_hears_that_it_stays_closed_longer(self, bench, cast):
        job = bench.signed().job
        opens = ENDED + 12 * HOUR
        TaskFactory(farm=bench.farm, block=bench.blocks[0], assigned_to_id=cast.staff.person_id, starts_at=opens)
        amended(bench, job, ended_at=ENDED + timedelta(minutes=25))
        assert self.told(bench) == {("ines", True), ("ana", True)}

    def test_a_worker_who_went_in_between_is_named_and_the_entry_stays(self, bench, cast):
        """B17: raise a possible exposure, delete nothing (40 CFR 170.309(f))."""
        job = bench.signed().job
        inside = ENDED + 12 * HOUR + timedelta(minutes=5)
        task = TaskFactory(
            farm=bench.farm, block=bench.blocks[0], assigned_to_id=cast.staff.person_id, starts_at=inside,
            state="started", started_at=inside,
        )  # fmt: skip
        kept = Task.rows.filter(pk=task.pk).values().get()
        amended(bench, job, ended_at=ENDED + timedelta(minutes=25), now=inside + timedelta(minutes=5))
        notice = Notice.rows.get(occasion=f"version {job.version + 1} task {task.pk}")
        assert (notice.person_id, notice.urgent) == (bench.manager.person_id, True)
        assert notice.numbers["person"] == "Ana Ruiz"
        assert Task.rows.filter(pk=task.pk).values().get() == kept

    def test_who_went_in_after_the_corrected_time_is_not_alarmed(self, bench, cast):
        job = bench.signed().job
        inside = ENDED + 13 * HOUR
        TaskFactory(
            farm=bench.farm, block=bench.blocks[0], assigned_to_id=cast.staff.person_id, starts_at=inside,
            state="started", started_at=inside,
        )  # fmt: skip
        amended(bench, job, ended_at=ENDED + timedelta(minutes=25), now=inside + timedelta(minutes=5))
        assert not Notice.rows.filter(occasion__contains="task").exists()


class TestAsking:
    def test_a_managers_request_tells_the_applicator_and_changes_nothing(self, bench):
        """B16: until the applicator signs again, the block stays as it is."""
        record = bench.signed()
        closures = list(Closure.rows.order_by("id").values())
        row = ask_correction(member=bench.manager, job_id=record.job_id, words="it ended at 8:40", now=LATER)
        assert (row.state, Job.rows.get(pk=record.job_id).state) == ("open", "signed")
        assert list(Closure.rows.order_by("id").values()) == closures
        assert Notice.rows.get(kind="correction_asked").person_id == bench.applicator.person_id

    def test_the_new_signature_answers_it(self, bench):
        record = bench.signed()
        row = ask_correction(member=bench.manager, job_id=record.job_id, words="it ended at 8:40", now=LATER)
        amended(bench, record.job)
        assert CorrectionRequest.rows.get(pk=row.pk).state == "open"
        again(bench, record.job)
        found = CorrectionRequest.rows.get(pk=row.pk)
        assert (found.state, found.answer, found.answered_by_id) == ("done", "record 2", bench.applicator.person_id)

    def test_the_applicator_may_decline_with_a_reason_and_once(self, bench):
        record = bench.signed()
        row = ask_correction(member=bench.manager, job_id=record.job_id, words="it ended at 8:40", now=LATER)
        act = {"member": bench.applicator, "request_id": row.pk, "now": LATER}
        with pytest.raises(BadInput):
            decline_correction(**act, reason="no")
        assert decline_correction(**act, reason="it ended as written").state == "declined"
        assert Notice.rows.get(kind="correction_answered").person_id == bench.manager.person_id
        with pytest.raises(Refused) as error:
            decline_correction(**act, reason="it ended as written")
        assert [f.code for f in error.value.findings] == ["request_answered"]

    def test_only_a_manager_asks_and_only_whoever_signs_answers(self, bench, cast):
        record = bench.signed()
        with pytest.raises(NotYourRole):
            ask_correction(member=cast.applicator, job_id=record.job_id, words="please correct", now=LATER)
        row = ask_correction(member=bench.manager, job_id=record.job_id, words="it ended at 8:40", now=LATER)
        other = place(bench.farm, "applicator", "Pia Holm", "pia")
        with pytest.raises(NotYourRole):
            decline_correction(member=other, request_id=row.pk, reason="not mine at all", now=LATER)
        with pytest.raises(Unknown):
            ask_correction(member=cast.neighbour, job_id=record.job_id, words="please correct", now=LATER)

    def test_an_owner_who_holds_both_roles_but_did_not_spray_can_only_ask(self, bench):
        record = bench.signed()
        both = place(bench.farm, "applicator", "Pia Holm", "pia")
        Membership.rows.filter(pk=both.id).update(is_manager=True)
        with pytest.raises(NotYourRole, match="Only the person named on the job can do this: Luis Mora"):
            amended(bench, record.job, by=both)
