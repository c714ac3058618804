"""How a finding is worded: numbers, where a limit stands, and which ground it is about."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from apps.spraying.rules.saying import amount, by_ground, grounds, justify, note, on_label, plain, pounds, refuse, say
from farmops.errors import Severity

from .mixes import at, changed, facts, line, past, relabelled

F1 = ("F1", 3)
MARKED = relabelled("F1", 3, sections={"rate": "page 2"})
SOURCES = [
    ("section", MARKED, ("rate", "rate"), "label of F1, label 1, rate, page 2"),
    ("another_limit", MARKED, ("caps", "season"), "label of F1, label 1, season"),
    ("no_limit_named", MARKED, (), "label of F1, label 1"),
    ("no_label", changed(MARKED, label=None), ("rate", "rate"), "label of F1, label 1, rate"),
    ("no_version", changed(MARKED, label_ref=""), ("rate",), "label of F1, page 2"),
]  # fmt: skip


@pytest.mark.parametrize(("row", "about", "said"), [r[1:] for r in SOURCES], ids=[r[0] for r in SOURCES])
def test_where_a_limit_stands(row, about, said):
    assert on_label(row, *about) == said


def test_numbers_are_read_with_four_decimals_at_most():
    assert [plain(v) for v in (Fraction(1, 3), Decimal("12.40"), 7, Fraction(200000))] == [
        "0.3333",
        "12.4",
        "7",
        "200000",
    ]
    assert (amount(Decimal("0.50"), "floz"), pounds(Fraction(9, 4))) == ("0.5 fl oz", "2.25 lb")


WEIGHTS = [(refuse, Severity.REFUSE), (justify, Severity.JUSTIFY), (note, Severity.NOTE)]


@pytest.mark.parametrize(("word", "severity"), WEIGHTS, ids=[s.value for _, s in WEIGHTS])
def test_each_word_weighs_what_it_says(word, severity):
    bare = word("code", "{product}", source="law", product="F1")
    full = word("code", "{product}", source="law", field="rate", subject="East 1", product="F1")

    assert (bare.severity, bare.field, bare.subject) == (severity, "", "F1")
    assert (full.severity, full.field, full.subject, full.sentence) == (severity, "rate", "East 1", "F1")
    assert bare == say("code", severity, "{product}", source="law", product="F1")


def test_a_finding_about_nothing_has_no_subject():
    bare = say("code", Severity.NOTE, "Rain.", source="law")

    assert (bare.subject, bare.field, bare.source, dict(bare.numbers)) == ("", "", "law", {})


def days(story):
    return {name: [e.on_date.day for e in events] for name, events in grounds(story).items()}


MORNING = past("2026-07-20", F1, starts_at=at("2026-07-20T07:00"), job_ref="early")
EVENING = past("2026-07-20", F1, starts_at=at("2026-07-20T19:00"), job_ref="late")
UNTIMED = past("2026-07-20", F1, job_ref="untimed")


def test_the_past_is_told_oldest_first_within_a_day_by_its_start():
    """A spray whose hour nobody knows comes first in its day."""
    story = facts([F1], [EVENING, past("2026-07-21", F1), UNTIMED, MORNING, past("2026-07-19", F1)])

    assert days(story) == {"rest": [19, 20, 20, 20, 21]}
    assert [e.job_ref for e in grounds(story)["rest"]][1:4] == ["untimed", "early", "late"]


def test_each_part_and_the_rest_has_its_own_past():
    story = facts([F1], [past("2026-07-01", F1, zone="B"), past("2026-07-02", F1, zone="A"), past("2026-07-03", F1)])

    assert days(story) == {"A": [2, 3], "B": [1, 3], "rest": [3]}
    assert days(changed(story, parts=frozenset({"A"}))) == {"A": [2, 3]}


def test_parts_and_pieces_are_told_together():
    story = facts([F1], [past("2026-07-01", F1, zone="A"), past("2026-07-02", F1, pieces=frozenset({"west"}))])

    assert days(story) == {"A, west": [1, 2], "A": [1], "west": [2], "rest": []}


def spoken(facts_now, events):
    return [note("seen", "{count} on {ground}", source="law", count=str(len(events)))]


def test_the_same_words_about_several_pieces_are_said_once_and_name_them():
    history = [past("2026-07-01", F1, zone="A"), past("2026-07-02", F1, zone="B")]
    whole = facts([F1], history)

    assert [f.sentence for f in by_ground(whole, spoken)] == ["1 on Long Field 2 [A, B]", "0 on Long Field 2 [rest]"]
    assert [f.sentence for f in by_ground(facts([F1]), spoken)] == ["0 on Long Field 2"]
    assert [f.sentence for f in by_ground(changed(whole, parts=frozenset({"A"})), spoken)] == ["1 on Long Field 2 [A]"]


def test_a_line_is_named_as_the_farm_names_it():
    assert on_label(changed(line(*F1), name="House fungicide")).startswith("label of House fungicide")
