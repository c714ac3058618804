"""What the crop rules say: each kind of finding once, whole, and that its Spanish stands in the catalogue."""

from __future__ import annotations

import re
from datetime import date

import pytest

from apps.crops.rules import (
    SHIPPED,
    Bloom,
    EventKind,
    Look,
    Place,
    PlantingFact,
    block_taken,
    bloom_on,
    check_event,
    judge_count,
)
from farmops.errors import Finding, Severity
from tests.catalogue import SPANISH
from tests.crops.stories import (
    BLOOM_END,
    BLOOM_START,
    HARVEST_START,
    SOWN,
    TERMINATED,
    clover,
    look,
    on,
    squash,
)

SLOT = re.compile(r"\{[a-z_]+\}")
S = (SOWN, "06-01")
KILLED = clover((SOWN, "2025-09-10"), (BLOOM_START, "05-06"), (TERMINATED, "05-12"))
OVER = squash(S, (BLOOM_START, "07-11"), (BLOOM_END, "08-20"))
A_LOOK = "project rule: a look older than 7 days is no look"


def words_stand(finding: Finding) -> None:
    """Every slot has its number, every word of the sentence stands in Spanish too, with the same slots."""
    slots = set(SLOT.findall(finding.template))
    assert slots <= {f"{{{name}}}" for name in finding.numbers}
    assert all(isinstance(number, str) and number for number in finding.numbers.values())
    assert set(SLOT.findall(SPANISH[finding.template])) == slots


BLOOMS: dict[str, tuple[list[PlantingFact], list[Look], str, Bloom, str]] = {
    "nothing_flowers": ([], [], "07-01", Bloom.NO, "Nothing that flowers is known to stand here."),
    "before_first_flower": ([squash(S)], [], "07-09", Bloom.NO,
                            "Winter squash: no flowers expected before Fri, Jul 10, 2026."),
    "looked_no_bloom": ([squash(S)], [look("07-12", "no")], "07-15", Bloom.NO,
                        "Winter squash: no flowers seen on Sun, Jul 12, 2026."),
    "bloom_never_looked": ([squash(S)], [], "07-15", Bloom.UNKNOWN,
                           "Winter squash: may flower since Fri, Jul 10, 2026 and nobody has looked."),
    "bloom_look_old": ([squash(S, flower=None)], [look("06-02", "no")], "06-10", Bloom.UNKNOWN,
                       "Winter squash: may flower since ?; the last look, Tue, Jun 2, 2026, is 8 days old."),
    "crop_in_bloom": ([squash(S)], [look("07-12", "yes")], "07-20", Bloom.YES,
                      "Winter squash: in bloom, last seen Sun, Jul 12, 2026."),
    "bloom_over": ([OVER], [], "09-30", Bloom.NO, "Winter squash: bloom over since Thu, Aug 20, 2026."),
    "ended_in_bloom": ([KILLED], [], "05-13", Bloom.UNKNOWN,
                       "Crimson clover: ended on Tue, May 12, 2026, perhaps in bloom; nobody has looked since."),
    "weeds_in_bloom": ([], [look("06-14", weeds="yes")], "06-15", Bloom.YES,
                       "Weeds in flower, seen Sun, Jun 14, 2026."),
    "weeds_not_in_bloom": ([], [look("06-14", weeds="no")], "06-15", Bloom.NO,
                           "No weeds in flower on Sun, Jun 14, 2026."),
    "weed_look_old": ([], [look("06-14", weeds="yes")], "06-24", Bloom.UNKNOWN,
                      "Weeds were in flower on Sun, Jun 14, 2026, 10 days ago; nobody has looked since."),
}  # fmt: skip


@pytest.mark.parametrize("code", BLOOMS)
def test_why_there_is_bloom_or_not(code: str) -> None:
    plantings, looks, day, answer, sentence = BLOOMS[code]
    found = bloom_on(plantings, looks, on(day))
    (note,) = found.because
    assert (found.bloom, note.code, note.severity, note.sentence, note.source, note.field) == (
        answer,
        code,
        Severity.NOTE,
        sentence,
        A_LOOK,
        "",
    )
    words_stand(note)


# why a thing cannot be recorded: (planting, kind, day, sentence)
AGAINST: dict[str, tuple[PlantingFact, EventKind, str, str]] = {
    "cover_not_harvested": (clover((SOWN, "2025-09-10")), HARVEST_START, "06-10",
                            "A cover crop is not harvested. Change its purpose first."),
    "not_sown": (squash(), TERMINATED, "06-10", "Record the sowing first."),
    "event_twice": (squash(S), SOWN, "06-03",
                    "Already recorded for Mon, Jun 1, 2026. Withdraw that entry first if it is wrong."),
    "before_sowing": (squash(S), EventKind.EMERGED, "05-31",
                      "Sown on Mon, Jun 1, 2026; this cannot be earlier."),
    "end_before_start": (squash(S, (BLOOM_START, "07-11")), BLOOM_END, "07-10",
                         "Started on Sat, Jul 11, 2026; it cannot end earlier."),
    "after_termination": (squash(S, (TERMINATED, "07-01")), BLOOM_START, "07-02",
                          "Terminated on Wed, Jul 1, 2026; nothing can follow."),
    "terminated_too_early": (
        squash(S, (BLOOM_START, "07-11")), TERMINATED, "07-10",
        "Something was recorded for Sat, Jul 11, 2026; it cannot have been terminated earlier."),
}  # fmt: skip


@pytest.mark.parametrize("code", AGAINST)
def test_why_a_thing_cannot_be_recorded(code: str) -> None:
    planting, kind, day, sentence = AGAINST[code]
    (found,) = check_event(planting, kind, on(day), today=date(2026, 12, 1))
    assert (found.code, found.severity, found.sentence, found.source, found.field) == (
        code,
        Severity.REFUSE,
        sentence,
        "project rule",
        "on",
    )
    words_stand(found)


def test_why_a_block_is_taken() -> None:
    corn = squash(id=9, crop_code="sweet_corn", crop_name="Sweet corn", planned="04-20", flower=None)
    (found,) = block_taken(squash(), [corn])
    assert (found.code, found.severity, found.source, found.field) == (
        "block_taken",
        Severity.REFUSE,
        "project rule",
        "planned_on",
    )
    assert found.sentence.startswith(
        "Sweet corn has this block from Mon, Apr 20, 2026 to ? and would share days with Winter squash."
    )
    words_stand(found)


# what a count says: (threshold, places of the walk, nights, code, sentence); the shares and averages by hand
COUNTS = [
    ("powdery_mildew_leaves", [Place(examined=20, found=3)], None, "count_reached",
     "Powdery mildew: found on 3 of 20 looked at; act from 1 on."),
    ("mites_crowns", [Place(examined=11, found=2)] * 5, None, "count_below",
     "Two-spotted mites: on 18.18 % of 55 looked at; act from 20 % on."),
    ("beetles_cotyledon", [Place(examined=10, found=4), *[Place(examined=11, found=5)] * 4], None, "count_below",
     "Cucumber beetles, striped and spotted: 0.44 on each of 54 looked at, on average; act from 0.5 on."),
    ("vine_borer_bush", [Place(examined=3, found=16)], 7, "count_reached",
     "Squash vine borer moths: 5.33 in a trap in a week; act from 5 on."),
    ("earworm_silk", [Place(examined=3, found=2)], 1, "count_below",
     "Corn earworm moths: 0.67 in a trap in a night; act from 1 on."),
    ("beetles_established", [Place(examined=10, found=0)] * 5, None, "count_clean",
     "Cucumber beetles, striped and spotted: none found on 50 looked at."),
    ("squash_bug_eggs", [Place(examined=10, found=30)], None, "count_insufficient",
     "Squash bug egg masses: 30 found on 10 looked at so far. A sample is 50 or more, at 5 places or more: "
     "this is not enough to say."),
    ("earworm_silk", [Place(examined=2, found=9)], None, "count_insufficient",
     "Corn earworm moths: 9 found on 2 looked at so far. A sample is 1 or more, at 1 places or more: "
     "this is not enough to say."),
]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "places", "nights", "code", "sentence"), COUNTS, ids=[f"{r[0]}-{r[3]}" for r in COUNTS]
)
def test_what_a_count_rests_on(rule: str, places: list[Place], nights: int | None, code: str, sentence: str) -> None:
    found = judge_count(SHIPPED[rule], places, nights).because
    assert (found.code, found.severity, found.sentence, found.source) == (
        code,
        Severity.NOTE,
        sentence,
        SHIPPED[rule].source,
    )
    words_stand(found)
