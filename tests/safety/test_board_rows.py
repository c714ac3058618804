"""Closures as rows: hung, moved on and taken down by the services; read by the board."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from apps.audit.models import AuditEvent
from apps.safety import queries, reading, rules, services
from apps.safety.models import Closure
from apps.safety.rules import FAR_AHEAD, EntryInterval, HarvestWait, Kind, LiftReason, Word
from farmops.errors import NotYourRole, Refused, Unknown
from tests.factories.land import BlockFactory
from tests.factories.safety import ClosureFactory

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
    signer = {**step, "member": cast.applicator}
    services.lift_closures(**signer, reason=LiftReason.NOT_APPLIED, now=NOW + 9 * HOUR)
    assert ask(block, NOW + 9 * HOUR).answer is Word.YES


@pytest.mark.parametrize("role", ["manager", "staff"])
def test_only_an_applicator_can_say_that_nothing_was_applied(cast, block, role):
    """Project rule, decision cases B5 and F11: a manager cannot sign for an applicator."""
    window(cast, block)
    step = {"farm": cast.farm, "source": "job:1", "kinds": [Kind.PLANNED], "reason": LiftReason.NOT_APPLIED}
    with pytest.raises(NotYourRole):
        services.lift_closures(**step, member=cast.by_role(role), now=NOW + 9 * HOUR)
    with pytest.raises(NotYourRole):
        services.lift_closures(**step, member=None, now=NOW + 9 * HOUR)
    assert ask(block, NOW + 9 * HOUR).answer is Word.UNKNOWN


@pytest.mark.parametrize("reason", ["started", "finished", "signed", "lengthened", "resigned"])
def test_a_step_of_a_job_cannot_take_a_closure_down_without_the_next_one(cast, block, reason):
    ClosureFactory(block=block, kind=Kind.UNCONFIRMED, source="job:1")
    with pytest.raises(Refused) as caught:
        services.lift_closures(
            farm=cast.farm,
            member=cast.applicator,
            source="job:1",
            kinds=list(Kind),
            reason=LiftReason(reason),
            now=NOW + 9 * HOUR,
        )
    assert [f.code for f in caught.value.findings] == ["needs_successor"]
    assert ask(block, NOW + 9 * HOUR).answer is Word.UNKNOWN


def test_a_member_of_another_farm_cannot_touch_this_board(cast, block):
    window(cast, block)
    step = {"farm": cast.farm, "member": cast.neighbour, "source": "job:1"}
    with pytest.raises(Unknown):
        services.hang_closures(**step, closures=[], now=NOW)
    with pytest.raises(Unknown):
        services.lift_closures(**step, kinds=[Kind.PLANNED], reason=LiftReason.CALLED_OFF, now=NOW)
    assert Closure.rows.filter(lifted_at=None).count() == 1


def test_only_some_blocks_of_a_job_can_come_down(cast, block):
    other = BlockFactory(farm=cast.farm)
    for row in (block, other):
        window(cast, row)
    services.lift_closures(
        farm=cast.farm,
        member=cast.manager,
        source="job:1",
        kinds=[Kind.PLANNED],
        reason=LiftReason.CALLED_OFF,
        block_ids=[other.pk],
        now=NOW,
    )
    in_window = NOW + HOUR
    assert (ask(block, in_window).answer, ask(other, in_window).answer) == (Word.NO, Word.YES)


def test_hanging_and_lifting_leave_a_trail(cast, block):
    (row,) = window(cast, block)
    services.lift_closures(
        farm=cast.farm,
        member=cast.manager,
        source="job:1",
        kinds=[Kind.PLANNED],
        reason=LiftReason.CALLED_OFF,
        now=NOW,
    )
    trail = AuditEvent.objects.filter(subject_type="safety.closure", subject_id=str(row.pk)).order_by("id")
    assert [(e.actor_name, e.verb) for e in trail] == [("Ines Prado", "hung"), ("Ines Prado", "took down")]
    assert trail[1].after == {"because": "called_off"}
    row.refresh_from_db()
    assert (row.lifted_at, row.lifted_by_id, row.lift_reason) == (NOW, cast.manager.person_id, "called_off")


def test_ends_are_kept_to_the_minute_rounded_up(cast, block):
    """Project rule: seconds round up."""
    odd = NOW + timedelta(hours=12, seconds=1)
    new = rules.NewClosure(block_id=block.pk, kind=Kind.ENTRY, reason_code=rules.Reason.REI, starts_at=NOW, ends_at=odd)
    (row,) = services.hang_closures(farm=cast.farm, member=cast.applicator, source="job:1", closures=[new], now=NOW)
    assert row.ends_at == row.speaks_until == NOW + timedelta(hours=12, minutes=1)
    assert ask(block, NOW + timedelta(hours=12, seconds=59)).answer is Word.NO
    assert ask(block, NOW + timedelta(hours=12, minutes=1)).answer is Word.YES


def test_one_closure_that_cannot_be_true_hangs_none(cast, block):
    good = rules.for_window([block.pk], starts_at=NOW, ends_at=NOW + HOUR, products=[])
    ahead = rules.for_start([block.pk], started_at=NOW + HOUR, window_ends_at=NOW + HOUR, products=[])
    with pytest.raises(Refused) as caught:
        services.hang_closures(farm=cast.farm, member=cast.applicator, source="job:1", closures=good + ahead, now=NOW)
    assert [f.code for f in caught.value.findings] == ["starts_in_future"]
    assert Closure.rows.count() == 0


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
        "UPDATE safety_closure SET speaks_until = starts_at",
        "UPDATE safety_closure SET block_id = block_id + 1",
        "UPDATE safety_closure SET reason_code = 'rei'",
        "DELETE FROM safety_closure",
    ],
)
def test_raw_sql_cannot_open_ground(cast, block, statement):
    start_row = window(cast, block)[0]
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    kept = Closure.rows.get(pk=start_row.pk)
    assert (kept.kind, kept.ends_at) == ("planned", NOW + 3 * HOUR)


SIX = datetime(2026, 6, 1, 18, tzinfo=UTC)


@pytest.mark.parametrize(
    ("wrong", "constraint"),
    [
        ({"kind": "forbidden"}, "closure_kind_known|closure_only_intervals_end"),
        ({"reason_code": "because"}, "closure_reason_known|closure_only_intervals_end"),
        ({"ends_at": SIX - timedelta(days=1), "speaks_until": FAR_AHEAD}, "closure_ends_after_start"),
        ({"lifted_at": SIX}, "closure_lifted_for_a_reason"),
        ({"lift_reason": "signed"}, "closure_lifted_for_a_reason"),
        ({"reason_code": "until_dry", "ends_at": SIX, "speaks_until": SIX}, "closure_only_intervals_end"),
        ({"reason_code": "rei_missing", "ends_at": SIX, "speaks_until": FAR_AHEAD}, "closure_only_intervals_end"),
        ({"kind": "underway", "ends_at": SIX, "speaks_until": FAR_AHEAD}, "closure_only_intervals_end"),
        ({"kind": "posted", "ends_at": SIX, "speaks_until": FAR_AHEAD}, "closure_only_intervals_end"),
        ({"kind": "planned", "ends_at": None, "speaks_until": FAR_AHEAD}, "closure_window_has_an_end"),
        ({"kind": "planned", "ends_at": SIX, "speaks_until": SIX}, "closure_speaks_to_its_end"),
        ({"ends_at": SIX, "speaks_until": SIX - HOUR}, "closure_speaks_to_its_end"),
        ({"kind": "unconfirmed", "ends_at": None, "speaks_until": SIX}, "closure_speaks_to_its_end"),
    ],
)
def test_the_database_refuses_what_could_open_ground(block, wrong, constraint):
    with pytest.raises(IntegrityError, match=constraint):
        ClosureFactory(block=block, **({"reason_code": "rei", "ends_at": SIX} | wrong))


def test_what_ran_out_long_ago_costs_nothing(cast, block, django_assert_num_queries):
    for days in range(1, 40):
        ClosureFactory(block=block, starts_at=NOW - timedelta(days=days))
    ClosureFactory(block=block, kind=Kind.PLANNED, starts_at=NOW - timedelta(days=9), lifted_at=NOW,
                   lift_reason=LiftReason.STARTED)  # fmt: skip
    running = ClosureFactory(block=block, starts_at=NOW - HOUR)
    with django_assert_num_queries(1):
        found = queries.closures_on([block.pk, 987654], NOW)
    assert [(c.id, c.kind) for c in found[block.pk]] == [(running.pk, Kind.ENTRY)]
    assert found[987654] == []


def test_the_question_is_answered_from_the_index(block):
    """SQLite says so itself; PostgreSQL may rightly scan so small a table, so there the index is looked up."""
    if connection.vendor == "sqlite":
        whole = reading.ALL.plain(farm=block.farm_id, after=NOW)
        one = reading.ONE.plain(farm=block.farm_id, block=block.pk, after=NOW)
        for asked in (queries.hanging([block.pk], NOW), one, whole):
            assert "USING INDEX closure_speaking (block_id=? AND speaks_until>?)" in asked.explain()
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT indexdef FROM pg_indexes WHERE indexname = 'closure_speaking'")
        (definition,) = cursor.fetchone()
    assert definition.endswith("(block_id, speaks_until) WHERE (lifted_at IS NULL)")


@pytest.mark.parametrize("blocks", [3, 30])
def test_the_whole_board_takes_one_query(cast, django_assert_num_queries, blocks):
    rows = [BlockFactory(field__farm=cast.farm, farm=cast.farm) for _ in range(blocks)]
    for row in rows:
        window(cast, row, starts_at=NOW, source=f"job:{row.pk}")
    with django_assert_num_queries(1):
        lines = queries.board(cast.farm, at=NOW, now=NOW)
    assert [line.entry.answer for line in lines] == [Word.NO] * blocks


def test_a_fault_on_the_way_is_unknown_not_yes(cast, block, monkeypatch):
    def broken(*args, **kwargs):
        raise RuntimeError("disk")

    monkeypatch.setattr(queries, "closures_on", broken)
    monkeypatch.setattr(reading, "board_rows", broken)
    answer = ask(block, NOW)
    assert (answer.answer, answer.because[0].code) == (Word.UNKNOWN, "fault")
    lines = queries.board(cast.farm, at=NOW, now=NOW)
    assert [(line.entry.answer, line.harvest.answer) for line in lines] == [(Word.UNKNOWN, Word.UNKNOWN)]


def test_a_row_that_cannot_be_read_makes_its_block_unknown_and_no_other(cast, block):
    """Here: activities that are no list, as an older or damaged row might hold."""
    ClosureFactory(block=block, activities=7, starts_at=NOW - HOUR)
    other = BlockFactory(farm=cast.farm)
    lines = queries.board(cast.farm, at=NOW, now=NOW)
    assert {line.block.pk: (line.entry.answer, line.harvest.answer) for line in lines} == {
        block.pk: (Word.UNKNOWN, Word.UNKNOWN),
        other.pk: (Word.YES, Word.YES),
    }
    assert ask(block, NOW).because[0].code == "contradiction"


def test_an_archived_block_is_unknown(cast, block):
    block.archived_at = NOW
    block.save()
    answer = ask(block, NOW)
    assert (answer.answer, answer.because[0].code) == (Word.UNKNOWN, "block_archived")
    assert queries.harvest_answer(block, at=NOW, now=NOW).answer is Word.UNKNOWN


@pytest.mark.parametrize("work", ["irrigation", "hand_labor", "scouting_on_foot", "other", None])
def test_the_interval_of_other_work_says_nothing_about_picking(cast, block, work):
    """Label: 120 h for hand harvest. People who irrigate may be in long before; the crop may not be picked."""
    ClosureFactory(block=block, activities=["picking_by_hand"], starts_at=NOW - HOUR, ends_at=NOW + 119 * HOUR)
    at = NOW + 24 * HOUR
    assert queries.harvest_answer(block, activity=work, at=at, now=at).answer is Word.NO
    assert queries.harvest_answer(block, activity="driving_closed_cab", at=at, now=at).answer is Word.YES


GUARDED = [
    ({"kind": "planned", "starts_at": NOW + HOUR}, True),
    ({"kind": "planned", "starts_at": NOW - 90 * HOUR}, True),
    ({"kind": "underway"}, True),
    ({"kind": "unconfirmed"}, True),
    ({"kind": "posted"}, True),
    ({"reason_code": "rei_missing"}, True),
    ({"starts_at": NOW - HOUR}, True),
    ({"kind": "harvest", "starts_at": NOW - HOUR}, True),
    ({"starts_at": NOW - timedelta(hours=13.5)}, False),
    ({"kind": "planned", "lifted_at": NOW, "lift_reason": "not_applied"}, False),
]


@pytest.mark.parametrize(("closure", "guarded"), GUARDED)
def test_a_block_is_not_archived_while_a_closure_is_not_over(block, closure, guarded):
    ClosureFactory(block=block, **closure)
    found = queries.block_guard(block, NOW)
    assert [(f.code, f.severity, dict(f.numbers)) for f in found] == [
        ("closure_open", "refuse", {"count": "1"})
    ] * guarded


def test_an_applicator_attests_a_condition_once(cast, block):
    row = ClosureFactory(block=block, reason_code="until_dry", starts_at=NOW - HOUR)
    assert ask(block, NOW + 90 * HOUR).answer is Word.UNKNOWN
    services.attest_condition(member=cast.applicator, closure_id=row.pk, now=NOW)
    row.refresh_from_db()
    assert (row.lifted_at, row.lifted_by_id, row.lift_reason) == (NOW, cast.applicator.person_id, "attested")
    assert ask(block, NOW).answer is Word.YES
    with pytest.raises(Unknown):
        services.attest_condition(member=cast.applicator, closure_id=row.pk, now=NOW)


@pytest.mark.parametrize("role", ["manager", "staff"])
def test_nobody_else_attests(cast, block, role):
    row = ClosureFactory(block=block, reason_code="until_dry")
    with pytest.raises(NotYourRole):
        services.attest_condition(member=cast.by_role(role), closure_id=row.pk, now=NOW)
    assert Closure.rows.get(pk=row.pk).lifted_at is None


def test_an_interval_cannot_be_attested_away_and_several_are_all_or_none(cast, block):
    dry = ClosureFactory(block=block, reason_code="until_dry")
    interval = ClosureFactory(block=block)
    with pytest.raises(Refused) as caught:
        services.attest_conditions(member=cast.applicator, closure_ids=[dry.pk, interval.pk], now=NOW)
    assert [f.code for f in caught.value.findings] == ["no_condition"]
    assert Closure.rows.filter(lifted_at=None).count() == 2


def test_another_farms_condition_cannot_be_attested_from_here(cast):
    theirs = ClosureFactory(block=BlockFactory(farm=cast.other_farm), reason_code="until_dry")
    with pytest.raises(Unknown):
        services.attest_condition(member=cast.applicator, closure_id=theirs.pk, now=NOW)
    assert Closure.rows.get(pk=theirs.pk).lifted_at is None


def test_an_opening_is_told_once_to_everybody_on_the_farm(cast, block, django_assert_num_queries):
    for days in (0, 1):
        ClosureFactory(block=block, starts_at=NOW - timedelta(days=days) - HOUR)
    opens = NOW - HOUR + timedelta(hours=13.5)
    assert queries.due(cast.farm, opens - timedelta(minutes=1)) == []
    with django_assert_num_queries(5):  # what ended, what hangs there, and three roles
        (told,) = queries.due(cast.farm, opens)
    everybody = sorted([cast.manager.person_id, cast.applicator.person_id, cast.staff.person_id])
    assert (told.kind, list(told.person_ids), told.occasion) == ("entry_opens", everybody, opens.isoformat())
    assert told.numbers == {"block": str(block), "at": opens}
    assert queries.due(cast.farm, opens + timedelta(hours=30)) == []


def test_an_opening_is_not_told_while_anything_else_is_against_it(cast, block):
    ClosureFactory(block=block, starts_at=NOW - timedelta(hours=14))
    ClosureFactory(block=block, kind=Kind.UNCONFIRMED, starts_at=NOW - HOUR)
    assert queries.due(cast.farm, NOW) == []


def test_the_wait_before_harvest_is_told_on_its_own(cast, block):
    ClosureFactory(block=block, kind=Kind.HARVEST, starts_at=NOW - timedelta(hours=14))
    assert [d.kind for d in queries.due(cast.farm, NOW)] == ["harvest_opens"]


def test_no_reminder_promises_entry(cast, block):
    """A notice is read late: it may only say that a time has run, and to ask the board."""
    ClosureFactory(block=block, starts_at=NOW - timedelta(hours=14))
    (told,) = queries.due(cast.farm, NOW)
    assert told.template == "The entry time of {block} has run since {at}. Ask the board before you go in."
