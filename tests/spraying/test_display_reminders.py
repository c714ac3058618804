"""The reminder of the central display: one a day, whatever the number of sheets (times: 40 CFR 170.311)."""

from __future__ import annotations

from datetime import timedelta

import pytest

from apps.reminders.models import Notice
from apps.reminders.services import telling
from apps.spraying.display import services as displays
from apps.spraying.display.queries import due, next_due
from tests.factories.spraying import ENDED, NOW, REPORTED
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
SOURCE = "apps.spraying.display.queries.due"


def sweep(bench, at) -> int:
    return telling.reconcile(bench.farm, SOURCE, due(bench.farm, at), at)


def standing(bench) -> list[tuple[str, str, bool]]:
    rows = Notice.objects.for_farm(bench.farm).filter(
        person_id=bench.manager.person_id, kind="display_due", withdrawn_at=None
    )
    return [(row.occasion, row.numbers["jobs"], row.urgent) for row in rows]


def hang(bench, job, at):
    displays.put_up(member=bench.manager, job_id=job.pk, sds_for=[bench.product.pk], now=at)


def spray(bench, n):
    """A job on the ``n``-th block, sprayed and reported."""
    return bench.sprayed(blocks=[{"block_id": bench.blocks[n].pk}])


@pytest.fixture
def both(bench):
    return [spray(bench, n) for n in (0, 1)]


def test_two_sheets_are_one_notice_to_each_person_and_leave_it_one_by_one(bench, both):
    first, second = both
    assert sweep(bench, REPORTED) == 2  # the manager and the applicator
    numbers = [str(job.number) for job in both]
    assert standing(bench) == [("2026-07-06", ", ".join(numbers), False)]
    hang(bench, first, REPORTED)
    assert (sweep(bench, REPORTED + HOUR), standing(bench)) == (0, [("2026-07-06", numbers[1], False)])
    hang(bench, second, REPORTED)
    sweep(bench, REPORTED + 2 * HOUR)
    assert standing(bench) == []


def test_it_is_urgent_only_once_a_sheet_is_over_its_legal_time(bench, both):
    sweep(bench, REPORTED)
    assert [u for _, _, u in standing(bench)] == [False]
    sweep(bench, ENDED + DAY - timedelta(minutes=1))
    assert [u for _, _, u in standing(bench)] == [False]
    assert sweep(bench, ENDED + DAY) == 2
    assert [(on, u) for on, _, u in standing(bench)] == [("2026-07-07", True)]
    assert sweep(bench, ENDED + DAY + HOUR) == 0


def test_a_new_day_is_a_new_notice_and_begins_at_five_in_the_morning(bench, both):
    sweep(bench, REPORTED)
    five = NOW.replace(hour=10) + DAY  # 5 AM on the farm
    assert sweep(bench, five - timedelta(minutes=1)) == 0
    assert (next_due(bench.farm, five - HOUR), sweep(bench, five)) == (five, 2)
    assert [on for on, _, _ in standing(bench)] == ["2026-07-07"]


def test_within_the_day_one_that_has_to_hang_before_the_next_morning_is_told_again_another_is_not(bench, cast):
    spray(bench, 0)
    sweep(bench, REPORTED)
    spray(bench, 1)
    assert sweep(bench, REPORTED + HOUR) == 0  # it has until tomorrow's notice and beyond
    assert len(standing(bench)[0][1].split(", ")) == 2
    TaskFactory(farm=bench.farm, block=bench.blocks[1], assigned_to_id=cast.staff.person_id, starts_at=ENDED + 8 * HOUR)
    assert sweep(bench, REPORTED + 2 * HOUR) == 2


def test_a_sheet_whose_time_at_the_central_place_is_over_is_asked_for_no_more(bench):
    bench.signed()
    until = ENDED + 12 * HOUR + 30 * DAY
    assert [d.kind for d in due(bench.farm, until - HOUR)] == ["display_due"]
    assert due(bench.farm, until + HOUR) == []
