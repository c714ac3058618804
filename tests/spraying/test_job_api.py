"""Jobs over HTTP: shapes, filters, versions, keys, times, and what a stranger sees."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine

from apps.spraying.models import Job, JobStep, SprayRecord
from tests.factories.land import BlockFactory, square
from tests.factories.spraying import ENDED, NOW, PASSWORD, READINGS, REPORTED, SIGNED, STARTED, WINDOW, line

pytestmark = pytest.mark.django_db
BASE = "/api/v1/farms/alder-bend"
JOBS = f"{BASE}/jobs/"


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def client(api, bench, clock):
    """The manager's client; ``client.at(who)`` gives another's."""
    made = api(bench.manager)
    made.of = api
    return made


def body_of(bench, **changes) -> dict:
    return {
        "blocks": [{"block_id": bench.blocks[0].pk}],
        "products": [line(bench.product)],
        "sprayer_id": bench.sprayer.pk,
        "applicator_id": bench.applicator.person_id,
        "window_starts_at": "2026-07-06T08:00",
        "window_ends_at": "2026-07-06T11:00-05:00",
        **changes,
    }


def post(client, address, body, **headers):
    return client.post(address, body, format="json", headers=headers)


class TestPlan:
    def test_a_planned_job_in_full(self, bench, client):
        answer = post(client, JOBS, body_of(bench, notes="north side first"))
        job = answer.json()
        assert (answer.status_code, answer["ETag"]) == (201, '"v1"')
        acres = str(bench.blocks[0].planted_acres)
        assert job["blocks"] == [
            {
                "block_id": bench.blocks[0].pk,
                "block": "N1 North 1",
                "zone": "",
                "site_code": "winter_squash",
                "crop": "Winter squash",
                "planned_acres": acres,
                "treated_acres": None,
                "part": None,
                "part_note": "",
            }
        ]
        assert job["products"] == [
            {
                "product_id": bench.product.pk,
                "product": "Demo Shield",
                "label_version": None,
                "rate_amount": "5.0000",
                "rate_unit": "floz",
                "rate_basis": "per_acre",
                "actual_amount": None,
                "actual_unit": "",
            }
        ]
        plain = {k: job[k] for k in ("number", "state", "spray_gpa", "applicator", "notes", "open_steps")}
        assert plain == {
            "number": 1,
            "state": "draft",
            "spray_gpa": "30.000",
            "applicator": "Luis Mora",
            "notes": "north side first",
            "open_steps": ["edit", "assign", "call_off"],
        }
        assert (job["window_starts_at"], job["window_ends_at"]) == ("2026-07-06T13:00:00Z", "2026-07-06T16:00:00Z")
        assert [b["block"] for b in job["findings"]] == ["N1 North 1"]

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"window_starts_at": "2026-11-01T01:30"}, "window_starts_at"),  # happens twice in Chicago
            ({"window_starts_at": "2027-03-14T02:30"}, "window_starts_at"),  # the clocks skip it
            ({"window_starts_at": "tomorrow"}, "window_starts_at"),
            ({"sprayer_id": None}, "sprayer_id"),
            ({"blocks": [{"block_id": "x"}]}, "blocks.0.block_id"),
            ({"products": [{"product_id": 1, "rate_amount": [], "rate_unit": "pt"}]}, "products.0.rate_amount"),
            ({"products": [{"product_id": 1, "rate_amount": "1", "rate_unit": "cup"}]}, "products.0.rate_unit"),
        ],
        ids=[
            "ambiguous hour",
            "skipped hour",
            "no time",
            "no sprayer",
            "block in words",
            "rate a list",
            "unknown unit",
        ],
    )
    def test_bad_input_names_the_field(self, bench, client, change, field):
        answer = post(client, JOBS, body_of(bench, **change))
        assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
        assert list(answer.json()["errors"]) == [field]
        assert Job.rows.count() == 0

    def test_the_same_request_twice_plans_once(self, bench, client):
        key = {"Idempotency-Key": "plan-north-1"}
        first, second = (post(client, JOBS, body_of(bench), **key) for _ in range(2))
        assert (first.json(), second["Idempotent-Replay"], Job.rows.count()) == (second.json(), "true", 1)

    def test_an_edit_needs_the_version_that_was_read(self, bench, client):
        job = bench.planned()
        address = f"{JOBS}{job.pk}/"
        assert client.patch(address, {"notes": "x"}, format="json").status_code == 428
        assert client.patch(address, {"notes": "x"}, format="json", headers={"If-Match": '"v4"'}).status_code == 412
        saved = client.patch(address, {"notes": "x"}, format="json", headers={"If-Match": '"v1"'})
        assert (saved.status_code, saved.json()["notes"], saved["ETag"]) == (200, "x", '"v2"')


class TestReading:
    def test_lists_are_narrowed_by_state_block_and_person(self, bench, client):
        bench.planned()
        second = bench.assigned(blocks=[{"block_id": bench.blocks[1].pk}])

        def numbers(query: str) -> list[int]:
            return [j["number"] for j in client.get(JOBS + query).json()["results"]]

        assert numbers("") == [2, 1]
        assert numbers("?state=assigned") == [2]
        assert numbers("?state=assigned&state=draft") == [2, 1]
        assert numbers(f"?block_id={bench.blocks[0].pk}") == [1]
        assert numbers(f"?applicator_id={bench.applicator.person_id}") == [2, 1]
        assert numbers("?mine=true") == []
        assert numbers(f"?product_id={bench.product.pk}&number={second.number}") == [2]
        wrong = client.get(JOBS + "?stat=draft")
        assert (wrong.status_code, list(wrong.json()["errors"])) == (400, ["stat"])

    def test_the_check_says_all_and_writes_nothing(self, bench, client):
        job = bench.planned(products=[line(bench.product, "9")], applicator_id=None)
        found = client.get(f"{JOBS}{job.pk}/check/").json()
        assert (found["refused"], [f["code"] for f in found["job_findings"]]) == (True, ["applicator_missing"])
        first = found["blocks"][0]["findings"][0]
        assert (first["code"], first["severity"], first["numbers"]["rate"]) == ("rate_high", "refuse", "9 fl oz/acre")
        assert first["source"].startswith("label of Demo Shield, label version 1")
        assert Job.rows.get().version == 1

    def test_the_mix_is_the_sprayer_arithmetic(self, bench, client):
        """10 acres at 30 gal are 300 gal: three full tanks of 100 gal, 50 fl oz of product in all."""
        block = bench.blocks[0]
        block.planted_acres = Decimal("10")
        block.mapped_acres = Decimal("10")
        block.save()
        mix = client.get(f"{JOBS}{bench.planned().pk}/mix/").json()
        assert mix == {
            "acres": "10.0000",
            "spray_gpa": "30.000",
            "loads": 3,
            "full_load_gal": "100",
            "last_load_gal": "100",
            "total_gal": "300",
            "products": [
                {
                    "product_id": bench.product.pk,
                    "product": "Demo Shield",
                    "per_full_load": "16.666 fl oz",
                    "last_load": "16.666 fl oz",
                    "total": "50 fl oz",
                }
            ],
        }

    def test_the_zone_around_the_job_and_the_blocks_in_it(self, bench, client):
        """Medium droplets released 20 inches up: 25 ft (40 CFR 170.405(a)); unknown droplets: the widest, 100 ft."""
        west, south = bench.blocks[0].polygon["coordinates"][0][0]
        # 0.0001 degree of longitude at 40.2 N is about 28 ft.
        near = BlockFactory(farm=bench.farm, code="Z1", name="Next door", polygon=square(west + 0.00205, south))
        BlockFactory(farm=bench.farm, code="Z2", polygon=square(west - 0.0023, south))
        address = f"{JOBS}{bench.planned().pk}/surroundings/"
        found = client.get(address).json()
        assert (found["zone_ft"], found["blocks"]) == ("25.0", [{"block_id": near.pk, "block": "Z1 Next door"}])
        bench.sprayer.droplet_class = ""
        bench.sprayer.save()
        wide = client.get(address).json()
        assert (wide["zone_ft"], [b["block"][:2] for b in wide["blocks"]]) == ("100.0", ["Z1", "Z2"])

    def test_the_steps_tell_who_did_what_when(self, bench, client):
        job = bench.spraying()
        steps = client.get(f"{JOBS}{job.pk}/steps/").json()
        assert [(s["step"], s["by"], s["happened_at"]) for s in steps] == [
            ("plan", "Ines Prado", None),
            ("assign", "Ines Prado", None),
            ("start", "Luis Mora", "2026-07-06T13:10:00Z"),
        ]
        assert steps[2]["details"]["readings"]["wind_mph"] == "5"

    @pytest.mark.parametrize(
        "path",
        ["", "check/", "mix/", "steps/", "read-back/"],
    )
    def test_another_farms_job_is_not_there(self, bench, cast, api, clock, path):
        job = bench.sprayed()
        assert api(cast.neighbour).get(f"/api/v1/farms/far-side/jobs/{job.pk}/{path}").status_code in (403, 404)
        assert api(cast.outsider).get(f"{JOBS}{job.pk}/{path}").status_code == 404


class TestSteps:
    def test_refusals_come_with_every_finding(self, bench, client):
        job = bench.planned(products=[line(bench.product, "9")])
        answer = post(client, f"{JOBS}{job.pk}/assign/", {"reason": "please"})
        problem = answer.json()
        assert (answer.status_code, problem["title"]) == (409, "Refused")
        assert [f["code"] for f in problem["findings"]] == ["rate_high", "data_missing_wind"]
        assert problem["findings"][0]["field"] == "rate"
        assert Job.rows.get().state == "draft"

    def test_a_step_on_an_older_version_is_refused(self, bench, client):
        job = bench.planned()
        answer = post(client, f"{JOBS}{job.pk}/assign/", {"reason": "good reason", "version": 9})
        assert (answer.status_code, answer.json()["title"]) == (412, "Changed meanwhile")

    def test_each_wrong_role_is_told_who_may(self, bench, cast, api, clock):
        job = bench.assigned()
        answer = post(api(cast.staff), f"{JOBS}{job.pk}/start/", READINGS)
        assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: applicator.")

    def test_farm_local_times_of_the_finish(self, bench, api, clock):
        job = bench.spraying()
        clock.move_to(REPORTED)
        body = {
            **bench.done_values(job),
            "started_at": "2026-07-06T08:10",
            "ended_at": "2026-07-06T09:40",
            "end_readings": {"wind_mph": "6", "wind_from": "sw"},
        }
        answer = post(api(bench.applicator), f"{JOBS}{job.pk}/finish/", body)
        job = answer.json()
        assert (job["state"], job["started_at"], job["ended_at"]) == (
            "sprayed",
            "2026-07-06T13:10:00Z",
            "2026-07-06T14:40:00Z",
        )
        assert job["end_readings"]["wind_mph"] == "6"
        assert (Job.rows.get().started_at, Job.rows.get().ended_at) == (STARTED, ENDED)


class TestSigning:
    @pytest.fixture
    def job(self, bench, clock):
        job = bench.sprayed()
        clock.move_to(SIGNED)
        return job

    def test_the_read_back_is_in_sentences_with_its_consequences(self, bench, job, api):
        back = api(bench.applicator).get(f"{JOBS}{job.pk}/read-back/").json()
        acres = f"{bench.blocks[0].planted_acres.quantize(Decimal('0.01')).normalize():f}"
        assert back["sentences"][:2] == [
            f"You sprayed all {acres} acres of N1 North 1, Winter squash.",
            "You started Mon, Jul 6, 8:10 AM CDT and finished Mon, Jul 6, 9:40 AM CDT.",
        ]
        assert back["sentences"][-1] == "Weather at the start: 5 mph SW, 72 °F, 60 % RH."
        assert back["consequences"] == [
            "Because of this record, N1 North 1 stays closed until Mon, Jul 6, 9:40 PM CDT (Demo Shield).",
            "Earliest picking on N1 North 1: Thu, Jul 9, 9:40 AM CDT (Demo Shield).",
        ]
        assert (back["statement"], back["standing"]) == ("I made this application as written above.", "applied")
        assert len(back["body_hash"]) == 64

    def test_signing_needs_a_key(self, bench, job, api):
        answer = post(api(bench.applicator), f"{JOBS}{job.pk}/sign/", {})
        assert list(answer.json()["errors"]) == ["Idempotency-Key"]

    def test_the_same_signature_twice_is_one_record(self, bench, job, api):
        client = api(bench.applicator)
        back = client.get(f"{JOBS}{job.pk}/read-back/").json()
        body = {"password": PASSWORD, "checked": True, "body_hash": back["body_hash"], "version": back["version"]}
        key = {"Idempotency-Key": "sign-job-1-luis"}
        first, second = (post(client, f"{JOBS}{job.pk}/sign/", body, **key) for _ in range(2))
        assert (first.status_code, second.status_code, second["Idempotent-Replay"]) == (201, 201, "true")
        assert (first.json(), SprayRecord.rows.count()) == (second.json(), 1)
        assert first.json()["consequences"] == back["consequences"]

    @pytest.mark.parametrize(
        ("change", "status", "field"),
        [
            ({"password": "not-this-one"}, 400, "password"),
            ({"checked": False}, 400, "checked"),
            ({"body_hash": "0" * 64}, 412, None),
        ],
        ids=["wrong password", "box not ticked", "not what was shown"],
    )
    def test_nothing_changes_when_it_is_not_right(self, bench, job, api, change, status, field):
        client = api(bench.applicator)
        back = client.get(f"{JOBS}{job.pk}/read-back/").json()
        body = {"password": PASSWORD, "checked": True, "body_hash": back["body_hash"], **change}
        answer = post(client, f"{JOBS}{job.pk}/sign/", body, **{"Idempotency-Key": "sign-job-1-luis"})
        assert (answer.status_code, list(answer.json().get("errors", {}))) == (status, [field] if field else [])
        assert (SprayRecord.rows.count(), Job.rows.get().state, JobStep.rows.count()) == (0, "sprayed", 4)
        again = {**body, "password": PASSWORD, "checked": True, "body_hash": back["body_hash"]}
        assert post(client, f"{JOBS}{job.pk}/sign/", again, **{"Idempotency-Key": "sign-job-1-luis"}).status_code == 201

    def test_a_manager_can_neither_read_back_nor_sign(self, bench, job, cast, api):
        answer = api(cast.manager).get(f"{JOBS}{job.pk}/read-back/")
        assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: applicator.")

    def test_there_is_nothing_to_read_back_before_the_report(self, bench, api, clock):
        job = bench.assigned()
        answer = api(bench.applicator).get(f"{JOBS}{job.pk}/read-back/")
        assert (answer.status_code, answer.json()["findings"][0]["code"]) == (409, "nothing_to_sign")
        answer = api(bench.applicator).get(f"{JOBS}{job.pk}/read-back/?meaning=sprayed")
        assert list(answer.json()["errors"]) == ["meaning"]

    def test_not_applied_over_http(self, bench, api, clock):
        job = bench.assigned()
        client = api(bench.applicator)
        back = client.get(f"{JOBS}{job.pk}/read-back/?meaning=not_applied").json()
        assert back["consequences"] == [
            "Because of this record, job 1 no longer closes N1 North 1. Other sprays there still count."
        ]
        body = {"password": PASSWORD, "checked": True, "body_hash": back["body_hash"], "reason": "the pump broke"}
        answer = post(client, f"{JOBS}{job.pk}/not-applied/", body, **{"Idempotency-Key": "not-applied-1"})
        assert (answer.status_code, answer.json()["meaning"]) == (201, "not_applied")
        assert client.get(f"{JOBS}{job.pk}/").json()["not_applied_at"] == "2026-07-06T12:00:00Z"


class TestRecords:
    def test_list_one_and_proof(self, bench, client):
        record = bench.signed()
        bench.signed(blocks=[{"block_id": bench.blocks[1].pk}])
        found = client.get(f"{BASE}/records/").json()["results"]
        assert [(r["seq"], r["job_number"], r["meaning"], r["signed_by"]) for r in found] == [
            (2, 2, "applied", "Luis Mora"),
            (1, 1, "applied", "Luis Mora"),
        ]
        narrowed = client.get(f"{BASE}/records/?block_id={bench.blocks[0].pk}").json()["results"]
        assert [r["seq"] for r in narrowed] == [1]
        one = client.get(f"{BASE}/records/1/").json()
        assert (one["body_text"], one["body"]["content"]["job"]["number"]) == (record.body_text, 1)
        proof = client.get(f"{BASE}/records/verify/").json()
        assert proof == {"records": 2, "head": found[0]["hash"], "fault": None}

    def test_staff_do_not_read_records(self, bench, cast, api):
        bench.signed()
        assert api(cast.staff).get(f"{BASE}/records/").status_code == 403


class TestSettings:
    def test_the_farm_says_since_when_its_sprays_are_on_record(self, bench, client, api):
        address = f"{BASE}/spray-settings/"
        assert client.get(address).json()["history_known_from"] == "2025-01-01"
        bad = {"history_known_from": "2027-01-01", "interval_from_days": 12, "interval_to_days": 8}
        answer = client.patch(address, bad, format="json", headers={"If-Match": "v1"})
        assert sorted(answer.json()["errors"]) == ["history_known_from", "interval_to_days"]
        good = {"preset": "extension", "interval_from_days": 5}
        answer = client.patch(address, good, format="json", headers={"If-Match": "v1"})
        assert (answer.json()["preset"], answer["ETag"]) == ("extension", '"v2"')
        assert api(bench.applicator).patch(address, good, format="json").status_code == 403

    def test_a_farm_without_any_has_the_defaults(self, cast, api):
        address = "/api/v1/farms/far-side/spray-settings/"
        client = api(cast.neighbour)
        shipped = client.get(address).json()
        assert [row["own"] for row in shipped.pop("limits")] == [False] * 7
        assert shipped == {
            "preset": "labels_only",
            "history_known_from": None,
            "interval_from_days": 7,
            "interval_to_days": 10,
            "general_use_certificate": "note",
            "version": 1,
        }
        changed = client.patch(address, {"interval_to_days": 12}, format="json", headers={"If-Match": "v1"})
        assert changed.json()["interval_to_days"] == 12


def test_a_window_in_another_zone_is_the_same_window(bench, client):
    body = body_of(bench, window_starts_at="2026-07-06T15:00+02:00", window_ends_at=WINDOW[1].isoformat())
    job = post(client, JOBS, body).json()
    assert (job["window_starts_at"], job["window_ends_at"]) == ("2026-07-06T13:00:00Z", "2026-07-06T16:00:00Z")
    assert WINDOW[0] == NOW + timedelta(hours=1)
