"""A job from plan to signature through the services: what each step leaves on board, shed, steps, trail and notices."""

from __future__ import annotations

import json
from datetime import timedelta
from decimal import Decimal

import pytest

from apps.audit.models import AuditEvent
from apps.inventory import queries as shed
from apps.reminders.models import Notice
from apps.safety import queries as board
from apps.safety.models import Closure
from apps.spraying.models import JobStep, SprayRecord
from apps.spraying.rules.record import GENESIS, RecordFacts, first_fault
from tests.factories.spraying import ENDED, NOW, REPORTED, SIGNED, STARTED, WINDOW

pytestmark = pytest.mark.django_db


def hanging(bench) -> list[tuple]:
    rows = Closure.rows.filter(block=bench.blocks[0], lifted_at=None).order_by("pk")
    return [(c.kind, c.reason_code, c.starts_at, c.ends_at, c.provisional_ends_at) for c in rows]


def entry(bench, at, now=None):
    return board.entry_answer(bench.blocks[0], activity=None, at=at, now=now or at)


def stock(bench) -> tuple[Decimal, Decimal]:
    row = shed.stock_of(bench.farm, bench.product.pk)
    return row.on_hand, row.reserved


def told(kind: str) -> list[int]:
    return sorted(Notice.rows.filter(kind=kind).values_list("person_id", flat=True))


ACRES = Decimal("9.3300")
NEED = Decimal("0.364453125")  # 5 fl oz an acre on 9.33 acres is 46.65 fl oz, 128 to the gallon


@pytest.fixture
def squash(bench):
    """The first block stated at 9.33 acres, so that every amount below can be worked by hand."""
    block = bench.blocks[0]
    block.planted_acres, block.planted_stated = ACRES, True
    block.save()
    return bench


def test_a_draft_closes_nothing_and_holds_nothing(squash):
    job = squash.planned()
    assert (job.state, job.number, job.spray_gpa) == ("draft", 1, Decimal("30.000"))
    assert [(b.planned_acres, b.site_code) for b in job.job_blocks.all()] == [(ACRES, "winter_squash")]
    assert hanging(squash) == []
    assert stock(squash) == (Decimal(5), Decimal(0))
    assert entry(squash, NOW).answer == "yes"
    codes = {f["code"]: f["severity"] for f in job.findings[0]["findings"]}
    assert "refuse" not in codes.values()
    assert [s.step for s in JobStep.rows.filter(job=job)] == ["plan"]


def test_assigning_closes_the_window_holds_stock_and_tells_the_applicator(squash):
    job = squash.assigned()
    assert hanging(squash) == [("planned", "window", *WINDOW, None)]
    assert stock(squash) == (Decimal(5), NEED)
    assert told("job_assigned") == [squash.applicator.person_id]
    assert entry(squash, NOW).answer == "yes"
    assert entry(squash, NOW).good_until == NOW + timedelta(minutes=30)
    assert entry(squash, WINDOW[0]).answer == "no"
    assert entry(squash, WINDOW[1]).answer == "unknown"
    assert [p.label_version_id for p in job.job_products.all()] == [squash.label.pk]
    assert (job.version, job.reason) == (2, "as planned for the week")


def test_starting_stamps_the_time_and_keeps_the_readings(squash):
    job = squash.spraying()
    assert (job.state, job.started_at) == ("spraying", STARTED)
    assert job.start_readings == {
        "wind_mph": "5",
        "wind_from": "sw",
        "temperature_f": "72",
        "humidity_percent": "60",
        "taken_at": STARTED.isoformat(),
    }
    assert hanging(squash) == [("underway", "spraying", STARTED, None, WINDOW[1])]
    assert entry(squash, STARTED).answer == "no"


def test_finishing_keeps_the_block_closed_with_a_time_that_is_not_confirmed(squash):
    job = squash.sprayed()
    assert (job.state, job.started_at, job.ended_at, job.finished_at) == ("sprayed", STARTED, ENDED, REPORTED)
    assert hanging(squash) == [("unconfirmed", "unsigned", STARTED, None, ENDED + timedelta(hours=12))]
    late = ENDED + timedelta(days=3)
    assert entry(squash, late).answer == "unknown"
    assert told("job_finished") == [squash.manager.person_id]
    assert told("job_over_label") == []
    assert stock(squash) == (Decimal(5), NEED)


def test_signing_writes_the_record_opens_by_the_clock_and_draws_the_stock_down(squash):
    record = squash.signed()
    opens, picking = ENDED + timedelta(hours=12), ENDED + timedelta(days=3)
    assert hanging(squash) == [
        ("entry", "rei", STARTED, opens, None),
        ("harvest", "phi", STARTED, picking, None),
    ]
    assert (entry(squash, opens - timedelta(minutes=1)).answer, entry(squash, opens).answer) == ("no", "yes")
    harvest = board.harvest_answer(squash.blocks[0], at=picking - timedelta(minutes=1), now=SIGNED)
    assert (harvest.answer, harvest.opens_at) == ("no", picking)
    assert stock(squash) == (Decimal(5) - NEED, Decimal(0))
    assert told("job_signed") == [squash.manager.person_id]
    assert (record.seq, record.prev_hash, record.meaning, record.signed_at) == (1, GENESIS, "applied", SIGNED)
    steps = JobStep.rows.filter(job=record.job).order_by("pk").values_list("step", "from_state", "to_state")
    assert list(steps) == [
        ("plan", "", "draft"),
        ("assign", "draft", "assigned"),
        ("start", "assigned", "spraying"),
        ("finish", "spraying", "sprayed"),
        ("sign", "sprayed", "signed"),
    ]


def test_the_record_copies_everything_it_was_judged_by(squash):
    record = squash.signed()
    body = json.loads(record.body_text)
    content = body["content"]
    assert content["statement"] == "I made this application as written above."
    assert content["signer"]["certificate"] == {
        "number": "12345",
        "jurisdiction": "IN",
        "kind": "private",
        "categories": [],
        "valid_from": "2025-01-01",
        "valid_to": "2026-12-31",
    }
    block = content["blocks"][0]
    assert (block["code"], block["field"], block["treated_acres"], block["crop"]) == (
        "N1",
        squash.blocks[0].field.name,
        "9.33",
        "Winter squash",
    )
    assert [(c["kind"], c["ends_at"]) for c in block["closures"]] == [
        ("entry", "2026-07-07T02:40:00Z"),
        ("harvest", "2026-07-09T14:40:00Z"),
    ]
    product = content["products"][0]
    assert (product["amount"], product["unit"], product["registration_number"]) == ("46.65", "floz", "")
    assert product["label"]["body"] == squash.label.body
    assert product["label"]["body_hash"] == squash.label.body_hash
    assert content["sprayer"]["calibration"]["gpa"] == "30"
    assert content["readings"]["start"]["wind_mph"] == "5"
    assert [b["block"] for b in content["findings"]["assigned"]] == ["N1 North 1"]
    assert body["signature"]["at"] == "2026-07-06T15:10:00Z"
    stored = RecordFacts(seq=1, prev_hash=record.prev_hash, hash=record.hash, body_text=record.body_text)
    assert first_fault([stored]) is None


def test_every_step_leaves_one_line_in_the_trail_with_before_and_after(squash):
    job = squash.signed().job
    lines = AuditEvent.objects.filter(subject_type="spraying.job", subject_id=str(job.pk)).order_by("pk")
    assert [(e.verb, e.actor_id, e.before.get("state"), e.after.get("state")) for e in lines] == [
        ("plan", squash.manager.person_id, None, None),
        ("assign", squash.manager.person_id, "draft", "assigned"),
        ("start", squash.applicator.person_id, "assigned", "spraying"),
        ("finish", squash.applicator.person_id, "spraying", "sprayed"),
        ("sign", squash.applicator.person_id, "sprayed", "signed"),
    ]


def test_the_next_record_stands_on_the_one_before(squash):
    first = squash.signed()
    other = {"blocks": [{"block_id": squash.blocks[1].pk}]}
    second = squash.signed(**other)
    assert (second.seq, second.prev_hash, second.job.number) == (2, first.hash, 2)
    rows = SprayRecord.rows.order_by("seq")
    facts = [RecordFacts(seq=r.seq, prev_hash=r.prev_hash, hash=r.hash, body_text=r.body_text) for r in rows]
    assert first_fault(facts) is None
