"""Assigning: gates, the written reason, stock, the window's closure; and two managers at once."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from apps.inventory import queries as shed
from apps.inventory.models import LedgerLine
from apps.reminders.models import Notice
from apps.safety.models import Closure
from apps.spraying import services
from apps.spraying.models import Job, JobStep, SpraySettings
from farmops.errors import BadInput, NotYourRole, Refused, Stale
from tests.factories.crops import PlantingEventFactory
from tests.factories.products import DraftFactory
from tests.factories.spraying import NOW, WINDOW, line, shield_document
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db


def assign(bench, job, reason="checked with the label in hand", **more):
    return services.assign_job(member=bench.manager, job_id=job.pk, reason=reason, now=more.pop("now", NOW), **more)


def nothing_happened(job) -> None:
    again = Job.rows.get(pk=job.pk)
    assert (again.state, again.version, again.reason) == ("draft", job.version, "")
    assert (Closure.rows.count(), LedgerLine.rows.exclude(kind="receive").count(), Notice.rows.count()) == (0, 0, 0)
    assert JobStep.rows.filter(job=job).count() == 1


def refused(bench, job, **more) -> list[str]:
    with pytest.raises(Refused) as error:
        assign(bench, job, **more)
    nothing_happened(job)
    return [f.code for f in error.value.findings if f.severity == "refuse"]


# A plan each of which one thing is wrong with -> the refusal that must stop it.
def no_label(bench):
    bench.product.label_versions.update(
        withdrawn_at=NOW, withdrawn_by=bench.manager.person_id, withdrawn_reason="not the label on the jug"
    )


def unchecked_label(bench):
    no_label(bench)
    DraftFactory(product=bench.product, number=2, document=shield_document())


def another_crop(bench):
    bench.crop.code = "sweet_corn"
    bench.crop.save()


def picking_soon(bench):
    bench.blocks[0].plantings.update(harvest_from=date(2026, 7, 8))


def somebody_due_to_pick(bench):
    TaskFactory(
        farm=bench.farm,
        block=bench.blocks[0],
        activity="picking_by_hand",
        assigned_to_id=bench.manager.person_id,
        starts_at=NOW + timedelta(days=2),
    )


def in_bloom(bench):
    PlantingEventFactory(planting=bench.blocks[0].plantings.get(), kind="bloom_start", on=date(2026, 7, 1))


GATES = {
    "no label": (no_label, {}, ["label_missing"]),
    "label unchecked": (unchecked_label, {}, ["label_unchecked"]),
    "crop not on label": (another_crop, {}, ["crop_not_on_label"]),
    "rate above the label": (None, {"rate": "7"}, ["rate_high"]),
    "picking inside the wait": (picking_soon, {}, ["phi"]),
    "a picking task inside the wait": (somebody_due_to_pick, {}, ["phi"]),
    "stock short": (None, {"acres": "9", "stock": True}, ["stock_short"]),
}


@pytest.mark.parametrize("name", GATES)
def test_a_refusal_stops_the_assignment_whatever_the_reason(bench, name):
    change, plan, codes = GATES[name]
    if change:
        change(bench)
    if plan.get("stock"):
        scarce = bench.product_of("Demo Scarce", shield_document(), amount="1", unit="floz")
        job = bench.planned(products=[line(scarce)])
    else:
        job = bench.planned(products=[line(bench.product, plan.get("rate", "5"))])
    assert refused(bench, job) == codes


def test_bees_by_day_in_bloom_stop_a_product_that_harms_them(bench):
    in_bloom(bench)
    risky = bench.product_of("Demo Risky", shield_document() | {"bee_class": "residual"})
    job = bench.planned(products=[line(risky)])
    assert refused(bench, job) == ["bee_bloom"]


def test_nobody_named_and_a_window_that_is_over_are_refused_too(bench):
    assert refused(bench, bench.planned(applicator_id=None)) == ["applicator_missing"]


def test_a_window_that_has_passed_meanwhile_is_refused(bench):
    job = bench.planned()
    assert refused(bench, job, now=WINDOW[1]) == ["window_over"]


def test_what_needs_a_reason_is_refused_without_one_and_shows_everything(bench):
    SpraySettings.rows.all().delete()  # since when sprays are on record is not known: season limits need a word
    capped = bench.product_of(
        "Demo Capped", shield_document(caps=[{"ingredient": "quinoxyfen", "pounds": "1", "per": "year"}])
    )
    job = bench.planned(products=[line(capped)])
    with pytest.raises(Refused) as error:
        assign(bench, job, reason="  ok ")
    codes = [f.code for f in error.value.findings]
    assert codes[0] == "reason_missing"
    assert "history_unknown" in codes
    nothing_happened(job)
    assert (
        assign(bench, job, reason="the paper book goes back to spring").reason == "the paper book goes back to spring"
    )


def test_the_findings_are_kept_as_they_were_at_assignment(bench):
    job = bench.assigned()
    kept = {f["code"] for f in job.findings[0]["findings"]}
    bench.blocks[0].plantings.update(harvest_from=date(2026, 7, 8))
    assert {f["code"] for f in Job.rows.get(pk=job.pk).findings[0]["findings"]} == kept


def test_both_blocks_are_judged_and_closed(bench):
    bench.blocks[1].plantings.update(harvest_from=date(2026, 7, 8))
    both = [{"block_id": b.pk} for b in bench.blocks]
    job = bench.planned(blocks=both)
    with pytest.raises(Refused) as error:
        assign(bench, job)
    stopped = [f for f in error.value.findings if f.severity == "refuse"]
    assert [(f.code, f.subject) for f in stopped] == [("phi", str(bench.blocks[1]))]
    bench.blocks[1].plantings.update(harvest_from=date(2026, 9, 8))
    assign(bench, job)
    assert sorted(Closure.rows.values_list("block_id", flat=True)) == sorted(b.pk for b in bench.blocks)


def test_stock_held_by_one_job_is_not_there_for_the_next(bench):
    scarce = bench.product_of("Demo Scarce", shield_document(), amount="60", unit="floz")
    first = bench.assigned(products=[line(scarce)])
    used = shed.reserved_for(bench.farm, ("job", first.pk))[scarce.pk]
    assert used > 0
    job = bench.planned(products=[line(scarce)], blocks=[{"block_id": bench.blocks[1].pk}])
    with pytest.raises(Refused) as error:
        assign(bench, job)
    assert [f.code for f in error.value.findings if f.severity == "refuse"] == ["stock_short"]
    assert shed.stock_of(bench.farm, scarce.pk).reserved == used


def test_a_job_is_assigned_once(bench):
    job = bench.assigned()
    with pytest.raises(Refused) as error:
        assign(bench, job)
    assert [f.code for f in error.value.findings] == ["wrong_state"]
    assert Closure.rows.count() == 1


def test_who_saw_an_older_plan_assigns_nothing(bench):
    job = bench.planned()
    services.edit_job(member=bench.manager, job_id=job.pk, expected_version=1, changes={"notes": "n"}, now=NOW)
    with pytest.raises(Stale):
        assign(bench, job, expected_version=1)
    assert Job.rows.get(pk=job.pk).state == "draft"


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_only_managers_assign(bench, cast, role):
    job = bench.planned()
    with pytest.raises(NotYourRole):
        services.assign_job(member=cast.by_role(role), job_id=job.pk, reason="please", now=NOW)
    nothing_happened(job)


class TestCallOff:
    def test_a_draft_leaves_no_trace_on_board_or_shed(self, bench):
        job = bench.planned()
        off = services.call_off(member=bench.manager, job_id=job.pk, reason="not needed", now=NOW)
        assert (off.state, off.doubt, Closure.rows.count()) == ("called_off", False, 0)

    def test_before_the_window_the_block_opens_and_the_stock_is_free(self, bench):
        job = bench.assigned()
        off = services.call_off(
            member=bench.manager, job_id=job.pk, reason="rain is coming", now=WINDOW[0] - timedelta(seconds=1)
        )
        closure = Closure.rows.get()
        assert (off.state, off.doubt, closure.lift_reason) == ("called_off", False, "called_off")
        assert shed.reserved_for(bench.farm, ("job", job.pk)) == {}
        assert shed.stock_of(bench.farm, bench.product.pk).reserved == Decimal(0)
        told = Notice.rows.get(kind="job_called_off")
        assert (told.person_id, told.urgent) == (bench.applicator.person_id, True)

    def test_once_the_window_has_begun_the_block_stays_closed(self, bench):
        job = bench.assigned()
        off = services.call_off(member=bench.manager, job_id=job.pk, reason="too windy", now=WINDOW[0])
        assert (off.state, off.doubt) == ("called_off", True)
        assert Closure.rows.get().lifted_at is None
        assert shed.stock_of(bench.farm, bench.product.pk).reserved == Decimal(0)
        told = sorted(Notice.rows.filter(kind="job_called_off").values_list("person_id", flat=True))
        assert told == sorted([bench.manager.person_id, bench.applicator.person_id])

    def test_a_reason_is_asked_for(self, bench):
        job = bench.assigned()
        with pytest.raises(BadInput) as error:
            services.call_off(member=bench.manager, job_id=job.pk, reason=" no ", now=NOW)
        assert list(error.value.errors) == ["reason"]
        assert Job.rows.get(pk=job.pk).state == "assigned"
