"""Worker training before work on ground treated or closed within 30 days (40 CFR 170.401; case F9)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from apps.people.models import Membership
from apps.safety.treated import last_restricted
from apps.work import queries, services
from farmops.errors import Refused
from tests.factories.safety import ClosureFactory
from tests.factories.training import CertificateFactory, TrainingFactory
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 17, 0, tzinfo=UTC)
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


@pytest.fixture
def task(cast, block):
    return TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id, starts_at=NOON)


def sprayed(block, ago, **values):
    """An entry interval of half a day that began so long ago."""
    start = NOON - ago
    given = {"starts_at": start, "ends_at": start + 12 * HOUR, "hung_at": start, **values}
    return ClosureFactory(farm=block.farm, block=block, kind="entry", reason_code="rei", **given)


def trained(cast, on, kind="worker", person=None):
    TrainingFactory(farm=cast.farm, person_id=(person or cast.staff).person_id, kind=kind, trained_on=on)


def codes(task, now=NOON):
    return [f.code for f in queries.training_needed(task, now=now)]


def test_f9_thirteen_months_old_and_treated_twenty_days_ago_blocks(cast, block, task):
    trained(cast, date(2025, 5, 1))
    sprayed(block, 20 * DAY)
    with pytest.raises(Refused) as no:
        services.start_task(member=cast.staff, task_id=task.pk, now=NOON)
    (finding,) = no.value.findings
    assert (finding.code, finding.source) == ("training_out_of_date", "40 CFR 170.401")
    assert queries.task(cast.farm, task.pk).state == "planned"


def test_f9_treated_thirty_one_days_ago_is_not_asked(cast, block, task):
    trained(cast, date(2025, 5, 1))
    sprayed(block, 31 * DAY + 12 * HOUR, ends_at=NOON - 31 * DAY)
    assert services.start_task(member=cast.staff, task_id=task.pk, now=NOON).state == "started"


@pytest.mark.parametrize(("days", "asked"), [(29, True), (30, True), (31, False), (32, False)])
def test_the_window_is_thirty_days_from_the_end_of_the_interval(cast, block, task, days, asked):
    sprayed(block, days * DAY + 6 * HOUR, ends_at=NOON - days * DAY)
    assert (codes(task) != []) is asked


def test_ground_that_was_never_treated_asks_nothing(cast, task):
    assert codes(task) == []


def test_without_any_training_on_record_it_is_missing(block, task):
    sprayed(block, 2 * DAY)
    assert codes(task) == ["training_missing"]


@pytest.mark.parametrize("kind", ["worker", "handler"])
def test_trained_within_twelve_months_may_start(cast, block, task, kind):
    trained(cast, date(2025, 6, 1), kind)
    sprayed(block, 2 * DAY)
    assert services.start_task(member=cast.staff, task_id=task.pk, now=NOON).state == "started"


def test_a_certified_applicator_needs_no_other(cast, block):
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.applicator.person_id, starts_at=NOON)
    sprayed(block, 2 * DAY)
    assert codes(row) == ["training_missing"]
    CertificateFactory(
        farm=cast.farm, person_id=cast.applicator.person_id, jurisdiction=cast.farm.jurisdiction,
        valid_from=date(2025, 1, 1), valid_to=date(2026, 12, 31),
    )  # fmt: skip
    assert codes(row) == []


def test_family_of_the_owner_is_spared(cast, block, task):
    """40 CFR 170.601(a)."""
    sprayed(block, 2 * DAY)
    Membership.objects.for_farm(cast.farm).filter(person_id=cast.staff.person_id).update(family=True)
    assert codes(task) == []


@pytest.mark.parametrize(
    ("values", "asked"),
    [
        ({"ends_at": None}, True),
        ({"lifted_at": NOON - DAY, "lift_reason": "not_applied"}, False),
        ({"lifted_at": NOON - DAY, "lift_reason": "resigned"}, False),
        ({"ends_at": NOON + DAY, "lifted_at": NOON - DAY, "lift_reason": "attested"}, True),
    ],
    ids=["no end known", "nothing was applied", "replaced by a correction", "attested to be over"],
)
def test_what_the_board_remembers(block, task, values, asked):
    sprayed(block, 2 * DAY, **values)
    assert (codes(task) != []) is asked


def test_a_spray_that_is_not_signed_counts(block, task):
    ClosureFactory(
        farm=block.farm, block=block, kind="unconfirmed", reason_code="unsigned", starts_at=NOON - DAY, ends_at=None
    )
    assert codes(task) == ["training_missing"]


def test_a_planned_task_is_judged_for_its_own_day(cast, block):
    sprayed(block, 20 * DAY)
    row = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id, starts_at=NOON + 20 * DAY)
    assert codes(row) == []
    soon = TaskFactory(farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id, starts_at=NOON + 5 * DAY)
    assert codes(soon) == ["training_missing"]


def test_ground_of_another_block_says_nothing(cast, block, task):
    from tests.factories.land import BlockFactory

    sprayed(BlockFactory(farm=cast.farm, code="Z9"), 2 * DAY)
    assert last_restricted(block, NOON, within=30 * DAY) is None
    assert codes(task) == []


def test_the_planner_and_the_person_read_it_and_nobody_else(cast, block, task, browser_client, api, monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: NOON)
    sprayed(block, 2 * DAY)
    page, url = f"/f/alder-bend/tasks/{task.pk}/", f"/api/v1/farms/alder-bend/tasks/{task.pk}/"
    for who, told in ((cast.manager, True), (cast.staff, True), (cast.applicator, False)):
        html = browser_client(who).get(page).content.decode()
        assert ("Ana Ruiz has no worker training on or before" in html) is told
        assert [f["code"] for f in api(who).get(url).json()["training"]] == (["training_missing"] if told else [])
    refused = browser_client(cast.staff).post(f"{page}start/", {"once_key": "a" * 32})
    assert "Ana Ruiz has no worker training on or before Mon, Jun 1, 2026." in refused.content.decode()
    assert api(cast.staff).post(f"{url}start/", {}, format="json").status_code == 409
