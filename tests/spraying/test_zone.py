"""The exclusion zone on the board: neighbours close with a job and open with its end, and nobody is left inside.

Cases H1 to H8, H11 and B14 of the project's decision table. Basis 40 CFR 170.405(a)(2) unless a row says otherwise.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest

from apps.safety import queries as board
from apps.safety import services as safety
from apps.safety.models import Closure
from apps.safety.rules import Kind, LiftReason
from apps.spraying import services
from apps.spraying.around import around
from apps.spraying.rules.record import Meaning
from apps.work import services as work
from farmops.errors import Refused
from tests.factories.crops import PlantingFactory
from tests.factories.land import BlockFactory, square
from tests.factories.spraying import ENDED, NOW, READINGS, REPORTED, SIGNED, STARTED, WINDOW
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db

FEET_PER_DEGREE = 279_300  # of longitude at 40.2 degrees north (WGS 84: 85.1 km)
MINUTE = timedelta(minutes=1)


def neighbour(bench, feet: float, **more):
    """A block east of the bench's first one, with a gap of about so many feet."""
    west = -86.20 + 0.01 + 0.002 + feet / FEET_PER_DEGREE
    return BlockFactory(farm=bench.farm, code=f"E{feet}", polygon=square(round(west, 7), 40.20), **more)


@pytest.fixture
def row_of_blocks(bench):
    """Neighbours 20, 60 and 150 ft away."""
    return {feet: neighbour(bench, feet) for feet in (20, 60, 150)}


def entry(block, at):
    return board.entry_answer(block, activity=None, at=at, now=at)


def answers(blocks, at) -> dict[int, str]:
    return {feet: entry(block, at).answer.value for feet, block in blocks.items()}


def rig(bench, **facts) -> None:
    for name, value in facts.items():
        setattr(bench.sprayer, name, value)
    bench.sprayer.save()


CASES = [
    ("H1 air-blast", {"method": "air_blast", "droplet_class": "coarse"}, {20, 60}),
    ("H2 boom, fine, 20 in", {"droplet_class": "fine"}, {20, 60}),
    ("H3 boom, medium, 20 in", {"droplet_class": "medium"}, {20}),
    ("H4 boom, medium, exactly 12 in", {"droplet_class": "medium", "release_height_in": D(12)}, set()),
    ("H5 boom, medium, 12.5 in", {"droplet_class": "medium", "release_height_in": D("12.5")}, {20}),
    ("H7 droplet class unknown (project rule)", {"droplet_class": ""}, {20, 60}),
]


@pytest.mark.parametrize(("facts", "closed"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_which_neighbours_close(bench, row_of_blocks, facts, closed):
    rig(bench, **facts)
    bench.spraying()
    expected = {feet: "no" if feet in closed else "yes" for feet in row_of_blocks}
    assert answers(row_of_blocks, STARTED) == expected


def test_the_zone_comes_and_goes_with_the_job(bench, row_of_blocks):
    """H11: the application complete, there is no zone; B14: next door a yes ends with the planned start."""
    near = row_of_blocks[20]
    job = bench.assigned()
    before = entry(near, WINDOW[0] - 10 * MINUTE)
    assert (before.answer, before.good_until) == ("yes", WINDOW[0])
    assert [(b.code, b.numbers["next_to"]) for b in before.because] == [("zone_later", "N1 North 1")]
    planned = entry(near, WINDOW[0])
    assert (planned.answer, [b.code for b in planned.because]) == ("no", ["zone_planned_now"])
    start = {"member": bench.applicator, "job_id": job.pk, "readings": READINGS, "reason": "looked all round"}
    services.start_spraying(**start, now=STARTED)
    during = entry(near, STARTED)
    assert (during.answer, during.opens_at) == ("no", None)
    assert [(b.code, b.source) for b in during.because] == [("zone_now", "40 CFR 170.405(a)(2)")]
    job.refresh_from_db()
    services.finish_spraying(member=bench.applicator, job_id=job.pk, done=bench.done_values(job), now=REPORTED)
    assert entry(near, REPORTED).answer == "yes"
    assert entry(bench.blocks[0], REPORTED).answer == "unknown"
    kinds = Closure.rows.filter(block=near).order_by("pk").values_list("kind", "lift_reason")
    assert list(kinds) == [("zone_planned", "started"), ("zone", "ended")]


def test_in_every_step_the_zone_is_hung_before_the_old_comes_down(bench, row_of_blocks):
    bench.sprayed()
    planned, zone = Closure.rows.filter(block=row_of_blocks[20]).order_by("pk")
    assert (planned.lifted_at, zone.hung_at) == (STARTED, STARTED)
    assert zone.pk > planned.pk
    assert zone.lifted_at == REPORTED


def test_a_window_nobody_reported_on_is_unknown_next_door_too_until_somebody_does(bench, row_of_blocks):
    """B1 next door (project rule): it may be being sprayed without a phone."""
    job = bench.assigned()
    near, late = row_of_blocks[20], WINDOW[1] + timedelta(days=3)
    assert [b.code for b in entry(near, WINDOW[1]).because] == ["zone_unreported"]
    assert entry(near, late).answer == "unknown"
    bench.sign(job, meaning=Meaning.NOT_APPLIED, now=late)
    assert entry(near, late).answer == "yes"


def test_a_late_report_ends_the_zone(bench, row_of_blocks):
    job = bench.assigned()
    late = {"readings": READINGS, "done": bench.done_values(job), "reason": "the phone was in the shop"}
    services.report_late(member=bench.applicator, job_id=job.pk, now=ENDED + timedelta(hours=5), **late)
    assert answers(row_of_blocks, ENDED + timedelta(hours=5)) == {20: "yes", 60: "yes", 150: "yes"}


def test_called_off_in_time_ends_the_zone_and_too_late_does_not(bench, row_of_blocks):
    near = row_of_blocks[20]
    job = bench.assigned()
    services.call_off(member=bench.manager, job_id=job.pk, reason="rain is coming", now=NOW)
    assert entry(near, STARTED).answer == "yes"
    other = bench.assigned()
    services.call_off(member=bench.manager, job_id=other.pk, reason="rain is coming", now=STARTED)
    assert entry(near, STARTED).answer == "no"
    assert entry(near, WINDOW[1]).answer == "unknown"


def test_a_job_lost_sight_of_is_unknown_next_door(bench, row_of_blocks):
    """B2 next door (project rule)."""
    bench.spraying()
    said = entry(row_of_blocks[20], WINDOW[1] + timedelta(hours=24))
    assert (said.answer, [b.code for b in said.because]) == ("unknown", ["zone_no_finish_time"])


def test_a_block_that_was_told_stays_in_the_zone_when_the_nozzles_are_changed(bench, row_of_blocks):
    """Project rule: what was announced at assignment is never dropped at the start, what is wider is added."""
    rig(bench, droplet_class="fine")
    job = bench.assigned()
    rig(bench, droplet_class="medium")
    again = type(job).objects.for_farm(bench.farm).get(pk=job.pk)
    assert [b.code for b in around(again).blocks] == ["E20"]
    services.start_spraying(
        member=bench.applicator, job_id=job.pk, readings=READINGS, reason="looked all round", now=STARTED
    )
    assert answers(row_of_blocks, STARTED) == {20: "no", 60: "no", 150: "yes"}


def test_a_wider_zone_at_the_start_is_added(bench, row_of_blocks):
    job = bench.assigned()
    rig(bench, droplet_class="")
    services.start_spraying(
        member=bench.applicator, job_id=job.pk, readings=READINGS, reason="looked all round", now=STARTED
    )
    assert answers(row_of_blocks, STARTED) == {20: "no", 60: "no", 150: "yes"}


def test_an_outline_that_cannot_be_measured_closes_every_other_block(bench, row_of_blocks):
    """Project rule: without a shape nobody knows what lies next to it."""
    job, sprayed = bench.planned(), bench.blocks[0]
    type(sprayed).rows.filter(pk=sprayed.pk).update(polygon={"type": "Polygon", "coordinates": []})
    again = type(job).objects.for_farm(bench.farm).get(pk=job.pk)
    assert {b.code for b in around(again).blocks} == {"E20", "E60", "E150", "N2"}


def test_the_other_block_of_the_same_job_is_sprayed_and_not_zone(bench):
    beside = neighbour(bench, 20)
    PlantingFactory(farm=bench.farm, block=beside, crop=bench.crop, sown_on=NOW.date() - timedelta(days=26))
    bench.spraying(blocks=[{"block_id": bench.blocks[0].pk}, {"block_id": beside.pk}])
    assert list(Closure.rows.filter(block=beside, lifted_at=None).values_list("kind", flat=True)) == ["underway"]


def test_nobody_is_left_in_the_zone_at_the_start(bench, row_of_blocks):
    """B12 and H8 before the first drop: the start waits until they are out."""
    job = bench.assigned()
    task = TaskFactory(farm=bench.farm, block=row_of_blocks[20], starts_at=STARTED - MINUTE, state="started")
    start = {"member": bench.applicator, "job_id": job.pk, "readings": READINGS, "reason": "looked all round"}
    with pytest.raises(Refused) as error:
        services.start_spraying(**start, now=STARTED)
    assert [(f.code, f.source) for f in error.value.findings if f.severity == "refuse"] == [
        ("people_in_zone", "40 CFR 170.405(a)(2)")
    ]
    assert entry(row_of_blocks[20], STARTED).because[0].code == "zone_planned_now"
    task.state, task.closed_at = "done", STARTED
    task.save()
    assert services.start_spraying(**start, now=STARTED).state == "spraying"


def test_somebody_60_ft_away_does_not_hold_a_25_ft_zone(bench, row_of_blocks):
    job = bench.assigned()
    TaskFactory(farm=bench.farm, block=row_of_blocks[60], starts_at=STARTED - MINUTE, state="started")
    start = {"member": bench.applicator, "job_id": job.pk, "readings": READINGS, "reason": "looked all round"}
    assert services.start_spraying(**start, now=STARTED).state == "spraying"


def test_work_planned_in_the_zone_asks_for_a_reason_and_is_held(bench, cast, row_of_blocks):
    job = bench.assigned()
    near = row_of_blocks[20]
    task = TaskFactory(
        farm=bench.farm, block=near, starts_at=STARTED + 30 * MINUTE, assigned_to_id=cast.staff.person_id
    )
    start = {"member": bench.applicator, "job_id": job.pk, "readings": READINGS}
    with pytest.raises(Refused) as error:
        services.start_spraying(**start, now=STARTED)
    assert {f.code for f in error.value.findings} >= {"reason_missing", "work_in_zone"}
    services.start_spraying(**start, reason="they were told by radio", now=STARTED)
    with pytest.raises(Refused) as error:
        work.start_task(member=cast.staff, task_id=task.pk, now=STARTED + 30 * MINUTE)
    assert [f.code for f in error.value.findings] == ["board_no", "zone_now"]


def test_no_service_takes_a_zone_down_while_spraying_goes_on(bench, row_of_blocks):
    job = bench.spraying()
    with pytest.raises(Refused) as error:
        safety.lift_closures(
            farm=bench.farm, member=bench.applicator, source=f"job:{job.pk}", kinds=[Kind.ZONE],
            reason=LiftReason.ENDED, now=STARTED,
        )  # fmt: skip
    assert [f.code for f in error.value.findings] == ["still_spraying"]


def test_signing_leaves_the_neighbour_as_it_is(bench, row_of_blocks):
    bench.signed()
    assert answers(row_of_blocks, SIGNED) == {20: "yes", 60: "yes", 150: "yes"}
    assert entry(bench.blocks[0], SIGNED).answer == "no"
