"""What a source says is due, and what stands: told, re-worded, taken back, told again; and whom a sweep looks at."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from apps.audit import services as audit
from apps.audit.models import FarmChange
from apps.people.models import Person
from apps.reminders import services
from apps.reminders.models import Notice, Watch
from apps.reminders.rules import Due, rolled
from apps.reminders.services import sweeping
from apps.reminders.services.telling import reconcile
from tests.factories.people import FarmFactory

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 17, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def due(cast, occasion: str = "once", left: str = "3 pt", **more) -> Due:
    return Due(
        kind="sign_down_due", subject_type="sign", subject_id=7, occasion=occasion, template="{left} left.",
        person_ids=[cast.staff.person_id], numbers={"left": left}, **more,
    )  # fmt: skip


def standing(cast) -> list[tuple[str, str, int, bool]]:
    rows = Notice.objects.for_farm(cast.farm).order_by("id")
    return [(r.occasion, r.numbers["left"], r.turn, r.withdrawn_at is None) for r in rows]


def test_told_reworded_taken_back_and_told_again(cast):
    steps = [[due(cast)], [due(cast)], [due(cast, left="2 pt")], [], [], [due(cast, left="1 pt")]]
    made = [reconcile(cast.farm, "s", found, NOON + n * MINUTE) for n, found in enumerate(steps)]
    assert made == [1, 0, 0, 0, 0, 1]
    assert standing(cast) == [("once", "1 pt", 2, True)]
    assert Notice.rows.get().version == 4  # re-worded, taken back, told again


def test_what_was_seen_stays_seen_when_it_is_only_reworded(cast):
    reconcile(cast.farm, "s", [due(cast)], NOON)
    services.mark_seen(member=cast.staff, notice_id=Notice.rows.get().pk, now=NOON)
    reconcile(cast.farm, "s", [due(cast, left="2 pt")], NOON + MINUTE)
    assert Notice.rows.get().seen_at == NOON
    reconcile(cast.farm, "s", [], NOON + MINUTE)
    reconcile(cast.farm, "s", [due(cast)], NOON + 2 * MINUTE)
    assert Notice.rows.get().seen_at is None


def test_a_reason_that_came_back_is_mailed_again(cast, sources):
    Person.objects.filter(pk=cast.staff.person_id).update(email="ana@farm.example")
    found: list[Due] = []
    sources(signs=lambda farm, now: found if farm == cast.farm else [])
    for hour, now_due in enumerate([[due(cast)], [], [due(cast)], [due(cast)]]):
        found[:] = now_due
        services.sweep(NOON + timedelta(hours=hour))
    assert len(mail.outbox) == 2


def test_one_source_never_takes_back_what_another_or_an_action_told(cast):
    reconcile(cast.farm, "a", [due(cast, "of a")], NOON)
    services.tell(
        farm=cast.farm, kind="sign_down_due", subject=("sign", 7), occasion="told", to=[cast.staff.person_id],
        template="{left} left.", numbers={"left": "x"}, now=NOON,
    )  # fmt: skip
    reconcile(cast.farm, "b", [], NOON)
    assert [(o, alive) for o, _, _, alive in standing(cast)] == [("of a", True), ("told", True)]


def test_a_source_that_fails_takes_nothing_back(cast, sources):
    healthy = [True]

    def signs(farm, now):
        if not healthy[0]:
            raise LookupError
        return [due(cast)] if farm == cast.farm else []

    sources(signs=signs)
    services.sweep(NOON)
    healthy[0] = False
    services.sweep(NOON + MINUTE)
    assert standing(cast) == [("once", "3 pt", 1, True)]


# ---- whom a sweep looks at -------------------------------------------------------------


@pytest.fixture
def asked(cast, sources, monkeypatch):
    """The farms the source was asked about since last read; it says it need not be asked for two hours."""
    import sys

    said: list[str] = []
    sources(signs=lambda farm, now: said.append(farm.slug) or [])
    sys.modules["due_in_tests"].next_signs = lambda farm, now: now + timedelta(hours=2)

    def read(at) -> list[str]:
        said.clear()
        services.sweep(at)
        return sorted(said)

    return read


def move(cast) -> None:
    audit.record(farm=cast.farm, actor=cast.manager, verb="moved", subject=cast.farm, now=NOON)


def test_a_farm_is_looked_at_when_its_time_has_come_or_its_book_has_moved(cast, asked):
    both = ["alder-bend", "far-side"]
    assert asked(NOON) == both  # never looked at
    assert asked(NOON + MINUTE) == []
    move(cast)
    assert asked(NOON + 2 * MINUTE) == ["alder-bend"]
    assert asked(NOON + 3 * MINUTE) == []
    assert asked(NOON + timedelta(hours=2)) == ["far-side"]
    assert asked(NOON + timedelta(hours=2, minutes=2)) == ["alder-bend"]
    FarmFactory(slug="new-one")
    assert asked(NOON + timedelta(hours=2, minutes=3)) == ["new-one"]


def test_a_change_that_rolled_back_brings_nobody_up(cast, asked):
    asked(NOON)
    with pytest.raises(RuntimeError), transaction.atomic():
        move(cast)
        raise RuntimeError
    assert asked(NOON + MINUTE) == []


def test_a_change_that_came_while_it_was_looked_at_is_looked_at_again(cast, sources):
    times: list[datetime] = []

    def signs(farm, now):
        if farm == cast.farm:
            times.append(now)
            if len(times) == 1:
                move(cast)
        return []

    import sys

    sources(signs=signs)
    sys.modules["due_in_tests"].next_signs = lambda farm, now: None
    for minute in range(3):
        services.sweep(NOON + minute * MINUTE)
    assert times == [NOON, NOON + MINUTE]


def test_a_farm_another_sweep_is_looking_at_is_left_to_it_until_its_lease_is_over(cast, asked):
    asked(NOON)
    move(cast)
    Watch.objects.filter(farm=cast.farm).update(claimed_until=NOON + sweeping.LOOK_LEASE)
    assert asked(NOON + MINUTE) == []
    assert FarmChange.objects.filter(farm=cast.farm).count() == 1
    assert asked(NOON + 2 * MINUTE) == ["alder-bend"]


def test_other_sources_than_before_mean_that_every_farm_is_looked_at(cast, asked, sources):
    asked(NOON)
    said: list[str] = []
    sources(signs=lambda farm, now: [], others=lambda farm, now: said.append(farm.slug) or [])
    services.sweep(NOON + MINUTE)
    assert sorted(said) == ["alder-bend", "far-side"]


def test_no_mistake_of_a_source_lasts_longer_than_six_hours(cast, sources):
    import sys

    said: list[datetime] = []
    sources(signs=lambda farm, now: said.append(now) or [])
    sys.modules["due_in_tests"].next_signs = lambda farm, now: None
    for hour in range(13):
        services.sweep(NOON + timedelta(hours=hour))
    assert sorted(set(said)) == [NOON + timedelta(hours=h) for h in (0, 6, 12)]


def test_a_sweep_with_nothing_to_look_at_costs_the_same_for_two_farms_and_for_fifty(cast, asked):
    counts = []
    for _ in range(2):
        asked(NOON)
        with CaptureQueriesContext(connection) as queries:
            asked(NOON + MINUTE)
        counts.append(len(queries))
        FarmFactory.create_batch(48)
    assert counts[0] == counts[1] == 14


# ---- one notice about several things ---------------------------------------------------


def about(*blocks: int, template: str = "Spray {block}.", path: str = "/one/") -> list[Due]:
    return [
        Due(
            kind="spray_due", subject_type="block", subject_id=n, occasion="open", template=template, path=path,
            person_ids=[7], numbers={"block": f"B{n}"},
        )
        for n in blocks
    ]  # fmt: skip


def roll(found: list[Due]) -> list[tuple[str, str, str, str]]:
    made = rolled(found, slot="block", subject=("sprays", 5), path="/all/")
    return [(due.subject_type, str(due.subject_id), str(due.numbers["block"]), due.path) for due in made]


def test_what_is_said_alike_of_several_is_said_once():
    assert roll(about(1)) == [("sprays", "5", "B1", "/one/")]
    assert roll(about(1, 2, 3)) == [("sprays", "5", "B1, B2, B3", "/all/")]
    assert roll(about(*range(11, 21)))[0][2] == "B11, B12, B13, B14, B15, B16, B17, B18 … (10)"


def test_what_is_said_differently_stays_apart_and_nothing_is_lost():
    found = about(1) + about(2, template="Spray {block} now.")
    assert roll(found) == [("block", "1", "B1", "/one/"), ("block", "2", "B2", "/one/")]


def test_one_thing_more_is_told_again_one_less_is_only_reworded(cast):
    def sweep(*blocks: int) -> int:
        mine = [replace(due, person_ids=[cast.staff.person_id]) for due in about(*blocks)]
        said = rolled(mine, slot="block", subject=("sprays", 5), path="/all/")
        return reconcile(cast.farm, "sprays", said, NOON)

    assert [sweep(1, 2), sweep(2), sweep(2), sweep(2, 3)] == [1, 0, 0, 1]
    row = Notice.rows.get(kind="spray_due")
    assert (row.turn, row.numbers["block"], row.things) == (2, "B2, B3", ["block 2", "block 3"])
