"""One button takes a suggestion over: the draft becomes what was suggested, checked again first, or stays as it was."""

from __future__ import annotations

import json
from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine

from apps.audit.models import AuditEvent
from apps.spraying import checking, queries, services
from apps.spraying.instead.queries import instead_of
from apps.spraying.instead.services import adopt_way
from apps.spraying.models import Job, JobStep
from apps.spraying.rules.states import JobState
from farmops.errors import BadInput, NotYourRole, Refused, Stale, refusals
from tests.factories.spraying import NOW, SIGNED, WINDOW, line, shield_document

from .test_instead import after_a_spray

pytestmark = pytest.mark.django_db


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def whole(job: Job) -> dict:
    """Everything an edit could have written."""
    job = queries.job(job.farm, job.pk)
    rows = [*job.job_blocks.all(), *job.job_products.all()]
    columns = [{f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields} for row in (job, *rows)]
    return {"rows": columns, "steps": JobStep.rows.filter(job=job).count(), "trail": AuditEvent.objects.count()}


def adopt(bench, job, plan, *, now=SIGNED, version=None):
    return adopt_way(member=bench.manager, job_id=job.pk, expected_version=version or job.version, plan=plan, now=now)


def with_turn(job, turn, now=SIGNED):
    """(way, plan) of the first way out that turns this screw."""
    offered = instead_of(job, now).offered
    return next((way, plan) for way, plan in offered if turn in {c.turn for c in way.changes})


def stands(bench, job, now=SIGNED):
    job = queries.job(bench.farm, job.pk)
    return [f.code for f in refusals(checking.flat(checking.check_job(job, checking.planned(job, now))))]


def test_another_start_is_taken_over_and_its_old_forecast_is_not(bench):
    job = after_a_spray(bench, expected_wind_mph="6", expected_high_f="80")
    way, plan = with_turn(job, "start")
    after = adopt(bench, job, plan)

    assert (after.window_starts_at, after.window_ends_at) == (way.facts[0].start_at, way.facts[0].end_at)
    assert (after.expected_wind_mph, after.expected_high_f) == (None, None)
    assert (after.state, after.version, stands(bench, job)) == (JobState.DRAFT, job.version + 1, [])
    trail = AuditEvent.objects.filter(verb="took over a suggestion for").get()
    assert (trail.actor_id, trail.after["window_starts_at"][:10]) == (bench.manager.person_id, "2026-07-13")


def test_a_rate_and_the_lines_beside_it(bench):
    """Half of the shed's 5 gal more than there is: the highest rate that fits, the second line as typed."""
    document = shield_document()
    need = Decimal(640) / bench.blocks[0].planted_acres
    document["uses"][0]["rate_max"] = str((need * 3).quantize(Decimal("1")))
    strong, other = bench.product_of("Demo Strong", document), bench.product_of("Demo Beside", shield_document(
        groups=[{"scheme": "frac", "code": "M05"}],
        ingredients=[{"name": "chlorothalonil", "amount": "6", "basis": "lb_per_gal"}],
    ))  # fmt: skip
    lines = [line(strong, str((need * 2).quantize(Decimal("0.01")))), line(other)]
    job = queries.job(bench.farm, bench.planned(products=lines).pk)
    beside = job.job_products.all()[1]
    way, plan = with_turn(job, "rate", NOW)
    adopt(bench, job, plan, now=NOW)

    first, second = queries.job(bench.farm, job.pk).job_products.all()
    assert first.rate_amount == Decimal(next(c.value for c in way.changes if c.turn == "rate"))
    assert (second.product_id, second.rate_amount, second.rate_unit) == (
        other.pk, beside.rate_amount, beside.rate_unit,
    )  # fmt: skip
    assert stands(bench, job, NOW) == []


def test_fewer_acres_are_shared_out_and_never_rounded_up(bench):
    document = shield_document()
    need = Decimal(640) / sum(b.planted_acres for b in bench.blocks[:2])
    document["uses"][0]["rate_max"] = str((need * 3).quantize(Decimal("1")))
    document["uses"][0]["rate_min"] = document["uses"][0]["rate_max"]
    strong = bench.product_of("Demo Strong", document)
    both = [{"block_id": b.pk} for b in bench.blocks[:2]]
    job = bench.planned(blocks=both, products=[line(strong, document["uses"][0]["rate_max"])])
    job = queries.job(bench.farm, job.pk)
    way, plan = with_turn(job, "area", NOW)
    adopt(bench, job, plan, now=NOW)

    acres = Decimal(next(c.value for c in way.changes if c.turn == "area"))
    rows = queries.job(bench.farm, job.pk).job_blocks.all()
    total = sum(row.planned_acres for row in rows)
    assert [row.block_id for row in rows] == [b.pk for b in bench.blocks[:2]]
    assert acres - Decimal("0.0002") <= total <= acres
    assert stands(bench, job, NOW) == []


def half(block):
    return (block.planted_acres / 2).quantize(Decimal("0.01"))


def test_a_block_left_out(bench):
    bench.signed()
    later = timedelta(days=3)
    both = [{"block_id": b.pk, "planned_acres": str(half(b))} for b in bench.blocks]
    job = bench.planned(blocks=both, window_starts_at=WINDOW[0] + later, window_ends_at=WINDOW[1] + later)
    job = queries.job(bench.farm, job.pk)
    _, plan = with_turn(job, "block")
    adopt(bench, job, plan)

    (row,) = queries.job(bench.farm, job.pk).job_blocks.all()
    assert (row.block_id, row.planned_acres) == (
        bench.blocks[1].pk,
        half(bench.blocks[1]),
    )
    assert stands(bench, job) == []


def test_another_product(bench):
    other = bench.product_of("Demo Other", shield_document(
        groups=[{"scheme": "frac", "code": "M05"}],
        ingredients=[{"name": "chlorothalonil", "amount": "6", "basis": "lb_per_gal"}],
    ))  # fmt: skip
    job = after_a_spray(bench)
    _, plan = with_turn(job, "product")
    adopt(bench, job, plan)
    (row,) = queries.job(bench.farm, job.pk).job_products.all()
    assert (row.product_id, stands(bench, job)) == (other.pk, [])


def test_when_the_facts_moved_it_is_refused_with_the_reason_and_nothing_is_written(bench):
    """Between reading and pressing, somebody finds that the label was not the one on the jug."""
    job = after_a_spray(bench)
    _, plan = with_turn(job, "start")
    bench.product.label_versions.update(
        withdrawn_at=SIGNED, withdrawn_by=bench.manager.person_id, withdrawn_reason="not the label on the jug"
    )
    before = whole(job)
    with pytest.raises(Refused) as caught:
        adopt(bench, job, plan)
    assert {f.code for f in caught.value.findings} == set(stands(bench, job)) - {"interval"}
    assert "label_missing" in {f.code for f in caught.value.findings}
    assert whole(job) == before


def test_a_window_that_is_over_by_now(bench):
    job = after_a_spray(bench)
    _, plan = with_turn(job, "start")
    before = whole(job)
    with pytest.raises(BadInput) as caught:
        adopt(bench, job, plan, now=SIGNED + timedelta(days=30))
    assert list(caught.value.errors) == ["window_ends_at"]
    assert whole(job) == before


def test_the_version_that_was_read(bench):
    job = after_a_spray(bench)
    _, plan = with_turn(job, "start")
    services.edit_job(
        member=bench.manager, job_id=job.pk, expected_version=job.version, changes={"notes": "x"}, now=SIGNED
    )
    before = whole(job)
    with pytest.raises(Stale):
        adopt(bench, job, plan)
    assert whole(job) == before


def test_only_what_a_suggestion_changes_and_only_a_planner(bench):
    job = after_a_spray(bench)
    before = whole(job)
    for plan, field in (({"notes": "x"}, "notes"), ({}, "plan")):
        with pytest.raises(BadInput) as caught:
            adopt(bench, job, plan)
        assert list(caught.value.errors) == [field]
    with pytest.raises(NotYourRole):
        adopt_way(
            member=bench.applicator, job_id=job.pk, expected_version=job.version, plan={"spray_gpa": "20"}, now=SIGNED
        )
    assert whole(job) == before


def test_the_doors_send_out_what_they_take_back(bench, api, browser_client, clock):
    job = after_a_spray(bench)
    clock.move_to(SIGNED)
    client, address = api(bench.manager), f"/api/v1/farms/alder-bend/jobs/{job.pk}"
    way = client.get(f"{address}/instead/").json()["ways"][0]
    page = browser_client(bench.manager)
    shown = page.get(f"/f/alder-bend/jobs/{job.pk}/").content.decode()
    assert "Change the plan like this" in shown and "window_starts_at" in shown
    assigning = page.get(f"/f/alder-bend/jobs/{job.pk}/assign/").content.decode()
    assert assigning.count(f'action="/f/alder-bend/jobs/{job.pk}/adopt/"') == shown.count("Change the plan like this")

    stale = page.post(f"/f/alder-bend/jobs/{job.pk}/adopt/", {"version": 99, "plan": json.dumps(way["plan"])})
    assert stale.status_code == 412
    broken = page.post(f"/f/alder-bend/jobs/{job.pk}/adopt/", {"version": job.version, "plan": '{"spray_gpa": [1]}'})
    assert broken.status_code == 400 and "Send the changes of one suggestion." in broken.content.decode()

    wrong = client.post(
        f"{address}/adopt/", {"version": job.version, "plan": {"window_starts_at": "soon"}}, format="json"
    )
    assert (wrong.status_code, list(wrong.json()["errors"])) == (400, ["plan.window_starts_at"])
    done = client.post(f"{address}/adopt/", {"version": job.version, "plan": way["plan"]}, format="json").json()
    assert done["window_starts_at"] == way["window_starts_at"]


def test_the_page_takes_it_over_and_says_what_stands_against_it(bench, browser_client, clock):
    job = after_a_spray(bench)
    _, plan = with_turn(job, "start")
    clock.move_to(SIGNED)
    client, address = browser_client(bench.manager), f"/f/alder-bend/jobs/{job.pk}/adopt/"
    soon = plan | {"window_starts_at": "2026-07-12T13:00:00+00:00", "window_ends_at": "2026-07-12T16:00:00+00:00"}
    refused = client.post(address, {"version": job.version, "plan": json.dumps(soon, default=str)})
    text = refused.content.decode()
    assert refused.status_code == 409
    assert "what it rests on has changed" in text and "Change the plan like this" in text
    done = client.post(
        address, {"version": job.version, "plan": json.dumps(plan, default=str)}, follow=True
    ).content.decode()
    assert "The plan is changed as suggested." in done and "Change the plan like this" not in done
