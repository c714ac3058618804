"""Starts tried one after the other on every block of a job, and what stands against each."""

from __future__ import annotations

from apps.spraying.rules.openings import tried_starts

from .mixes import at, changed, facts, past

DAYS = [at(f"2026-08-{day:02}T07:00") for day in (9, 10, 11)]


def block(name, *history):
    """F1 again no sooner than seven days after it was there."""
    base = changed(facts([("F1", 3)], history), block_name=name)
    return lambda start_at: changed(base, start_at=start_at, end_at=start_at + (base.end_at - base.start_at))


def test_each_start_names_the_block_that_stands_against_it_and_the_first_without_ends_it():
    """3 August and seven days are 10 August."""
    tried = tried_starts([block("East 1"), block("West 2", past("2026-08-03", ("F1", 3)))], DAYS)

    assert [t.start_at for t in tried] == DAYS[:2]
    assert [[(place, f.code) for place, f in t.refused] for t in tried] == [[(1, "interval")], []]
    assert [(t.facts.block_name, t.facts.start_at) for t in tried] == [("East 1", DAYS[0]), ("East 1", DAYS[1])]


def test_nothing_to_try_is_nothing_tried():
    assert tried_starts([block("East 1")], []) == []
