"""Plans, events and the sequence of a block."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from apps.crops.rules import (
    EVENT_NAMES,
    EventKind,
    PlantingFact,
    Purpose,
    StartedAs,
    Step,
    block_taken,
    check_event,
    check_plan,
    first_flower,
    harvest_window,
    sequence,
)
from farmops.errors import BadInput, Severity
from tests.crops.stories import (
    BLOOM_END,
    BLOOM_START,
    HARVEST_END,
    HARVEST_START,
    SOWN,
    TERMINATED,
    clover,
    maybe,
    on,
    squash,
)

S = (SOWN, "06-01")

FLOWER = [
    # (stated, planned, started, days of the crop, how, expected)
    ("nobody_said", None, "06-01", "06-01", None, StartedAs.SEED, None),
    ("counted_from_sowing", None, "06-01", "06-11", 40, StartedAs.SEED, "07-21"),
    ("a_transplant_is_older", None, "06-01", "06-01", 40, StartedAs.TRANSPLANT, None),
    ("stated", "07-10", "06-01", "06-01", 40, StartedAs.SEED, "07-10"),
    ("sown_earlier_comes_forward", "07-10", "06-01", "05-29", None, StartedAs.SEED, "07-07"),
    ("sown_later_stays", "07-10", "06-01", "06-11", None, StartedAs.SEED, "07-10"),
]


@pytest.mark.parametrize(
    ("stated", "planned", "started", "days", "how", "expected"), [r[1:] for r in FLOWER], ids=[r[0] for r in FLOWER]
)
def test_the_first_flower(stated, planned, started, days, how, expected) -> None:
    found = first_flower(maybe(stated), planned_on=on(planned), starts_on=on(started), started_as=how, crop_days=days)
    assert found == maybe(expected)


def test_a_block_reads_cover_crop_then_cash_crop() -> None:
    cover = clover((SOWN, "2025-09-12"), (TERMINATED, "05-12"), variety_name="Dixie-like")
    cash = squash(harvest_from=on("09-10"), harvest_to=on("10-20"))
    assert sequence([cash, cover]) == (
        Step(
            planting_id=2,
            crop_name="Crimson clover",
            variety_name="Dixie-like",
            purpose=Purpose.COVER,
            starts_on=on("2025-09-12"),
            sown=True,
            ends_on=on("05-12"),
            ended=True,
        ),
        Step(
            planting_id=1,
            crop_name="Winter squash",
            variety_name="",
            purpose=Purpose.CASH,
            starts_on=on("06-01"),
            sown=False,
            ends_on=on("10-20"),
            ended=False,
        ),
    )


def test_a_cover_sown_on_the_same_day_stands_before_the_crop() -> None:
    """Also where it was entered later, under a higher number."""
    steps = sequence([squash(S, id=1), clover((SOWN, "06-01"), id=2, flower=None)])
    assert [(step.planting_id, step.purpose) for step in steps] == [(2, Purpose.COVER), (1, Purpose.CASH)]


LIVES = {
    # id: (planting, day, today, lives)
    "before sowing": (squash(S), "05-31", None, False),
    "sowing day": (squash(S), "06-01", None, True),
    "the recorded day counts, not the planned": (squash((SOWN, "06-05")), "06-03", None, False),
    "termination day": (squash(S, (TERMINATED, "09-30")), "09-30", None, True),
    "after termination": (squash(S, (TERMINATED, "09-30")), "10-01", None, False),
    "after the last harvest": (squash(S, (HARVEST_END, "09-20")), "09-21", None, False),
    "past its window, nothing recorded": (
        squash(S, harvest_from=on("09-01"), harvest_to=on("09-10")),
        "10-01",
        None,
        True,
    ),
    "planned end passed by, not recorded": (
        clover((SOWN, "2025-09-10"), terminate_planned_on=on("05-10")),
        "05-20",
        None,
        True,
    ),
    "planned end overdue today": (
        clover((SOWN, "2025-09-10"), terminate_planned_on=on("05-10")),
        "05-20",
        "05-11",
        True,
    ),
    "planned end still ahead": (
        clover((SOWN, "2025-09-10"), terminate_planned_on=on("05-10")),
        "05-20",
        "05-10",
        False,
    ),
    "day of the planned end, still ahead": (
        clover((SOWN, "2025-09-10"), terminate_planned_on=on("05-10")),
        "05-10",
        "05-01",
        True,
    ),
    "sowing planned": (squash(), "06-01", None, True),
    "sowing planned for today": (squash(), "06-10", "06-01", True),
    "sowing planned and ahead": (squash(), "06-01", "05-01", True),
    "sowing overdue": (squash(), "06-10", "06-02", False),
}


@pytest.mark.parametrize(("planting", "day", "today", "lives"), LIVES.values(), ids=LIVES.keys())
def test_what_stands_on_a_day(planting: PlantingFact, day: str, today: str | None, lives: bool) -> None:
    assert planting.lives_on(on(day), today=maybe(today)) is lives


@pytest.mark.parametrize(
    ("planting", "window"),
    [
        (squash(S), (None, None)),
        (squash(S, harvest_from=on("09-10"), harvest_to=on("10-20")), (on("09-10"), on("10-20"))),
        (
            squash(S, (HARVEST_START, "09-05"), harvest_from=on("09-10"), harvest_to=on("10-20")),
            (on("09-05"), on("10-20")),
        ),
        (
            squash(
                S, (HARVEST_START, "09-05"), (HARVEST_END, "09-30"), harvest_from=on("09-10"), harvest_to=on("10-20")
            ),
            (on("09-05"), on("09-30")),
        ),
    ],
    ids=["nobody said", "expected", "started early", "done"],
)
def test_harvest_window_is_what_happened_else_what_is_expected(
    planting: PlantingFact, window: tuple[date | None, date | None]
) -> None:
    assert harvest_window(planting) == window


PLANS: dict[str, tuple[PlantingFact, dict[str, list[str]]]] = {
    "flowers before sowing": (squash(flower="06-01"), {"first_flower_on": ["Must be after the sowing date."]}),
    "harvest before sowing": (
        squash(harvest_from=on("05-01"), harvest_to=on("05-09")),
        {"harvest_from": ["Must be after the sowing date."], "harvest_to": ["Must be after the sowing date."]},
    ),
    "ends before it starts": (
        squash(harvest_from=on("09-10"), harvest_to=on("09-09")),
        {"harvest_to": ["The last harvest day must not be before the first."]},
    ),
    "no first day": (squash(harvest_to=on("09-09")), {"harvest_from": ["Enter the first harvest day too."]}),
    "terminated before sowing": (
        squash(terminate_planned_on=on("05-31")),
        {"terminate_planned_on": ["Must be after the sowing date."]},
    ),
    "the day before the first that can be": (
        squash(planned="1989-12-31"),
        {"planned_on": ["Date must be between 1990 and 2099."]},
    ),
    "the day after the last that can be": (
        squash(harvest_from=on("09-10"), harvest_to=on("2100-01-01")),
        {"harvest_to": ["Date must be between 1990 and 2099."]},
    ),
    "impossible year": (squash(planned="0206-06-01"), {"planned_on": ["Date must be between 1990 and 2099."]}),
    "harvested cover": (
        clover(harvest_from=on("06-20")),
        {
            "harvest_from": [
                "A cover crop is not harvested. If it will be cut for grain, straw or feed, make it a cash crop."
            ]
        },
    ),
}


@pytest.mark.parametrize(("planting", "errors"), PLANS.values(), ids=PLANS.keys())
def test_plans_that_make_no_sense(planting: PlantingFact, errors: dict[str, list[str]]) -> None:
    with pytest.raises(BadInput) as refused:
        check_plan(planting)
    assert refused.value.errors == errors


@pytest.mark.parametrize(
    "planting",
    [
        squash(flower=None),
        squash(planned="1990-01-01", flower=None),
        squash(harvest_from=on("09-10"), harvest_to=on("2099-12-31")),
        squash(harvest_from=on("09-10"), harvest_to=on("09-10")),
        squash(harvest_from=on("09-10")),
        clover(terminate_planned_on=on("05-10")),
    ],
    ids=["bare", "first day that can be", "last day that can be", "one-day harvest", "open end", "cover"],
)
def test_plans_that_do(planting: PlantingFact) -> None:
    assert check_plan(planting) is None


def other(**more: Any) -> PlantingFact:
    """Sweet corn on the same block, 20 April to 20 July."""
    base = {
        "id": 9,
        "crop_code": "sweet_corn",
        "crop_name": "Sweet corn",
        "harvest_from": on("07-10"),
        "harvest_to": on("07-20"),
    }
    return squash(planned="04-20", **(base | more))


TAKEN: dict[str, tuple[PlantingFact, PlantingFact, list[str]]] = {
    "clash": (squash(), other(), ["block_taken"]),
    "hand-over on one day": (squash(planned="07-20"), other(), []),
    "afterwards": (squash(planned="07-21"), other(), []),
    "hand-over to the one already there": (
        squash(planned="03-01", harvest_from=on("04-01"), harvest_to=on("04-20")),
        other(),
        [],
    ),
    "one day too long for the one already there": (
        squash(planned="03-01", harvest_from=on("04-01"), harvest_to=on("04-21")),
        other(),
        ["block_taken"],
    ),
    "nobody said when the first ends": (
        squash(planned="09-01"),
        other(harvest_from=None, harvest_to=None),
        ["block_taken"],
    ),
    "first ended early": (squash(), other(events=(squash(S, (TERMINATED, "05-15")).events[1],)), []),
    "first ended late": (
        squash(planned="07-21"),
        other(events=(squash(S, (HARVEST_END, "08-01")).events[1],)),
        ["block_taken"],
    ),
    "new one open-ended, another planned later": (squash(planned="03-01"), other(), ["block_taken"]),
    "cover under it": (clover(planned="07-01", id=3), other(), []),
    "cover before it": (squash(), clover((SOWN, "2025-09-10")), []),
    "itself": (other(), other(), []),
}


@pytest.mark.parametrize(("new", "there", "codes"), TAKEN.values(), ids=TAKEN.keys())
def test_one_cash_crop_at_a_time(new: PlantingFact, there: PlantingFact, codes: list[str]) -> None:
    found = block_taken(new, [there])
    assert [f.code for f in found] == codes
    assert {f.severity for f in found} <= {Severity.REFUSE}


def test_the_refusal_names_the_crop_and_its_days() -> None:
    assert [f.sentence for f in block_taken(squash(), [other()])] == [
        "Sweet corn has this block from Mon, Apr 20, 2026 to Mon, Jul 20, 2026 and would share days with "
        "Winter squash. A block carries one cash crop at a time: give the earlier one an end (harvest or "
        "termination), or make a second block."
    ]


EVENTS: dict[str, tuple[PlantingFact, EventKind, str, list[str]]] = {
    "sown": (squash(), SOWN, "06-03", []),
    "sown twice": (squash(S), SOWN, "06-03", ["event_twice"]),
    "emerged before anything was sown": (squash(), EventKind.EMERGED, "06-10", ["not_sown"]),
    "emerged before sowing": (squash(S), EventKind.EMERGED, "05-30", ["before_sowing"]),
    "emerged": (squash(S), EventKind.EMERGED, "06-09", []),
    "emerged on the day it was set out": (squash(S), EventKind.EMERGED, "06-01", []),
    "recorded today": (squash(S), HARVEST_START, "10-01", []),
    "sown on the first day that can be": (squash(), SOWN, "1990-01-01", []),
    "terminated on the day of the last bloom": (squash(S, (BLOOM_START, "07-11")), TERMINATED, "07-11", []),
    "bloom again": (squash(S, (BLOOM_START, "07-11"), (BLOOM_END, "08-01")), BLOOM_START, "08-20", []),
    "bloom over before it began": (squash(S, (BLOOM_START, "07-11")), BLOOM_END, "07-10", ["end_before_start"]),
    "harvest over before it began": (squash(S, (HARVEST_START, "09-10")), HARVEST_END, "09-09", ["end_before_start"]),
    "harvest over in one day": (squash(S, (HARVEST_START, "09-10")), HARVEST_END, "09-10", []),
    "after termination": (squash(S, (TERMINATED, "07-01")), BLOOM_START, "07-02", ["after_termination"]),
    "late entry of what happened before": (squash(S, (TERMINATED, "07-20")), BLOOM_START, "07-11", []),
    "terminated twice": (squash(S, (TERMINATED, "07-01")), TERMINATED, "07-01", ["event_twice"]),
    "terminated before the last bloom": (
        squash(S, (BLOOM_START, "07-11")),
        TERMINATED,
        "07-10",
        ["terminated_too_early"],
    ),
    "everything wrong at once": (
        squash(S, (HARVEST_START, "09-10"), (HARVEST_END, "09-20")),
        HARVEST_END,
        "05-20",
        ["before_sowing", "end_before_start", "event_twice"],
    ),
    "harvest of a cover crop": (clover((SOWN, "2025-09-10")), HARVEST_START, "06-10", ["cover_not_harvested"]),
    "termination of a cover crop": (clover((SOWN, "2025-09-10")), TERMINATED, "05-12", []),
}


@pytest.mark.parametrize(("planting", "kind", "day", "codes"), EVENTS.values(), ids=EVENTS.keys())
def test_what_can_be_recorded(planting: PlantingFact, kind: EventKind, day: str, codes: list[str]) -> None:
    found = check_event(planting, kind, on(day), today=on("10-01"))
    assert [f.code for f in found] == codes
    assert {f.field for f in found} <= {"on"}


@pytest.mark.parametrize(
    ("day", "said"),
    [("10-02", "The day must be today or earlier."), ("1989-12-31", "Date must be between 1990 and 2099.")],
)
def test_nothing_is_recorded_ahead_of_its_day(day: str, said: str) -> None:
    with pytest.raises(BadInput) as refused:
        check_event(squash(), SOWN, on(day), today=on("10-01"))
    assert refused.value.errors == {"on": [said]}


def test_every_event_has_its_own_words() -> None:
    assert set(EVENT_NAMES) == set(EventKind)
    assert len(set(EVENT_NAMES.values())) == len(EventKind)
