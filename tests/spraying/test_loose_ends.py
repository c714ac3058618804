"""The farm's own choice of record rules, what is late or missing, and reminders that grow louder."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.audit.models import AuditEvent
from apps.spraying import queries
from apps.spraying.amending.services import amend_job, ask_correction
from apps.spraying.models import FarmRecordRule, Job, SprayRecord
from apps.spraying.records.due import due
from apps.spraying.records.queries import choices, notes, open_ends, record_ends, rules_of, standings_of
from apps.spraying.records.services import add_rule, edit_rule, explain_record, use_rule
from apps.spraying.rules.record import Meaning
from farmops.errors import BadInput, NotYourRole, Stale, Unknown
from tests.factories.land import BlockFactory
from tests.factories.spraying import ENDED, NOW, SIGNED, WINDOW, plot_of

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
OWN = {
    "code": "buyer",
    "name": "Record for the buyer",
    "jurisdiction": "buyer",
    "source": "contract of 2026",
    "elements": ["target", "wind"],
    "due_by": "days_after",
    "due": 2,
}


@pytest.fixture
def bench(bench):
    """The bench, with the registration number on its product: its records lack nothing the display asks for."""
    bench.product.registration_number = "99999-1"
    bench.product.save(update_fields=["registration_number"])
    return bench


def ends(found) -> list[tuple[str, int]]:
    return [(e.end, e.job.number) for e in found]


class TestChoosing:
    def test_a_farm_begins_with_the_countrys_rules_and_its_states(self, cast):
        assert [r.jurisdiction for r in rules_of(cast.farm)] == ["US"] * 3
        cast.farm.jurisdiction = "US-CA"
        assert {r.jurisdiction for r in rules_of(cast.farm)} == {"US", "CA"}

    def test_the_farm_picks_and_leaves(self, cast):
        use_rule(member=cast.manager, code="wa_all", in_use=True, now=NOW)
        use_rule(member=cast.manager, code="us_worker_display", in_use=False, now=NOW)
        codes = {r.code for r in rules_of(cast.farm)}
        assert ("wa_all" in codes, "us_worker_display" in codes) == (True, False)
        row = use_rule(member=cast.manager, code="wa_all", in_use=False, now=NOW)
        assert (row.version, FarmRecordRule.rows.count()) == (2, 2)
        assert AuditEvent.objects.filter(subject_type="spraying.farmrecordrule").count() == 3
        with pytest.raises(Unknown):
            use_rule(member=cast.manager, code="nowhere", in_use=True, now=NOW)

    def test_the_farm_adds_and_changes_its_own(self, cast):
        row = add_rule(member=cast.manager, values=OWN, now=NOW)
        assert [c.rule.name for c in choices(cast.farm) if c.own] == ["Record for the buyer"]
        changed = edit_rule(
            member=cast.manager,
            code="buyer",
            expected_version=row.version,
            changes={"valid_to": date(2026, 6, 1)},
            now=NOW,
        )
        assert changed.body["valid_to"] == "2026-06-01"
        with pytest.raises(Stale):
            edit_rule(member=cast.manager, code="buyer", expected_version=1, changes={"due": 3}, now=NOW)
        with pytest.raises(Unknown):
            edit_rule(member=cast.manager, code="wa_all", expected_version=1, changes={"due": 3}, now=NOW)

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"code": "Buyer!"}, "code"),
            ({"code": "wa_all"}, "code"),
            ({"name": ""}, "name"),
            ({"source": " "}, "source"),
            ({"elements": []}, "elements"),
            ({"elements": ["shoe_size"]}, "elements"),
            ({"due": None}, "due"),
            ({"due_by": "day_of_next_month", "due": 31}, "due"),
            ({"due_by": "none"}, "due_by"),
            ({"keep_years": 1000}, "keep_years"),
            ({"valid_from": date(2026, 6, 1), "valid_to": date(2026, 6, 1)}, "valid_to"),
        ],
        ids=lambda v: str(v),
    )
    def test_a_rule_that_cannot_be_is_named_at_its_field(self, cast, changes, field):
        with pytest.raises(BadInput) as error:
            add_rule(member=cast.manager, values={**OWN, **changes}, now=NOW)
        assert list(error.value.errors) == [field]
        assert FarmRecordRule.rows.count() == 0

    @pytest.mark.parametrize("who", ["applicator", "staff"])
    def test_only_a_manager_chooses(self, cast, who):
        member = cast.by_role(who)
        with pytest.raises(NotYourRole):
            use_rule(member=member, code="wa_all", in_use=True, now=NOW)
        with pytest.raises(NotYourRole):
            add_rule(member=member, values=OWN, now=NOW)


class TestMissing:
    def test_a_job_is_on_the_list_until_it_is_signed(self, bench):
        job = bench.assigned()
        assert ends(open_ends(bench.farm, WINDOW[1] - HOUR)) == []
        (end,) = open_ends(bench.farm, WINDOW[1])
        assert (end.end, end.due_at, end.rule.code) == ("unreported", WINDOW[1] + DAY, "us_worker_display")
        bench.sign(job, meaning=Meaning.NOT_APPLIED, now=WINDOW[1] + HOUR)
        assert open_ends(bench.farm, WINDOW[1] + DAY) == []

    def test_sprayed_and_not_signed_is_due_from_its_real_end(self, bench):
        job = bench.sprayed()
        (end,) = open_ends(bench.farm, SIGNED)
        assert (end.end, end.due_at) == ("unsigned", ENDED + DAY)
        bench.sign(job)
        assert open_ends(bench.farm, SIGNED) == []

    def test_a_record_being_corrected_is_on_it_again(self, bench):
        job = bench.signed().job
        done = bench.done_values(queries.job(bench.farm, job.pk), loads="4")
        amend_job(member=bench.applicator, job_id=job.pk, done=done, reason="miscounted", now=SIGNED + HOUR)
        assert ends(open_ends(bench.farm, SIGNED + HOUR)) == [("open_again", 1)]
        assert record_ends(bench.farm, SIGNED + HOUR) == []

    def test_the_number_of_queries_does_not_grow_with_the_list(self, bench):
        bench.sprayed()
        with CaptureQueriesContext(connection) as one:
            open_ends(bench.farm, SIGNED)
        bench.sprayed(blocks=[{"block_id": bench.blocks[1].pk}])
        with CaptureQueriesContext(connection) as two:
            assert len(open_ends(bench.farm, SIGNED)) == 2
        assert len(two) == len(one)


class TestLateAndBlank:
    def test_signed_in_time_with_a_target_lacks_nothing_but_what_is_asked(self, bench):
        bench.sign(bench.sprayed(targets=["powdery_mildew"]))
        assert record_ends(bench.farm, SIGNED) == []

    def test_signed_after_its_time_stays_late_until_somebody_says_why(self, bench, cast):
        record = bench.sign(bench.sprayed(), now=ENDED + DAY)
        assert ends(record_ends(bench.farm, ENDED + DAY)) == [("late", 1)]
        with pytest.raises(BadInput):
            explain_record(member=bench.manager, seq=record.seq, words="no", now=ENDED + DAY)
        explain_record(member=bench.manager, seq=record.seq, words="the phone was lost", now=ENDED + DAY)
        assert record_ends(bench.farm, ENDED + DAY) == []
        assert [n.words for n in notes(record)] == ["the phone was lost"]
        assert SprayRecord.rows.get(pk=record.pk).body_text == record.body_text
        with pytest.raises(NotYourRole):
            explain_record(member=cast.staff, seq=record.seq, words="I was not there", now=ENDED + DAY)

    def test_a_blank_leaves_the_list_when_the_rule_no_longer_asks(self, bench):
        add_rule(member=bench.manager, values=OWN, now=NOW)
        bench.signed()
        (end,) = record_ends(bench.farm, SIGNED)
        missing = [e for s in end.standings for e in s.missing]
        assert (end.end, end.rule.code, missing) == ("blanks", "buyer", ["target"])
        use_rule(member=bench.manager, code="buyer", in_use=False, now=SIGNED)
        assert record_ends(bench.farm, SIGNED) == []

    def test_a_correction_makes_nothing_late(self, bench):
        job = bench.signed().job
        later = ENDED + 3 * DAY
        done = bench.done_values(queries.job(bench.farm, job.pk), loads="4")
        amend_job(member=bench.applicator, job_id=job.pk, done=done, reason="miscounted", now=later)
        record = bench.sign(queries.job(bench.farm, job.pk), now=later)
        assert record_ends(bench.farm, later) == []
        assert [s.late for s in standings_of(record) if s.rule.code == "us_worker_display"] == [False]


class TestReminders:
    def said(self, bench, at) -> list[tuple[str, list[int], bool]]:
        return [(d.kind, list(d.person_ids), d.urgent) for d in due(bench.farm, at)]

    def test_they_grow_louder_and_end_with_the_signature(self, bench):
        """Due 24 hours after the end (40 CFR 170.311): the signer, then the managers too, then urgently, weekly."""
        job = bench.sprayed()
        mine, both = [bench.applicator.person_id], sorted([bench.applicator.person_id, bench.manager.person_id])
        limit = ENDED + DAY
        assert self.said(bench, limit - 13 * HOUR) == []
        assert self.said(bench, limit - 12 * HOUR) == [("record_due", mine, False)]
        assert self.said(bench, limit) == [("record_overdue", both, False)]
        assert self.said(bench, limit + DAY) == [("record_overdue", both, True)]
        occasions = {d.occasion for n in range(0, 22 * 24, 12) for d in due(bench.farm, limit + n * HOUR)}
        assert len(occasions) == 1 + 1 + 3  # over; then the weeks 0, 1, 2 and what follows them
        bench.sign(job, now=limit)
        assert self.said(bench, limit + DAY) == []

    def test_a_record_opened_again_is_a_new_occasion(self, bench):
        job = bench.sprayed()
        first = {d.occasion for d in due(bench.farm, ENDED + DAY)}
        bench.sign(job)
        done = bench.done_values(queries.job(bench.farm, job.pk), loads="4")
        amend_job(member=bench.applicator, job_id=job.pk, done=done, reason="miscounted", now=SIGNED + HOUR)
        again = {d.occasion for d in due(bench.farm, ENDED + DAY)}
        assert (len(first), len(again), first & again) == (1, 1, set())

    def test_a_request_nobody_answers_is_brought_up_every_two_days(self, bench):
        record = bench.signed()
        ask_correction(member=bench.manager, job_id=record.job_id, words="it ended at 8:40", now=SIGNED)
        assert self.said(bench, SIGNED + DAY) == []
        assert self.said(bench, SIGNED + 2 * DAY) == [("correction_waits", [bench.applicator.person_id], False)]
        keys = {d.key for n in range(2, 7) for d in due(bench.farm, SIGNED + n * DAY)}
        assert len(keys) == 3


class TestDoors:
    def test_the_list_over_http_shrinks(self, api, bench):
        record = bench.sign(bench.sprayed(), now=ENDED + DAY)
        client = api(bench.manager)
        address = f"/api/v1/farms/{bench.farm.slug}"
        (row,) = client.get(f"{address}/loose-ends/").json()
        assert (row["end"], row["record"], row["rule"], row["name"]) == (
            "late",
            record.seq,
            "us_worker_display",
            "signed after its time",
        )
        stands = client.get(f"{address}/records/{record.seq}/rules/").json()
        assert [(s["rule"], s["late"], s["elsewhere"]) for s in stands] == [
            ("us_worker_display", True, ["safety_sheet"])
        ]
        said = client.post(f"{address}/records/{record.seq}/notes/", {"words": "the phone was lost"}, format="json")
        assert (said.status_code, said.json()["by"]) == (201, "Ines Prado")
        assert client.get(f"{address}/loose-ends/").json() == []
        kept = client.get(f"{address}/records/{record.seq}/notes/").json()
        assert [n["words"] for n in kept] == ["the phone was lost"]

    def test_rules_over_http(self, api, bench):
        client, address = api(bench.manager), f"/api/v1/farms/{bench.farm.slug}/record-rules/"
        assert client.post(address, OWN, format="json").json()["status"] == "own"
        used = [r["code"] for r in client.get(address).json() if r["in_use"]]
        assert used == ["us_restricted_private", "us_worker_display", "us_restricted_commercial", "buyer"]
        left = client.post(f"{address}us_worker_display/", {"in_use": False}, format="json").json()
        assert (left["code"], left["in_use"], left["version"]) == ("us_worker_display", False, 1)
        edited = client.patch(f"{address}buyer/", {"due": 5}, format="json", headers={"If-Match": "1"}).json()
        assert (edited["due"], edited["version"]) == (5, 2)
        assert api(bench.applicator).post(address, OWN, format="json").status_code == 403

    def test_the_pages_say_the_same(self, browser_client, bench):
        record = bench.sign(bench.sprayed(), now=ENDED + DAY)
        client, place = browser_client(bench.manager), f"/f/{bench.farm.slug}/records"
        page = client.get(f"{place}/missing/").content.decode()
        assert "1 thing is open." in page
        assert "signed after its time" in page
        client.post(f"{place}/{record.seq}/rules/", {"words": "the phone was lost", "once_key": "a" * 32})
        assert "Nothing is late and nothing is missing." in client.get(f"{place}/missing/").content.decode()
        assert "the phone was lost" in client.get(f"{place}/{record.seq}/rules/").content.decode()

    def test_a_press_chooses_a_rule_and_the_form_adds_one(self, browser_client, bench):
        client, place = browser_client(bench.manager), f"/f/{bench.farm.slug}/records/rules/"
        client.post(place, {"code": "wa_all", "in_use": "yes", "once_key": "b" * 32})
        typed = {**OWN, "asks": "record", "products": "all", "applicators": "any", "keep_from": "application"}
        bad = client.post(place + "new/", {**typed, "due": "", "once_key": "c" * 32})
        assert "Between 1 and 366." in bad.content.decode()
        client.post(place + "new/", {**typed, "once_key": "d" * 32}, follow=True)
        assert {"wa_all", "buyer"} <= {r.code for r in rules_of(bench.farm)}
        assert "Record for the buyer" in client.get(place).content.decode()


def test_jobs_long_unreported_stay_on_the_list(bench):
    block = BlockFactory(farm=bench.farm, code="Z9", polygon=plot_of(9))
    bench.assigned()
    assert ends(open_ends(bench.farm, NOW + 90 * DAY)) == [("unreported", 1)]
    assert Job.rows.filter(job_blocks__block=block).count() == 0
