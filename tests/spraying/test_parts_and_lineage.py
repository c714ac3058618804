"""Parts and reshaped ground through the real services: cases B6, B7 and B22 and what a split does to open jobs.

Basis: 40 CFR 170.407 speaks of the treated area; the rest is project rule.
"""

from __future__ import annotations

from datetime import timedelta

import pytest

from apps.land import reshape
from apps.safety import queries as board
from apps.safety import services as safety
from apps.safety.models import Closure
from apps.safety.rules import Kind, LiftReason
from apps.spraying import proof, services
from apps.spraying.models import Job, JobBlock
from apps.spraying.rules.record import Meaning
from tests.factories.land import square
from tests.factories.spraying import NOW, READINGS, REPORTED, SIGNED, STARTED, WINDOW, plot_of

pytestmark = pytest.mark.django_db

WEST, SOUTH = -86.19, 40.20
MINUTE = timedelta(minutes=1)


def box(west: float, east: float) -> dict:
    ring = [[west, SOUTH], [east, SOUTH], [east, SOUTH + 0.002], [west, SOUTH + 0.002], [west, SOUTH]]
    return {"type": "Polygon", "coordinates": [ring]}


PART = box(WEST, WEST + 0.0008)
HALVES = [box(WEST, WEST + 0.001), box(WEST + 0.001, WEST + 0.002)]


def split(bench, now=NOW):
    pieces = [{"name": f"Piece {c}", "code": c, "polygon": o} for c, o in zip(("W", "E"), HALVES, strict=True)]
    return reshape.split_block(member=bench.manager, block_id=bench.blocks[0].pk, pieces=pieces, now=now)


def entry(block, at, **more):
    return board.entry_answer(block, activity=None, at=at, now=at, **more)


def kept_to(bench, **line):
    """A signed job on the first block, reported with this line."""
    job = bench.spraying()
    done = bench.done_values(job, blocks=[{"block_id": bench.blocks[0].pk, **line}], deviation_reason="a part only")
    job = services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=REPORTED)
    return bench.sign(job)


def test_the_bench_lies_where_the_halves_are(bench):
    assert bench.blocks[0].polygon == square(WEST, SOUTH) == plot_of(1)


def test_b6_a_mapped_part_closes_only_itself(bench):
    kept_to(bench, part=PART)
    block = bench.blocks[0]
    assert entry(block, SIGNED).answer == "no"
    rest = entry(block, SIGNED, rest=True)
    assert (rest.answer, [b.code for b in rest.because]) == ("yes", ["part_closed"])
    assert {tuple(c.part["coordinates"][0][0]) for c in Closure.rows.filter(lifted_at=None)} == {(WEST, SOUTH)}


def test_until_it_is_signed_a_part_closes_the_whole_block(bench):
    job = bench.spraying()
    done = bench.done_values(
        job, blocks=[{"block_id": bench.blocks[0].pk, "part": PART}], deviation_reason="a part only"
    )
    services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=REPORTED)
    assert entry(bench.blocks[0], REPORTED, rest=True).answer == "unknown"


@pytest.mark.parametrize(
    "line",
    [{"treated_acres": "3", "part_note": "north end"}, {"treated_acres": "6", "part": PART}],
    ids=["B7 only words", "more acres than the part holds"],
)
def test_b7_what_is_not_mapped_closes_the_whole_block(bench, line):
    kept_to(bench, **line)
    assert entry(bench.blocks[0], SIGNED, rest=True).answer == "no"


def test_the_record_check_finds_the_part_on_the_board(bench):
    kept_to(bench, part=PART)
    assert proof.board_fault(bench.farm) is None


# ---- B22: the ground is split or merged ----------------------------------------------------


def test_b22_what_was_sprayed_before_a_split_closes_both_pieces_as_long(bench):
    bench.signed()
    before = entry(bench.blocks[0], SIGNED)
    at = SIGNED + 10 * MINUTE
    pieces = split(bench, at)
    assert {(p.answer, p.opens_at) for p in (entry(b, at) for b in pieces)} == {("no", before.opens_at)}
    assert {entry(b, before.opens_at).answer.value for b in pieces} == {"yes"}
    assert (
        entry(bench.blocks[0].__class__.rows.select_related("farm").get(pk=bench.blocks[0].pk), at).answer == "unknown"
    )
    assert proof.board_fault(bench.farm) is None


def test_b22_a_merged_block_takes_the_longest_of_both(bench):
    west, east = split(bench)
    bench.blocks[0] = west
    job = bench.signed(blocks=[{"block_id": west.pk}])
    at = SIGNED + MINUTE
    whole = reshape.merge_blocks(
        member=bench.manager, block_ids=[west.pk, east.pk], name="Whole", code="N9", now=at
    )  # fmt: skip
    assert job.meaning == Meaning.APPLIED
    assert entry(whole, at).answer == "no"


def test_a_part_follows_only_the_piece_that_holds_it(bench):
    kept_to(bench, part=PART)
    west, east = split(bench, SIGNED)
    assert (entry(west, SIGNED).answer, entry(east, SIGNED).answer) == ("no", "yes")


def test_a_split_while_spraying_keeps_both_pieces_shut_through_finish_and_signature(bench):
    job = bench.spraying()
    pieces = split(bench, STARTED + MINUTE)
    assert {entry(b, STARTED + MINUTE).answer.value for b in pieces} == {"no"}
    job = Job.objects.for_farm(bench.farm).get(pk=job.pk)
    services.finish_spraying(member=bench.applicator, job_id=job.pk, done=bench.done_values(job), now=REPORTED)
    assert {entry(b, REPORTED).answer.value for b in pieces} == {"unknown"}
    from apps.spraying import queries

    bench.sign(queries.job(bench.farm, job.pk))
    assert {entry(b, SIGNED).answer.value for b in pieces} == {"no"}
    kinds = Closure.rows.filter(block__in=pieces).order_by("block", "pk").values_list("kind", "lift_reason")
    assert list(kinds) == 2 * [("underway", "finished"), ("unconfirmed", "signed"), ("entry", ""), ("harvest", "")]


def test_a_signed_part_opens_the_piece_it_never_reached(bench):
    from apps.spraying import queries

    job = bench.spraying()
    done = bench.done_values(
        job, blocks=[{"block_id": bench.blocks[0].pk, "part": PART}], deviation_reason="a part only"
    )
    services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=REPORTED)
    west, east = split(bench, REPORTED)
    assert (entry(west, REPORTED).answer, entry(east, REPORTED).answer) == ("unknown", "unknown")
    bench.sign(queries.job(bench.farm, job.pk))
    assert (entry(west, SIGNED).answer, entry(east, SIGNED).answer) == ("no", "yes")


def test_signed_not_applied_opens_what_became_of_the_block(bench):
    from apps.spraying import queries

    job = bench.assigned()
    pieces = split(bench, WINDOW[0] + MINUTE)
    assert {entry(b, WINDOW[0] + MINUTE).answer.value for b in pieces} == {"no"}
    bench.sign(queries.job(bench.farm, job.pk), meaning=Meaning.NOT_APPLIED, now=SIGNED)
    assert {entry(b, SIGNED).answer.value for b in pieces} == {"yes"}


def test_a_later_end_reaches_what_became_of_the_block(bench):
    """B15 after a split: lengthened at once, on every piece."""
    bench.signed()
    source = f"job:{Job.rows.get().pk}"
    opens = entry(bench.blocks[0], SIGNED).opens_at
    pieces = split(bench, SIGNED)
    longer = [
        c.facts for c in Closure.rows.filter(block=bench.blocks[0], kind="entry").order_by("pk")
    ]  # as they were on the old block
    from dataclasses import replace

    from apps.safety.rules import NewClosure

    new = [
        NewClosure(
            **{
                n: getattr(replace(c, ends_at=c.ends_at + timedelta(hours=2)), n)
                for n in NewClosure.__dataclass_fields__
            }
        )
        for c in longer
    ]
    safety.replace_closures(
        farm=bench.farm, member=bench.applicator, source=source, kinds=[Kind.ENTRY], closures=new,
        reason=LiftReason.LENGTHENED, now=SIGNED + MINUTE,
    )  # fmt: skip
    assert {entry(b, SIGNED + MINUTE).opens_at for b in pieces} == {opens + timedelta(hours=2)}


def test_a_planned_job_is_laid_on_the_pieces_acre_for_acre_and_can_be_started(bench):
    job = bench.assigned()
    planned = JobBlock.rows.get(job=job).planned_acres
    pieces = split(bench)
    rows = JobBlock.rows.filter(job=job).order_by("block")
    assert [r.block_id for r in rows] == [b.pk for b in pieces]
    assert sum(r.planned_acres for r in rows) == planned
    assert {entry(b, WINDOW[0]).answer.value for b in pieces} == {"no"}
    job.refresh_from_db()
    services.start_spraying(
        member=bench.applicator, job_id=job.pk, readings=READINGS, reason="looked all round", now=STARTED
    )
    assert {entry(b, STARTED).because[0].code for b in pieces} == {"spraying_now"}


def test_a_planned_job_on_two_blocks_is_laid_on_the_merged_one(bench):
    west, east = split(bench)
    job = bench.planned(blocks=[{"block_id": west.pk}, {"block_id": east.pk}])
    acres = sum(JobBlock.rows.filter(job=job).values_list("planned_acres", flat=True))
    whole = reshape.merge_blocks(
        member=bench.manager, block_ids=[west.pk, east.pk], name="Whole", code="N9", now=NOW
    )  # fmt: skip
    assert list(JobBlock.rows.filter(job=job).values_list("block_id", "planned_acres")) == [(whole.pk, acres)]


def test_a_sign_that_stands_stands_on_every_piece(bench):
    from apps.safety.rules import for_sign

    block = bench.blocks[0]
    sign = {"farm": bench.farm, "member": bench.manager, "source": "sign:1"}
    safety.hang_closures(**sign, closures=for_sign([block.pk], up_at=NOW), now=NOW)
    pieces = split(bench)
    assert {entry(b, NOW).because[0].code for b in pieces} == {"sign_up"}
    safety.lift_closures(**sign, kinds=[Kind.POSTED], reason=LiftReason.SIGN_DOWN, now=NOW + MINUTE)
    assert {entry(b, NOW + MINUTE).answer.value for b in pieces} == {"yes"}
