"""What the sweep is told is due in spraying, who hears it, and that nobody hears it twice."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.reminders.models import Notice
from apps.reminders.services.telling import write
from apps.spraying import services
from apps.spraying.due import due
from apps.spraying.models import SpraySettings
from apps.spraying.rules.record import Meaning
from tests.factories.spraying import NOW, REPORTED, STARTED, WINDOW, line, shield_document

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def said(bench, at) -> list[tuple[str, str, list[int]]]:
    return [(d.kind, d.occasion, list(d.person_ids)) for d in due(bench.farm, at)]


def kinds(bench, at) -> list[str]:
    return [kind for kind, _, _ in said(bench, at)]


class TestNextSpray:
    """The farm's usual 7 to 10 days after the spray of Monday 6 July."""

    @pytest.mark.parametrize(
        ("days", "kind", "occasion"),
        [
            (6, None, None),
            (7, "spray_due", "open after 2026-07-06"),
            (8, "spray_due", "open after 2026-07-06"),
            (9, "spray_due", "closing after 2026-07-06"),
            (10, "spray_due", "closing after 2026-07-06"),
            (11, "spray_missed", "missed after 2026-07-06"),
            (70, None, None),
        ],
    )
    def test_the_window_opens_closes_and_is_missed(self, bench, days, kind, occasion):
        bench.signed()
        expected = [] if kind is None else [(kind, occasion, [bench.manager.person_id])]
        assert said(bench, NOW + days * DAY) == expected

    def test_its_days_stand_in_the_calendar(self, bench):
        bench.signed()
        (found,) = due(bench.farm, NOW + 7 * DAY)
        assert (found.at, found.until) == (date(2026, 7, 13), date(2026, 7, 16))

    def test_the_farm_sets_its_own_days(self, bench):
        SpraySettings.rows.update(interval_from_days=12, interval_to_days=14)
        bench.signed()
        assert kinds(bench, NOW + 11 * DAY) == []
        assert kinds(bench, NOW + 12 * DAY) == ["spray_due"]

    def test_nothing_is_due_once_harvest_is_past(self, bench):
        bench.signed()
        bench.blocks[0].plantings.update(harvest_from=date(2026, 7, 10), harvest_to=date(2026, 7, 12))
        assert kinds(bench, NOW + 8 * DAY) == []

    def test_nothing_is_due_once_the_next_is_booked(self, bench):
        bench.signed()
        later = (WINDOW[0] + 8 * DAY, WINDOW[1] + 8 * DAY)
        bench.assigned(window_starts_at=later[0], window_ends_at=later[1], now=NOW + 5 * DAY)
        assert kinds(bench, NOW + 8 * DAY) == []

    def test_a_herbicide_begins_no_program(self, bench):
        document = shield_document() | {"kind": "herbicide", "groups": [{"scheme": "hrac", "code": "9"}]}
        bench.signed(products=[line(bench.product_of("Demo Weed", document))])
        assert kinds(bench, NOW + 8 * DAY) == []


class TestUnreported:
    def test_a_window_that_passed_without_report(self, bench):
        bench.assigned()
        both = sorted([bench.manager.person_id, bench.applicator.person_id])
        assert said(bench, WINDOW[1] - timedelta(seconds=1)) == []
        assert said(bench, WINDOW[1]) == [("job_unreported", "assigned past its window", both)]

    def test_a_start_without_an_end(self, bench):
        bench.spraying()
        assert [o for _, o, _ in said(bench, WINDOW[1])] == ["spraying past its window"]

    def test_called_off_in_doubt_until_it_is_signed(self, bench):
        job = bench.assigned()
        services.call_off(member=bench.manager, job_id=job.pk, reason="too windy", now=WINDOW[0])
        assert [o for _, o, _ in said(bench, STARTED)] == ["called off in doubt"]
        bench.sign(job, meaning=Meaning.NOT_APPLIED)
        assert said(bench, STARTED) == []


def test_finished_and_not_signed_for_two_hours(bench):
    bench.sprayed()
    two = timedelta(hours=2)
    assert kinds(bench, REPORTED + two - timedelta(seconds=1)) == []
    assert said(bench, REPORTED + two) == [
        ("job_unsigned", "two hours", sorted([bench.manager.person_id, bench.applicator.person_id]))
    ]


class TestStock:
    def test_drafts_that_need_more_than_is_free(self, bench):
        scarce = bench.product_of("Demo Scarce", shield_document(), amount="1", unit="floz")
        job = bench.planned(products=[line(scarce)])
        found = due(bench.farm, NOW)
        assert [(d.kind, d.subject_id, d.occasion) for d in found] == [
            ("stock_for_plans", scarce.pk, f"for job {job.number}")
        ]
        assert found[0].numbers["first"] == WINDOW[0]

    def test_drafts_together(self, bench):
        scarce = bench.product_of("Demo Scarce", shield_document(), amount="60", unit="floz")
        bench.planned(products=[line(scarce)])
        assert kinds(bench, NOW) == []
        bench.planned(products=[line(scarce, "1", "pt")], blocks=[{"block_id": bench.blocks[1].pk}])
        assert kinds(bench, NOW) == ["stock_for_plans"]

    def test_what_is_planned_by_weight_and_kept_by_volume_breaks_nothing(self, bench):
        bench.planned(products=[line(bench.product, "5", "oz")])
        scarce = bench.product_of("Demo Scarce", shield_document(), amount="1", unit="floz")
        bench.planned(products=[line(scarce)])
        assert kinds(bench, NOW) == ["stock_for_plans"]

    def test_a_draft_far_ahead_does_not_ask_yet(self, bench):
        scarce = bench.product_of("Demo Scarce", shield_document(), amount="1", unit="floz")
        bench.planned(
            products=[line(scarce)], window_starts_at=WINDOW[0] + 20 * DAY, window_ends_at=WINDOW[1] + 20 * DAY
        )
        assert kinds(bench, NOW) == []


def test_each_notice_is_written_once_however_often_it_is_due(bench):
    bench.assigned()
    bench.planned(products=[line(bench.product_of("Demo Scarce", shield_document(), amount="1", unit="floz"))])
    for minute in range(3):
        now = WINDOW[1] + timedelta(minutes=minute)
        write(bench.farm, due(bench.farm, now), now)
    found = Notice.rows.filter(kind__in=["job_unreported", "stock_for_plans"]).values_list("kind", "person_id")
    assert sorted(found) == sorted(
        [("job_unreported", bench.manager.person_id), ("job_unreported", bench.applicator.person_id)]
    )


def test_it_takes_a_constant_number_of_queries(bench):
    def taken() -> int:
        with CaptureQueriesContext(connection) as context:
            list(due(bench.farm, WINDOW[1]))
        return len(context)

    bench.assigned()
    one = taken()
    for n in range(3):
        other = bench.product_of(f"Demo {n}", shield_document())
        bench.assigned(products=[line(other)], blocks=[{"block_id": bench.blocks[1].pk}])
    assert (one, taken()) == (one, one)
    assert one < 40
