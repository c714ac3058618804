"""Closures as rows: hung, moved on and taken down by the services; read by the board."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db import DatabaseError, connection, transaction

from apps.safety import queries, rules, services
from apps.safety.models import Closure
from apps.safety.rules import EntryInterval, HarvestWait, Kind, LiftReason, Word
from farmops.errors import Refused, Unknown
from tests.factories.land import BlockFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def block(cast):
    return BlockFactory(field__farm=cast.farm, farm=cast.farm)


def ask(block, at):
    return queries.entry_answer(block, activity=None, at=at, now=at)


def window(cast, block, *, starts_at=NOW + HOUR, source="job:1"):
    new = rules.for_window([block.pk], starts_at=starts_at, ends_at=starts_at + 2 * HOUR, products=["Demo A"])
    return services.hang_closures(farm=cast.farm, member=cast.manager, source=source, closures=new, now=NOW)


def start(cast, block, at):
    new = rules.for_start([block.pk], started_at=at, window_ends_at=at + 2 * HOUR, products=["Demo A"])
    kinds, why = [Kind.PLANNED], LiftReason.STARTED
    return services.replace_closures(
        farm=cast.farm, member=cast.applicator, source="job:1", kinds=kinds, closures=new, reason=why, now=at
    )


def test_a_job_walks_over_the_board_and_the_block_opens_only_at_the_end(cast, block):
    window(cast, block)
    assert ask(block, NOW).answer is Word.YES
    assert ask(block, NOW).good_until == NOW + timedelta(minutes=30)
    begun = NOW + HOUR
    start(cast, block, begun)
    assert (ask(block, begun).answer, ask(block, begun).opens_at) == (Word.NO, None)
    ended = begun + HOUR
    mix = [EntryInterval(product="Demo A", hours=12)]
    finish = rules.for_finish([block.pk], started_at=begun, ended_at=ended, intervals=mix)
    step = {"farm": cast.farm, "member": cast.applicator, "source": "job:1"}
    services.replace_closures(**step, kinds=[Kind.UNDERWAY], closures=finish, reason=LiftReason.FINISHED, now=ended)
    assert ask(block, ended + 20 * HOUR).answer is Word.UNKNOWN
    signed = rules.for_signature(
        block.pk,
        started_at=begun,
        ended_at=ended,
        intervals=mix,
        waits=[HarvestWait(product="Demo A", days=3)],
        zone=cast.farm.time_zone,
    )
    services.replace_closures(
        **step, kinds=[Kind.UNCONFIRMED], closures=signed, reason=LiftReason.SIGNED, now=ended + HOUR
    )
    opens = ended + 12 * HOUR
    assert (ask(block, opens - HOUR).answer, ask(block, opens - HOUR).opens_at) == (Word.NO, opens)
    assert ask(block, opens).answer is Word.YES
    picking = queries.harvest_answer(block, at=opens, now=opens)
    assert (picking.answer, picking.opens_at) == (Word.NO, ended + timedelta(days=3))


def test_a_window_that_has_begun_cannot_be_called_off(cast, block):
    window(cast, block)
    step = {"farm": cast.farm, "member": cast.manager, "source": "job:1", "kinds": [Kind.PLANNED]}
    with pytest.raises(Refused) as caught:
        services.lift_closures(**step, reason=LiftReason.CALLED_OFF, now=NOW + HOUR)
    assert [f.code for f in caught.value.findings] == ["window_begun"]
    assert ask(block, NOW + 9 * HOUR).answer is Word.UNKNOWN
    services.lift_closures(**step, reason=LiftReason.NOT_APPLIED, now=NOW + 9 * HOUR)
    assert ask(block, NOW + 9 * HOUR).answer is Word.YES


def test_nothing_may_be_replaced_by_nothing(cast, block):
    window(cast, block)
    with pytest.raises(Refused) as caught:
        services.replace_closures(
            farm=cast.farm,
            member=cast.manager,
            source="job:1",
            kinds=[Kind.PLANNED],
            closures=[],
            reason=LiftReason.STARTED,
            now=NOW + HOUR,
        )
    assert [f.code for f in caught.value.findings] == ["left_open"]
    assert Closure.rows.filter(lifted_at=None).count() == 1


def test_another_farms_block_cannot_be_closed_from_here(cast):
    theirs = BlockFactory(field__farm=cast.other_farm, farm=cast.other_farm)
    new = rules.for_window([theirs.pk], starts_at=NOW, ends_at=NOW + HOUR, products=[])
    with pytest.raises(Unknown):
        services.hang_closures(farm=cast.farm, member=cast.manager, source="job:1", closures=new, now=NOW)
    assert Closure.rows.count() == 0


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE safety_closure SET ends_at = starts_at",
        "UPDATE safety_closure SET kind = 'harvest'",
        "DELETE FROM safety_closure",
    ],
)
def test_raw_sql_cannot_open_ground(cast, block, statement):
    start_row = window(cast, block)[0]
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    kept = Closure.rows.get(pk=start_row.pk)
    assert (kept.kind, kept.ends_at) == ("planned", NOW + 3 * HOUR)


@pytest.mark.parametrize("blocks", [3, 30])
def test_the_whole_board_takes_two_queries(cast, django_assert_num_queries, blocks):
    rows = [BlockFactory(field__farm=cast.farm, farm=cast.farm) for _ in range(blocks)]
    for row in rows:
        window(cast, row, starts_at=NOW, source=f"job:{row.pk}")
    with django_assert_num_queries(2):
        lines = queries.board(cast.farm, at=NOW, now=NOW)
    assert [line.entry.answer for line in lines] == [Word.NO] * blocks


def test_a_fault_on_the_way_is_unknown_not_yes(cast, block, monkeypatch):
    def broken(*args, **kwargs):
        raise RuntimeError("disk")

    monkeypatch.setattr(queries, "closures_on", broken)
    answer = ask(block, NOW)
    assert (answer.answer, answer.because[0].code) == (Word.UNKNOWN, "fault")


def test_an_opening_is_told_once_to_everybody_on_the_farm(cast, block):
    mix = [EntryInterval(product="Demo A", hours=4)]
    signed = rules.for_signature(
        block.pk, started_at=NOW - 2 * HOUR, ended_at=NOW - HOUR, intervals=mix, waits=None, zone="America/Chicago"
    )
    services.hang_closures(farm=cast.farm, member=cast.applicator, source="job:1", closures=signed, now=NOW)
    assert queries.due(cast.farm, NOW + 2 * HOUR) == []
    (told,) = queries.due(cast.farm, NOW + 3 * HOUR)
    everybody = sorted([cast.manager.person_id, cast.applicator.person_id, cast.staff.person_id])
    assert (told.kind, list(told.person_ids)) == ("entry_opens", everybody)
    assert queries.due(cast.farm, NOW + 10 * HOUR) == []
