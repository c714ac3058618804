"""Is anything in flower? Every row is project rule: unknown counts as bloom, a look is good for seven days."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.crops.rules import Bloom, Event, EventKind, Look, PlantingFact, Purpose, Seen, bloom_on
from tests.crops.stories import (
    BLOOM_END,
    BLOOM_START,
    HARVEST_END,
    SOWN,
    TERMINATED,
    clover,
    look,
    on,
    squash,
)

S = (SOWN, "06-01")

CASES = {
    # id: (plantings, looks, day, answer, codes)
    "empty ground": ([], [], "07-01", "no", ["nothing_flowers"]),
    "seedlings": ([squash(S)], [], "06-15", "no", ["before_first_flower"]),
    "the day before first flower": ([squash(S)], [], "07-09", "no", ["before_first_flower"]),
    "first-flower day, nobody looked": ([squash(S)], [], "07-10", "unknown", ["bloom_never_looked"]),
    "no first-flower day stated, nobody looked": (
        [squash(S, flower=None)],
        [],
        "06-02",
        "unknown",
        ["bloom_never_looked"],
    ),
    "no first-flower day stated, fresh look": (
        [squash(S, flower=None)],
        [look("06-02", "no")],
        "06-09",
        "no",
        ["looked_no_bloom"],
    ),
    "no first-flower day stated, old look": (
        [squash(S, flower=None)],
        [look("06-02", "no")],
        "06-10",
        "unknown",
        ["bloom_look_old"],
    ),
    "looked seven days ago": ([squash(S)], [look("07-10", "no")], "07-17", "no", ["looked_no_bloom"]),
    "looked eight days ago": ([squash(S)], [look("07-10", "no")], "07-18", "unknown", ["bloom_look_old"]),
    "an old look before first flower is enough": (
        [squash(S)],
        [look("06-05", "no")],
        "07-09",
        "no",
        ["before_first_flower"],
    ),
    "a look that was not about flowers is no look": (
        [squash(S)],
        [look("07-16")],
        "07-17",
        "unknown",
        ["bloom_never_looked"],
    ),
    "a look still to come does not count": (
        [squash(S)],
        [look("07-20", "no")],
        "07-17",
        "unknown",
        ["bloom_never_looked"],
    ),
    "flowers seen": ([squash(S)], [look("07-12", "yes")], "07-12", "yes", ["crop_in_bloom"]),
    "flowers seen a month ago, nothing since": ([squash(S)], [look("07-12", "yes")], "08-12", "yes", ["crop_in_bloom"]),
    "flowers seen earlier than expected": ([squash(S)], [look("07-01", "yes")], "07-02", "yes", ["crop_in_bloom"]),
    "early flowers, then none seen, then nobody looks": (
        [squash(S)],
        [look("06-20", "yes"), look("06-22", "no")],
        "07-01",
        "unknown",
        ["bloom_look_old"],
    ),
    "bloom start recorded": ([squash(S, (BLOOM_START, "07-11"))], [], "07-11", "yes", ["crop_in_bloom"]),
    "bloom start recorded for later": ([squash(S, (BLOOM_START, "07-11"))], [], "07-09", "no", ["before_first_flower"]),
    "flowers seen and none seen on one day": (
        [squash(S)],
        [look("07-12", "yes"), look("07-12", "no")],
        "07-12",
        "yes",
        ["crop_in_bloom"],
    ),
    "none seen after the start": (
        [squash(S, (BLOOM_START, "07-11"))],
        [look("07-15", "no")],
        "07-16",
        "no",
        ["looked_no_bloom"],
    ),
    "bloom over": ([squash(S, (BLOOM_START, "07-11"), (BLOOM_END, "08-20"))], [], "09-30", "no", ["bloom_over"]),
    "bloom over, seen again": (
        [squash(S, (BLOOM_START, "07-11"), (BLOOM_END, "08-20"))],
        [look("08-25", "yes")],
        "08-26",
        "yes",
        ["crop_in_bloom"],
    ),
    "bloom over, later look agrees, long ago": (
        [squash(S, (BLOOM_START, "07-11"), (BLOOM_END, "08-20"))],
        [look("08-22", "no")],
        "09-30",
        "no",
        ["bloom_over"],
    ),
    "bloom over and start on one day": (
        [squash(S, (BLOOM_START, "07-11"), (BLOOM_END, "07-11"))],
        [],
        "07-12",
        "yes",
        ["crop_in_bloom"],
    ),
    "bloom comes back": (
        [clover((SOWN, "2025-09-10"), (BLOOM_START, "05-01"), (BLOOM_END, "05-10"), (BLOOM_START, "06-01"))],
        [],
        "06-02",
        "yes",
        ["crop_in_bloom"],
    ),
    "weeds in flower under seedlings": ([squash(S)], [look("06-14", weeds="yes")], "06-15", "yes", ["weeds_in_bloom"]),
    "weeds in flower on empty ground": ([], [look("06-14", weeds="yes")], "06-21", "yes", ["weeds_in_bloom"]),
    "weeds in flower, old look": ([], [look("06-14", weeds="yes")], "06-22", "unknown", ["weed_look_old"]),
    "weeds gone": (
        [squash(S)],
        [look("06-14", weeds="yes"), look("06-20", weeds="no")],
        "06-21",
        "no",
        ["before_first_flower", "weeds_not_in_bloom"],
    ),
    "weeds yes and no on one day": (
        [],
        [look("06-14", weeds="yes"), look("06-14", weeds="no")],
        "06-15",
        "yes",
        ["weeds_in_bloom"],
    ),
    "weeds do not make the crop looked at": (
        [squash(S)],
        [look("07-16", weeds="no")],
        "07-17",
        "unknown",
        ["bloom_never_looked"],
    ),
    "crop and weeds in flower": (
        [squash(S)],
        [look("07-12", "yes", "yes")],
        "07-12",
        "yes",
        ["crop_in_bloom", "weeds_in_bloom"],
    ),
    "cover in flower": ([clover((SOWN, "2025-09-10"), (BLOOM_START, "05-06"))], [], "05-10", "yes", ["crop_in_bloom"]),
    "last season's look tells nothing of this crop": (
        [squash(S)],
        [look("05-20", "yes")],
        "06-15",
        "no",
        ["before_first_flower"],
    ),
    "a look at the other planting": (
        [squash(S), clover((SOWN, "2025-09-10"))],
        [look("07-12", "no", planting_id=2)],
        "07-12",
        "unknown",
        ["bloom_never_looked"],
    ),
    "killed before flowers": (
        [clover((SOWN, "2025-09-10"), (TERMINATED, "04-20"))],
        [],
        "04-21",
        "no",
        ["nothing_flowers"],
    ),
    "killed in flower, next day": (
        [clover((SOWN, "2025-09-10"), (BLOOM_START, "05-06"), (TERMINATED, "05-12"))],
        [],
        "05-13",
        "unknown",
        ["ended_in_bloom"],
    ),
    "killed in flower, looked since": (
        [clover((SOWN, "2025-09-10"), (BLOOM_START, "05-06"), (TERMINATED, "05-12"))],
        [look("05-14", "no")],
        "05-15",
        "no",
        ["nothing_flowers"],
    ),
    "killed in flower, looked on the day of the kill": (
        [clover((SOWN, "2025-09-10"), (BLOOM_START, "05-06"), (TERMINATED, "05-12"))],
        [look("05-12", "yes")],
        "05-13",
        "unknown",
        ["ended_in_bloom"],
    ),
    "not in flower on the day of the kill": (
        [clover((SOWN, "2025-09-10"), (TERMINATED, "05-12"))],
        [look("05-12", "no")],
        "05-13",
        "no",
        ["nothing_flowers"],
    ),
    "killed in flower, seen without flowers long before": (
        [clover((SOWN, "2025-09-10"), (BLOOM_START, "05-06"), (TERMINATED, "05-12"))],
        [look("04-01", "no")],
        "05-13",
        "unknown",
        ["ended_in_bloom"],
    ),
    "killed in flower, a week on": (
        [clover((SOWN, "2025-09-10"), (BLOOM_START, "05-06"), (TERMINATED, "05-12"))],
        [],
        "05-19",
        "unknown",
        ["ended_in_bloom"],
    ),
    "killed in flower, eight days on": (
        [clover((SOWN, "2025-09-10"), (BLOOM_START, "05-06"), (TERMINATED, "05-12"))],
        [],
        "05-20",
        "no",
        ["nothing_flowers"],
    ),
    "killed when perhaps in flower": (
        [clover((SOWN, "2025-09-10"), (TERMINATED, "05-12"))],
        [],
        "05-13",
        "unknown",
        ["ended_in_bloom"],
    ),
    "harvested but the vines still stand": (
        [squash(S, (HARVEST_END, "09-20"))],
        [],
        "09-25",
        "unknown",
        ["bloom_never_looked"],
    ),
    "harvested and sown again": (
        [squash(S, (HARVEST_END, "09-20")), clover((SOWN, "09-22"), planned="09-22", flower="2027-05-05")],
        [],
        "10-05",
        "no",
        ["before_first_flower"],
    ),
    "not sown yet": ([squash(planned="06-01")], [], "05-20", "no", ["nothing_flowers"]),
    "the day of the sowing, nobody said when it flowers": ([squash(S, flower=None)], [], "06-01", "unknown",
                                                           ["bloom_never_looked"]),
    "the day before the sowing": ([squash(S, flower=None)], [], "05-31", "no", ["nothing_flowers"]),
    "looked on the day of the sowing": ([squash(S, flower=None)], [look("06-01", "no")], "06-02", "no",
                                        ["looked_no_bloom"]),
    "bloom over on the day itself": ([squash(S, (BLOOM_START, "07-11"), (BLOOM_END, "08-20"))], [], "08-20", "no",
                                     ["bloom_over"]),
    "bloom over tomorrow": ([squash(S, (BLOOM_START, "07-11"), (BLOOM_END, "08-20"))], [], "08-19", "yes",
                            ["crop_in_bloom"]),
    "in flower on the day of the kill": (
        [clover((SOWN, "2025-09-10"), (BLOOM_START, "05-06"), (TERMINATED, "05-12"))], [], "05-12", "yes",
        ["crop_in_bloom"]),
    "seen with and without flowers on the day of the kill": (
        [clover((SOWN, "2025-09-10"), (TERMINATED, "05-12"))], [look("05-12", "yes"), look("05-12", "no")], "05-13",
        "unknown", ["ended_in_bloom"]),
    "harvested, a cover sown under it before": (
        [squash(S, (HARVEST_END, "09-20")), clover((SOWN, "08-20"), planned="08-20", flower="2027-05-05")], [],
        "10-05", "unknown", ["bloom_never_looked"]),
    "harvested and sown again the same day": (
        [squash(S, (HARVEST_END, "09-20")), clover((SOWN, "09-20"), planned="09-20", flower="2027-05-05")], [],
        "09-21", "unknown", ["ended_in_bloom"]),
    "harvested, the next only planned": (
        [squash(S, (HARVEST_END, "09-20")), clover(planned="09-22", flower="2027-05-05")], [], "10-05", "unknown",
        ["bloom_never_looked"]),
    "sowing only planned, past first flower": (
        [squash(planned="06-01")],
        [],
        "07-20",
        "unknown",
        ["bloom_never_looked"],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("plantings", "looks", "day", "answer", "codes"), CASES.values(), ids=CASES.keys())
def test_bloom(plantings: list[PlantingFact], looks: list[Look], day: str, answer: str, codes: list[str]) -> None:
    found = bloom_on(plantings, looks, on(day))
    assert found.bloom.value == answer
    assert [note.code for note in found.because] == codes
    assert found.counts_as_bloom is (answer != "no")


def test_the_reason_names_crop_and_days() -> None:
    found = bloom_on([squash(S)], [look("07-10", "no")], on("07-20"))
    assert [note.sentence for note in found.because] == [
        "Winter squash: may flower since Fri, Jul 10, 2026; the last look, Fri, Jul 10, 2026, is 10 days old."
    ]


DAY = on("07-20")
near_days = st.integers(-60, 30).map(lambda n: DAY + timedelta(days=n))
some_looks = st.lists(
    st.builds(Look, on=near_days, crop_in_bloom=st.sampled_from(Seen), weeds_in_bloom=st.sampled_from(Seen)), max_size=5
)
some_events = st.lists(
    st.builds(Event, kind=st.sampled_from([EventKind.BLOOM_START, EventKind.BLOOM_END]), on=near_days), max_size=3
)


@st.composite
def living_plantings(draw: st.DrawFn) -> PlantingFact:
    return PlantingFact(
        id=1,
        crop_code="winter_squash",
        crop_name="Winter squash",
        purpose=Purpose.CASH,
        planned_on=on("05-01"),
        first_flower_on=draw(st.none() | near_days.filter(lambda d: d > on("05-01"))),
        events=(Event(kind=SOWN, on=on("05-01")), *draw(some_events)),
    )


@given(planting=living_plantings(), looks=some_looks)
def test_without_evidence_of_the_last_week_bloom_is_never_ruled_out(planting: PlantingFact, looks: list[Look]) -> None:
    """The one-sided promise, told independently: "no" needs a reason that can be named."""
    answer = bloom_on([planting], looks, DAY).bloom
    if answer is not Bloom.NO:
        return
    before_flower = planting.first_flower_on is not None and planting.first_flower_on > DAY
    looked = any(look.crop_in_bloom is Seen.NO and 0 <= (DAY - look.on).days <= 7 for look in looks)
    over = any(e.kind is BLOOM_END and e.on <= DAY for e in planting.events)
    assert before_flower or looked or over


@given(planting=living_plantings(), looks=some_looks, days=st.integers(0, 7))
def test_a_fresh_sighting_of_flowers_always_counts(planting: PlantingFact, looks: list[Look], days: int) -> None:
    seen = Look(on=DAY, crop_in_bloom=Seen.YES) if days == 0 else Look(on=DAY, weeds_in_bloom=Seen.YES)
    assert bloom_on([planting], [*looks, seen], DAY).bloom is Bloom.YES


@given(planting=living_plantings(), looks=some_looks, later=st.dates(DAY + timedelta(days=1), date(2026, 12, 31)))
def test_what_is_seen_later_changes_nothing_today(planting: PlantingFact, looks: list[Look], later: date) -> None:
    seen = Look(on=later, crop_in_bloom=Seen.YES, weeds_in_bloom=Seen.YES)
    assert bloom_on([planting], [*looks, seen], DAY) == bloom_on([planting], looks, DAY)
