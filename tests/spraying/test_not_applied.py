"""Signed that nothing was applied (cases B4 and B5): the only way a block opens without a spray record."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from apps.inventory import queries as shed
from apps.reminders.models import Notice
from apps.safety import queries as board
from apps.safety.models import Closure
from apps.spraying import services
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import Meaning
from farmops.errors import BadInput, NotYourRole, Refused
from tests.factories.spraying import NOW, SIGNED, WINDOW, line, shield_document

pytestmark = pytest.mark.django_db
NOTHING = {"meaning": Meaning.NOT_APPLIED}
LATER = WINDOW[1] + timedelta(days=2)


def said(bench, at=LATER) -> str:
    return board.entry_answer(bench.blocks[0], activity=None, at=at, now=at).answer


def test_assigned_and_never_reported_stays_unknown(bench):
    """B1: assigned 08:00-10:00, nothing recorded: it may have been sprayed."""
    bench.assigned()
    assert said(bench) == "unknown"


def test_called_off_by_the_manager_after_the_window_began_stays_unknown(bench):
    """B5: cancelled by a manager, unsigned, window passed."""
    job = bench.assigned()
    services.call_off(member=bench.manager, job_id=job.pk, reason="too windy", now=WINDOW[0])
    assert said(bench) == "unknown"


def test_and_opens_once_the_applicator_signs_that_nothing_was_applied(bench):
    """B4: never started, signed "not applied": no restriction from this job."""
    job = bench.assigned()
    services.call_off(member=bench.manager, job_id=job.pk, reason="too windy", now=WINDOW[0])
    record = bench.sign(job, **NOTHING)
    assert (said(bench, SIGNED), record.meaning, record.seq) == ("yes", "not_applied", 1)
    again = Job.rows.get(pk=job.pk)
    assert (again.state, again.doubt, again.not_applied_at) == ("called_off", False, SIGNED)
    assert [(c.kind, c.lift_reason) for c in Closure.rows.all()] == [("planned", "not_applied")]


@pytest.mark.parametrize("state", ["assigned", "spraying", "sprayed"])
def test_from_each_state_in_which_it_may_have_been_sprayed(bench, state):
    job = getattr(bench, state)()
    record = bench.sign(job, **NOTHING)
    body = json.loads(record.body_text)
    assert body["content"]["statement"] == "Nothing was applied under this job."
    assert body["signature"]["reason"] == "rain came in"
    assert bool(body["content"]["reported_before"]) is (state == "sprayed")
    assert Job.rows.get(pk=job.pk).state == "called_off"
    assert said(bench, SIGNED) == "yes"
    stock = shed.stock_of(bench.farm, bench.product.pk)
    assert (stock.on_hand, stock.reserved) == (5, 0)
    assert Notice.rows.get(kind="job_not_applied").person_id == bench.manager.person_id


def test_only_this_jobs_closures_come_down(bench):
    bench.signed()
    unlike = {"ingredients": [{"name": "captan", "amount": "4", "basis": "lb_per_gal"}]}
    other = bench.assigned(products=[line(bench.product_of("Demo Other", shield_document() | unlike))])
    bench.sign(other, **NOTHING)
    kinds = sorted(Closure.rows.filter(lifted_at=None).values_list("kind", flat=True))
    assert kinds == ["entry", "harvest"]


def test_a_manager_cannot_sign_it(bench, cast):
    job = bench.assigned()
    with pytest.raises(NotYourRole):
        bench.sign(job, by=cast.manager, **NOTHING)
    assert said(bench) == "unknown"


@pytest.mark.parametrize(
    ("typed", "field"),
    [({"password": "not-this-one"}, "password"), ({"checked": False}, "checked"), ({"reason": "no"}, "reason")],
    ids=["password", "box", "reason"],
)
def test_everything_is_needed_and_nothing_changes_without(bench, typed, field):
    job = bench.assigned()
    with pytest.raises(BadInput) as error:
        bench.sign(job, **NOTHING, **typed)
    assert list(error.value.errors) == [field]
    assert (SprayRecord.rows.count(), said(bench)) == (0, "unknown")
    assert Job.rows.get(pk=job.pk).state == "assigned"


def test_a_clean_call_off_leaves_nothing_to_sign(bench):
    job = bench.assigned()
    services.call_off(member=bench.manager, job_id=job.pk, reason="rain is coming", now=NOW)
    with pytest.raises(Refused) as error:
        bench.sign(job, **NOTHING)
    assert [f.code for f in error.value.findings] == ["nothing_in_doubt"]


def test_a_signed_spray_cannot_be_unsaid_here(bench):
    record = bench.signed()
    with pytest.raises(Refused) as error:
        bench.sign(record.job, **NOTHING)
    assert [f.code for f in error.value.findings] == ["wrong_state"]
    assert SprayRecord.rows.count() == 1
