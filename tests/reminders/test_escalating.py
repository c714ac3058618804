"""A dangerous notice nobody acknowledges goes on; one that is, or whose reason is gone, does not."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from apps.people.models import Person
from apps.people.rules import Role
from apps.reminders import services
from apps.reminders.models import Notice
from apps.reminders.rules import Due, timing
from apps.reminders.services import escalating, telling
from tests.conftest import place

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 17, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def quiet_sources(sources):
    sources()


def danger(cast) -> None:
    services.tell(
        farm=cast.farm, kind="job_over_label", subject=("job", 7), occasion="once", to=[cast.applicator.person_id],
        template="Stop at {gate}.", numbers={"gate": "East"}, urgent=True, now=NOON,
    )  # fmt: skip


def after(minutes: int) -> list[tuple[str, int]]:
    services.sweep(NOON + timedelta(minutes=minutes))
    return list(Notice.rows.order_by("id").values_list("person__username", "rung"))


def test_after_five_minutes_one_more_after_fifteen_all_who_can_act(cast):
    place(cast.farm, Role.MANAGER, "Second Manager", "zara")
    danger(cast)
    assert after(4) == [("luis", 0)]
    assert after(6) == [("luis", 0), ("ines", 1)]
    assert after(14) == [("luis", 0), ("ines", 1)]
    assert after(16) == [("luis", 0), ("ines", 1), ("zara", 2)]
    assert after(600) == [("luis", 0), ("ines", 1), ("zara", 2)]


def test_whoever_acknowledges_ends_it(cast):
    danger(cast)
    after(6)
    mine = Notice.rows.get(person_id=cast.manager.person_id)
    services.mark_seen(member=cast.manager, notice_id=mine.pk, now=NOON + timedelta(minutes=7))
    assert after(60) == [("luis", 0), ("ines", 1)]


def test_marking_all_as_seen_acknowledges_nothing_dangerous(cast):
    danger(cast)
    assert services.mark_all_seen(member=cast.applicator, up_to=10**9, now=NOON) == 0
    assert after(6) == [("luis", 0), ("ines", 1)]


def test_what_is_taken_back_goes_to_nobody_else(cast):
    danger(cast)
    services.withdraw(farm=cast.farm, kind="job_over_label", subject=("job", 7), now=NOON)
    assert after(60) == [("luis", 0)]


def test_after_an_hour_without_a_sweep_everybody_is_told_at_once_and_once(cast):
    place(cast.farm, Role.MANAGER, "Second Manager", "zara")
    danger(cast)
    after(60)
    assert after(61) == [("luis", 0), ("ines", 1), ("zara", 2)]


def test_the_words_are_the_same_and_the_e_mail_goes_at_once(cast):
    Person.objects.filter(pk=cast.manager.person_id).update(email="ines@farm.example")
    danger(cast)
    after(6)
    row = Notice.rows.get(person_id=cast.manager.person_id)
    assert (row.template, row.numbers) == ("Stop at {gate}.", {"gate": "East"})
    assert (row.urgent, row.letter.outcome) == (True, "sent")


@pytest.mark.parametrize(
    ("told", "managers", "applicators", "rung", "expected"),
    [
        ([9], [1, 2], [9, 8], 1, [1]),
        ([9, 1], [1, 2], [9, 8], 2, [2, 8]),
        ([1], [1], [8], 1, [8]),
        ([1], [1], [1], 1, []),
    ],
    ids=["a manager next", "then all", "the only manager was told", "nobody is left"],
)
def test_who_comes_next(told, managers, applicators, rung, expected):
    assert timing.next_hearers(told, managers, applicators, rung) == expected


def test_one_that_came_back_goes_up_the_same_rungs_again_from_its_return(cast):
    place(cast.farm, Role.MANAGER, "Second Manager", "zara")
    stop = Due(
        kind="job_weather", subject_type="job", subject_id=7, occasion="wind", person_ids=[cast.applicator.person_id],
        template="Stop.", urgent=True,
    )  # fmt: skip

    def sweep(minutes: int, *, stands: bool) -> list[tuple[str, int, int]]:
        at = NOON + timedelta(minutes=minutes)
        telling.reconcile(cast.farm, "tests", [stop] if stands else [], at)
        escalating.escalate(at)
        rows = Notice.rows.filter(withdrawn_at=None, seen_at=None).order_by("rung")
        return list(rows.values_list("person__username", "rung", "turn"))

    assert sweep(0, stands=True) == [("luis", 0, 1)]
    assert sweep(6, stands=True) == [("luis", 0, 1), ("ines", 1, 1)]
    assert sweep(7, stands=False) == []
    assert sweep(60, stands=True) == [("luis", 0, 2)]
    assert sweep(66, stands=True) == [("luis", 0, 2), ("ines", 1, 2)]
    assert sweep(74, stands=True) == [("luis", 0, 2), ("ines", 1, 2)]
    assert sweep(76, stands=True) == [("luis", 0, 2), ("ines", 1, 2), ("zara", 2, 2)]
