"""Ways out where the order of the screws matters, and one screw turned back. Limits of the invented library."""

from __future__ import annotations

from dataclasses import replace

import pytest

from apps.spraying.rules.alternatives import Turn, WaysOut, ways_out
from apps.spraying.rules.attempt import Attempt, Case, Change, Choices, Edit

from .mixes import at, facts, past, relabelled
from .test_check_alternatives import choices, offered, shelf

F1, F3 = ("F1", 3), ("F3", 6)
RUN = [past("2026-07-27", F3, F1), past("2026-08-03", F3, F1)]  # F3's label: at most two in a row; both every 7 days


def answers(found):
    return [{change.turn: change.answers for change in s.changes} for s in found.suggestions]


def test_a_lawful_job_needs_no_way_out():
    clean = facts([F3, F1])

    assert ways_out([clean], choices(clean)) == WaysOut(refused=False)


def test_a_change_answers_what_was_refused_not_what_the_other_changes_would_bring():
    """Sulfur instead of F3 ends the run; before 10 August it would be within 14 days of the oil of 27 July."""
    oil = relabelled("F11", "0.8", kind="insecticide", groups=[])
    given = facts([F3, F1], [*RUN, past("2026-07-27", lines=(oil,))])
    found = ways_out([given], choices(given, shed=shelf(relabelled("F10", 4))))

    assert answers(found) == [{Turn.START: ("interval",), Turn.PRODUCT: ("group_consec_label",)}]
    assert found.suggestions[0].answers == ("interval", "group_consec_label")


def test_a_dead_end_of_one_order_does_not_end_the_others():
    """F4 fits today, but from 8 August on its 55 days run past the harvest of 1 October; F5 fits then, too.

    Swapping first takes F4 and finds no start for I5 (5 days from 3 August); starting later first takes F5.
    """
    history = [past("2026-07-13", F3), past("2026-07-20", F3), past("2026-08-03", ("I5", 4))]
    given = facts([F3, ("I5", 4)], history)
    slow, quick = relabelled("F4", 8, use={"phi_days": 55}), relabelled("F5", 5)
    found = ways_out([given], choices(given, shed=shelf(slow, quick)))

    assert [sorted(c.sentence for c in s.changes) for s in found.suggestions] == [
        ["F5 at 5 oz (weight)/acre instead of F3.", "Start at Sat, Aug 8, 7:00 AM EDT instead."]
    ]
    assert (found.refused, found.stuck) == (True, ())


def test_a_swap_that_helps_nothing_is_passed_over():
    """F1 stands first in the tank; F4 in its place leaves the run of F3 as it is."""
    given = facts([F1, F3], [past("2026-07-20", F3, F1), past("2026-07-27", F3, F1)])

    assert offered(given, shed=shelf(relabelled("F4", 8))) == [["F4 at 8 fl oz/acre instead of F3."]]


def test_two_rates_too_high_are_two_changes():
    """The highest on the labels: F3 6 and F4 8 fl oz; the first change leaves one refusal of the same kind."""
    given = facts([("F3", 8), ("F4", 9)])

    assert offered(given) == [
        ["F3 at 6 fl oz/acre, the highest that fits.", "F4 at 8 fl oz/acre, the highest that fits."]
    ]


def test_what_cannot_be_helped_is_what_is_left_after_what_can():
    """F3 comes down to 6 fl oz; H1 is not labelled for pumpkin, and no change known here takes that away."""
    given = facts([("F3", 8), ("H1", 1)])
    found = ways_out([given], Choices())

    assert [(place, f.code, f.subject) for place, f in found.stuck] == [(0, "crop_not_on_label", "H1")]
    assert found.nothing_helps


SAME = lambda given: given  # noqa: E731


def edit(turn, about):
    change = Change(turn=turn, template="", numbers={}, value="1")
    return Edit(turn, "1", SAME, lambda _: change, about)


BACK = [
    # which screw, what it is about -> start and places left out after it is turned back
    ("start", Turn.START, None, None, {1}),
    ("block", Turn.BLOCK, 1, "2026-08-10T07:00", set()),
    ("product_with_the_number_of_a_place", Turn.PRODUCT, 1, "2026-08-10T07:00", {1}),
    ("rate", Turn.RATE, "F1", "2026-08-10T07:00", {1}),
]


@pytest.mark.parametrize(("turn", "about", "start", "left_out"), [r[1:] for r in BACK], ids=[r[0] for r in BACK])
def test_one_screw_is_turned_back_and_the_others_stay(turn, about, start, left_out):
    mine, other = edit(turn, about), edit(Turn.VOLUME, None)
    case = Case([facts([F1]), facts([F1])], Choices())
    attempt = Attempt(case, start_at=at("2026-08-10T07:00"), left_out=frozenset({1}), edits=(mine, other))

    assert attempt.without(mine) == replace(
        attempt, start_at=start and at(start), left_out=frozenset(left_out), edits=(other,)
    )
